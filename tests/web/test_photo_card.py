"""What the photo page says of its card, and what is changed by hand, without a browser."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from dryslate import wiring

HTML = {"accept": "text/html"}


def open_store(project, **how):
    return wiring.survey_store(project, **{"write": False, **how})


def photo_called(project, name):
    """A photo's id and its latest correction."""
    with open_store(project) as store:
        photo = next(p for p in store.photos() if p.files[0].original_name == name)
        return photo.photo_id, store.correction(photo.photo_id)


def panel_of(client, photo_id):
    html = client.get(f"/photos/{photo_id}", headers=HTML).text
    return re.search(r'<section class="panel" id="card-panel".*?</section>', html, re.DOTALL)[0]


def test_card_is_drawn_from_its_definition_with_what_came_of_it(client_of, read_only_project):
    photo_id, row = photo_called(read_only_project, "DRY_0001.JPG")
    html = panel_of(client_of(read_only_project), photo_id)
    card = wiring.reference_tables(read_only_project).card("field-007")
    assert html.count("<title>") == len(card.patches)
    for patch in card.patches:
        assert f'x="{patch.x_mm}" y="{patch.y_mm}" width="{patch.width_mm}"' in html
    assert "found by 4 of its 4 markers" in html
    colour = row.result["colour"]
    assert f"<dd>{colour['left_out_de00_median']:.1f}" in html
    assert f"95 % below {colour['left_out_de00_p95']:.1f}" in html
    assert f"95 % below {colour['off_card_de00_p95']:.1f}" in html
    told = re.search(r"<dd>([\d.]+) ± ([\d.]+) px/mm", html)
    scale = row.result["scale"]
    assert float(told[1]) == pytest.approx(scale["px_per_mm"], rel=1e-3)
    assert float(told[2]) == pytest.approx(scale["px_per_mm_u"], rel=0.05)
    assert "its colours are measured" in html


def test_patches_that_were_not_used_are_crossed_numbered_and_explained(client_of, own_project):
    photo_id, row = photo_called(own_project, "DRY_0001.JPG")
    dropped = {"white_1": "glare (12 % of its pixels far brighter than the rest)"}
    dropped["grey_3"] = "covered or shaded (30 % of the ground about it looks unlike ground)"
    card = wiring.reference_tables(own_project).card("field-007")
    assert {p.patch_id for p in card.patches} >= {"white_1"}
    result = {**row.result, "colour": {**row.result["colour"], "dropped": dropped}}
    with open_store(own_project, write=True, who="Ines Varro") as store:
        store.save_correction(replace(row, key="f" * 64, result=result))
    html = panel_of(client_of(own_project), photo_id)
    assert '<path class="cross-over"' in html
    assert "<b>white_1</b>: glare (12 %). Hold the card a little askew" in html
    assert "Crossed and numbered: not used." in html


@pytest.mark.parametrize("state", ["bare", "no_card", "borrowed", "gone", "changed"])
def test_panel_says_what_there_is_instead_of_a_card(state, client_of, own_project):
    photo_id, row = photo_called(own_project, "DRY_0001.JPG")
    other, _ = photo_called(own_project, "DRY_0002.JPG")
    with open_store(own_project, write=True, who="Ines Varro") as store:
        empty = {**row.result, "card": {"found": False}, "cards": [], "problems": []}
        if state == "bare":
            store._db.execute("DELETE FROM corrections WHERE photo_id = ?", [photo_id])
        elif state == "no_card":
            said = {"slug": "correct-no-card", "severity": "error", "place": "", "message": "no"}
            result = {**empty, "problems": [{**said, "fix": "(--card NAME --corners)"}]}
            made = replace(row, key="a" * 64, outcome="no_card", result=result, geometry={})
            store.save_correction(replace(made, colour={}, corrected_path=None))
        elif state == "borrowed":
            result = {**empty, "borrowed_from": other}
            store.save_correction(
                replace(row, key="b" * 64, outcome="borrowed", result=result, geometry={})
            )
        elif state == "gone":
            geometry = {**row.geometry, "card": "field-999"}
            store.save_correction(replace(row, key="c" * 64, geometry=geometry))
        else:
            geometry = {**row.geometry, "card_key": "0" * 64}
            store.save_correction(replace(row, key="d" * 64, geometry=geometry))
    html = panel_of(client_of(own_project), photo_id)
    said = {
        "bare": "This photo is not corrected yet, so nothing is known of its card.",
        "no_card": "No card was found in this photo.",
        "borrowed": "Its colours come from DRY_0002.JPG; it has no scale.",
        "gone": "The project no longer knows this card.",
        "changed": "The card got other values since.",
    }
    assert said[state] in html
    assert "--corners" not in html  # no options of a command on a page
    assert ("<svg" in html) == (state == "changed")


@pytest.mark.parametrize("outcome", ["corrected", "borrowed"])
def test_photo_for_looking_only_says_so_on_its_page_and_in_the_list(
    outcome, client_of, own_project
):
    photo_id, row = photo_called(own_project, "DRY_0001.JPG")
    client = client_of(own_project)
    assert "For looking only:" not in panel_of(client, photo_id)
    assert ", for looking only" not in client.get("/photos", headers=HTML).text
    result = {**row.result, "colour": {**row.result["colour"], "usable": False}}
    with open_store(own_project, write=True, who="Ines Varro") as store:
        store.save_correction(replace(row, key="e" * 64, outcome=outcome, result=result))
    assert "For looking only:" in panel_of(client, photo_id)
    assert client.get("/photos", headers=HTML).text.count(", for looking only") == 1
