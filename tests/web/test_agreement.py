"""How far observers agree, on the page of second looks."""

from __future__ import annotations

from tests.fakes.looked_again import look_again

from dryslate import wiring

LOOKS = (
    [("Favites", "Favites", 0.1)] * 9
    + [("Favites", "Goniastrea", 0.1)] * 3
    + [("Goniastrea", "Goniastrea", 0.1)] * 8
)


def visit_of(project) -> str:
    with wiring.survey_store(project, write=False) as store:
        return str(store.visits()[0].visit_id)


def section_of(pages) -> str:
    """The folded section of the page, in plain spaces; empty where there is none."""
    _, _, rest = pages.get("/second").text.partition("How far observers agree")
    return " ".join(rest.partition("</details>")[0].split())


def test_nothing_is_shown_where_no_coral_was_looked_at_twice(client_of, read_only_project) -> None:
    assert section_of(client_of(read_only_project)) == ""


def test_agreement_of_two_and_of_all_stands_on_the_page(client_of, own_project) -> None:
    look_again(own_project, LOOKS, visit_of(own_project))
    html = section_of(client_of(own_project))
    by_chance = (12 * 9 + 8 * 11) / 400  # first names 12 and 8 of 20, second names 9 and 11
    assert f"{(0.85 - by_chance) / (1 - by_chance):.2f} ±" in html
    assert "17 / 20" in html
    assert "Ines Varro · Tomo Halle" in html
    assert "<b>3</b>" in html
    assert "speak for such names" in html
    assert "None yet." in html  # of doubtful ones
    assert "none under 20 corals compared" not in html


def test_who_only_looks_sees_it_too(viewer_of, own_project) -> None:
    look_again(own_project, LOOKS, visit_of(own_project))
    assert "17 / 20" in section_of(viewer_of(own_project))


def test_no_first_answer_is_told_to_whom_the_same_coral_still_waits_for(
    client_of, own_project
) -> None:
    looks = [("Favites", "Goniastrea", 0.1), ("Favites", "", 0.1), ("Porites", "Porites", 0.1)]
    look_again(own_project, looks, visit_of(own_project), labels=("C0", "C0", "C2"))
    waits, nobody = (section_of(client_of(own_project, who)) for who in ("Tomo Halle", None))
    for html in (waits, nobody):
        assert "Favites" not in html
        assert "1 / 1" in html
        assert "1 left out: a coral of the same label and visit still waits" in html
    told = section_of(client_of(own_project, "Ines Varro"))
    assert "Favites" in told
    assert "1 / 2" in told
    assert "left out: a coral" not in told
    assert "none under 20 corals compared" in told
