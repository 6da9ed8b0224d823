"""Naming points by keyboard: one after the other, kept when the server dies, by two people."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.entry_design import save_design
from dryslate.app.entry_unit import entry_sheet
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit
from dryslate.core.survey.designs import UnitDesign

WHO = "Ines Varro"
VISIT = "Lantern Steps 2024-03-09"
TYPED = ("turf", "fav", "favites", "? in", "sand", "spon")
"""`fav` begins two names, so it is not taken."""
NAMED = [("turf", ""), ("hard coral", "Favites"), ("", ""), ("sand", ""), ("sponge", "")]


@pytest.fixture
def unit(own_project: Path) -> str:
    usual = wiring.import_tools(own_project).usual
    with wiring.survey_store(own_project, write=True, who=WHO) as store:
        ids = [photo.photo_id for photo in store.photos(VISIT)]
        words = UnitWords(name="P1", kind="photo_station")
        unit_id = next(iter(start_unit(store, VISIT, words, WHO, ids).units))
        design = UnitDesign(design="photo_points", n_points=4, point_rule="random", seed=7)
        sheet = entry_sheet(store, unit_id, usual)
        save_design(store, sheet, design, (WHO, "2024-03-09T12:00:00Z"), usual)
    return unit_id


def stored(project: Path, unit: str) -> list[tuple[str, str]]:
    with wiring.survey_store(project, write=False) as store:
        return [(r.row.category, r.row.name) for r in store.survey_rows(unit)]


def test_points_are_named_by_key_and_outlive_the_server(
    server_of, open_page, own_project, unit, shot, faults_of_access
) -> None:
    server = server_of(own_project)
    page = open_page(server)
    page.goto(f"/records/points/{unit}")
    page.wait_for_selector("#crop[data-missing='0']")
    shot(page, "points-first")
    for word in TYPED[:3]:
        page.locator("#name").fill("")
        page.keyboard.type(word)
        page.keyboard.press("Enter")
        if word == "fav":
            page.get_by_text("Which is meant?").wait_for()
            assert faults_of_access(page) == []
            page.locator("#name").fill("zzz")
            page.keyboard.press("Enter")
            page.get_by_text("No name of the list begins so.").wait_for()
    page.wait_for_selector("#state[data-open='0']")
    assert stored(own_project, unit) == NAMED[:2]
    server.process.kill()
    server.process.wait()
    for word in TYPED[3:]:
        page.keyboard.type(word)
        page.keyboard.press("Enter")
    page.get_by_text("the server does not answer").wait_for()
    again = server_of(own_project, "--port", server.base.rpartition(":")[2])
    page.get_by_text("Open the address that the server printed").wait_for()
    page.goto(again.address)
    page.get_by_role("button", name=WHO).click()
    page.wait_for_url(again.base + "/")
    page.goto(f"/records/points/{unit}")
    page.wait_for_selector("#state[data-open='0']")
    assert stored(own_project, unit) == NAMED
    assert page.locator("#progress").inner_text().startswith("point 6 of")
    page.keyboard.press("ArrowLeft")
    assert page.locator("#name").input_value() == "sponge"
    page.keyboard.type("rubb")
    page.keyboard.press("Enter")
    page.wait_for_selector("#state[data-open='0']")
    assert stored(own_project, unit)[4] == ("rubble", "")
    page.expected_errors[:] = [
        e for e in page.expected_errors if "ERR_CONNECTION" not in e and "403" not in e
    ]


@pytest.mark.parametrize("seen", ["dark en-GB", "light fr-FR"])
def test_the_page_fits_a_phone_and_the_dark_and_is_in_french(  # noqa: PLR0917
    server_of, open_page, own_project, unit, shot, faults_of_access, english_left, seen
) -> None:
    light, locale = seen.split()
    page = open_page(server_of(own_project), color_scheme=light, locale=locale)
    page.goto(f"/records/points/{unit}")
    page.wait_for_selector("#crop[data-missing='0']")
    shot(page, f"points-{light}-{locale[:2]}")
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"points-{light}-{locale[:2]}-phone")
    if locale == "fr-FR":
        left = english_left.english_in(english_left.shown_in(page.content()), english_left.MADE_UP)
        assert left == []
