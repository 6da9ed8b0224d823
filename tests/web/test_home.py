"""The first page: what is left to do."""

from __future__ import annotations

from dataclasses import replace

from dryslate import wiring
from dryslate.app.left_to_do import left_to_do


def test_visit_lists_what_is_left_with_its_count(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/").text
    with wiring.survey_store(read_only_project, write=False) as store:
        (visit,) = left_to_do(store)
    kinds = {item.kind: item.n for item in visit.items}
    assert kinds["no_name"] == 2
    assert kinds["one_copy"] == 4
    for kind in kinds:
        assert f'data-kind="{kind}"' in html
    assert "Lantern Steps" in html
    assert "9 Mar 2024" in html


def test_page_asks_who_works_here_until_somebody_is_picked(client_of, read_only_project) -> None:
    pages = client_of(read_only_project, observer=None)
    assert "Who is working here?" in pages.get("/").text
    pages.post("/people/pick", data={"observer": "Ines Varro"})
    assert "Who is working here?" not in pages.get("/").text


def test_new_observer_is_stored_under_their_own_name(client_of, own_project) -> None:
    pages = client_of(own_project, observer=None)
    assert pages.post("/people/new", data={"observer": "Odalys Brem"}).status_code == 303
    with wiring.survey_store(own_project, write=False) as store:
        assert "Odalys Brem" in {one.observer for one in store.observers()}
        assert store.changes("observers")[-1].who == "Odalys Brem"


def test_of_many_visits_those_with_work_left_come_first_and_the_others_on_demand(
    client_of, own_project
) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        (visit,) = store.visits()
        for k in range(60):
            day = f"2020-{1 + k // 28:02d}-{1 + k % 28:02d}"
            store.save_visit(replace(visit, visit_id=f"Far Bank {day}", site="Far Bank", date=day))
    pages = client_of(own_project)
    first, whole = pages.get("/").text, pages.get("/?show=all").text
    assert "Lantern Steps" in first
    assert first.count('<section class="visit"') == 1  # nothing is left on the others
    assert "On 60 further visits nothing is left to do." in first
    assert whole.count('<section class="visit"') == 61
    assert "further visits" not in whole
    assert len(first) < len(whole) / 3


def test_reasons_stand_in_words_and_lead_to_what_they_mean(client_of, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        photos = store.photos("Lantern Steps 2024-03-09")
        made = [store.correction(photo.photo_id) for photo in photos]
        held = [row for row in made if row is not None][:2]
        slugs = ("colour-twins-differ", "colour-no-red-signal")
        for row, slug in zip(held, slugs, strict=True):
            told = {"slug": slug, "severity": "error", "place": "", "message": "m", "fix": "f"}
            result = {**row.result, "problems": [told]}
            store.save_correction(
                replace(row, key=f"{row.key}-x", outcome="refused", result=result)
            )
    html = client_of(own_project).get("/").text
    for slug, words in zip(
        slugs, ("two copies of one grey differ", "no red light left"), strict=True
    ):
        assert f'href="/help/messages#{slug}">{words}</a>' in html
        assert f">{slug}<" not in html


def test_first_to_open_a_project_is_asked_for_a_name(client_of, tmp_path) -> None:
    wiring.new_store(tmp_path, who="x").close()
    pages = client_of(tmp_path, observer=None)
    assert "Your name</label>" in pages.get("/").text
    pages.post("/people/new", data={"observer": "Odalys Brem"})
    assert "Somebody else</label>" in client_of(tmp_path, observer=None).get("/").text
