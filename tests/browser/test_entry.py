"""Typing a transect by keyboard alone; the server dies meanwhile, and nothing is lost or twice."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.project_records import Observer
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit

WHO, OTHER = "Ines Varro", "Tomo Halle"
VISIT = "Lantern Steps 2024-03-09"
STRETCHES = (
    ("1.2", "hard coral", "Favites"),
    ("2.05", "sand", ""),
    ("3.4", "hard coral", "Pocillopora"),
    ("4", "turf", ""),
    ("6.5", "rubble", ""),
    ("8.1", "hard coral", "Goniastrea"),
    ("10", "soft coral", ""),
)


@pytest.fixture
def unit(own_project: Path) -> str:
    with wiring.survey_store(own_project, write=True, who=WHO) as store:
        store.save_observer(Observer(observer=OTHER))
        words = UnitWords(name="T1", kind="transect", zone="crest")
        return next(iter(start_unit(store, VISIT, words, WHO, []).units))


def stored(project: Path) -> list[tuple[float, float, str, str]]:
    with wiring.survey_store(project, write=False) as store:
        rows = sorted(store.survey_rows(), key=lambda r: r.row.from_m or 0.0)
    return [(r.row.from_m, r.row.to_m, r.row.category, r.row.name) for r in rows]


def expected() -> list[tuple[float, float, str, str]]:
    begins = [0.0, *(float(end) for end, _, _ in STRETCHES)]
    return [(b, float(e), c, n) for b, (e, c, n) in zip(begins, STRETCHES, strict=False)]


def say_design(page, unit: str) -> None:
    """From the list of units to the first cell, by keyboard."""
    page.goto(f"/records/units/{unit}")
    page.get_by_role("link", name="line intercept").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#length_m:focus")
    page.keyboard.type("10")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-field=to_m]:focus")


def type_line(page, end: str, category: str, name: str) -> None:
    page.keyboard.type(end)
    page.keyboard.press("Tab")
    page.keyboard.type(category[:4])
    page.keyboard.press("Tab")
    page.keyboard.type(name[:5])
    page.keyboard.press("Enter")


def all_stored(page) -> None:
    page.wait_for_selector("#state[data-open='0']")


def test_a_whole_transect_by_keyboard_and_the_server_dies_in_between(
    server_of, open_page, own_project, unit, shot
) -> None:
    server = server_of(own_project)
    page = open_page(server)
    say_design(page, unit)
    for line in STRETCHES[:3]:
        type_line(page, *line)
    all_stored(page)
    server.process.kill()
    server.process.wait()
    for line in STRETCHES[3:6]:
        type_line(page, *line)
    page.get_by_text("the server does not answer").wait_for()
    shot(page, "entry-server-gone")
    again = server_of(own_project, "--port", server.base.rpartition(":")[2])
    page.get_by_text("Open the address that the server printed").wait_for()
    page.goto(again.address)
    page.get_by_role("button", name=WHO).click()
    page.wait_for_url(again.base + "/")
    page.goto(f"/records/units/{unit}")
    all_stored(page)
    assert len(stored(own_project)) == 6
    page.wait_for_selector("[data-field=to_m]:focus")
    type_line(page, *STRETCHES[6])
    page.get_by_text("Everything adds up.").wait_for()
    all_stored(page)
    assert stored(own_project) == expected()
    page.reload()
    assert page.locator("tr[data-key]:has([aria-label='to, m'])").count() == len(
        STRETCHES
    )  # the tape is full
    page.expected_errors[:] = [
        e for e in page.expected_errors if "ERR_CONNECTION" not in e and "403" not in e
    ]


def test_faults_are_shown_at_their_cell_and_the_line_waits(
    server_of, open_page, own_project, unit, shot, faults_of_access
) -> None:
    page = open_page(server_of(own_project))
    say_design(page, unit)
    page.keyboard.type("1x")
    told = page.locator("[data-slug=cell-not-a-number]")
    told.wait_for()
    cell = page.locator("[data-field=to_m][aria-invalid=true]")
    assert cell.get_attribute("aria-describedby") == told.locator("..").get_attribute("id")
    shot(page, "entry-fault")
    assert faults_of_access(page) == []
    page.keyboard.press("Enter")
    page.get_by_text("1 held back until put right").wait_for()
    assert stored(own_project) == []
    page.keyboard.press("ArrowUp")
    page.keyboard.type("1.5")
    page.keyboard.press("Tab")
    page.keyboard.type("s")
    shot(page, "entry-options")
    page.get_by_role("option").nth(2).wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    chosen = page.locator("[role=option][aria-selected=true] b").inner_text()
    page.keyboard.press("Enter")
    all_stored(page)
    assert stored(own_project) == [(0.0, 1.5, chosen, "")]


@pytest.mark.parametrize("seen", ["light en-GB", "dark en-GB", "light fr-FR"])
def test_form_and_grid_have_no_fault_of_access_and_fit_a_phone(  # noqa: PLR0917
    server_of, open_page, own_project, unit, shot, faults_of_access, english_left, seen
) -> None:
    light, locale = seen.split()
    page = open_page(server_of(own_project), color_scheme=light, locale=locale)
    page.goto(f"/records/units/{unit}?design=belt")
    for name in ("form", "grid"):
        if name == "grid":
            for field, text in (("length_m", "10"), ("width_m", "1")):
                page.locator(f"#{field}").fill(text)
            page.locator("#edge_rule").select_option("centre_inside")
            page.locator("form.design button").click()
            page.locator("section[data-kind=colony] [data-field=longest_cm]").fill("x")
            page.locator("[data-slug=cell-not-a-number]").wait_for()
        page.set_viewport_size({"width": 1280, "height": 720})
        shot(page, f"entry-{name}-{light}-{locale[:2]}")
        assert faults_of_access(page) == []
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        shot(page, f"entry-{name}-{light}-{locale[:2]}-phone")
        if locale == "fr-FR":
            left = english_left.english_in(
                english_left.shown_in(page.content()), english_left.MADE_UP
            )
            assert left == []


def test_a_correction_and_a_line_taken_out_are_undone_by_key(
    server_of, open_page, own_project, unit
) -> None:
    page = open_page(server_of(own_project))
    say_design(page, unit)
    for line in STRETCHES[:2]:
        type_line(page, *line)
    all_stored(page)
    whole = stored(own_project)
    page.keyboard.press("ArrowUp")
    page.keyboard.type("2.5")
    page.keyboard.press("Enter")
    all_stored(page)
    _until(page, lambda: stored(own_project)[1][1] == 2.5)
    page.keyboard.press("Control+z")
    _until(page, lambda: stored(own_project) == whole)
    page.keyboard.press("Control+Delete")
    _until(page, lambda: len(stored(own_project)) == 1)
    page.keyboard.press("Control+z")
    _until(page, lambda: stored(own_project) == whole)
    with wiring.survey_store(own_project, write=False) as store:
        said = [c.what for c in store.changes("survey_rows")]
    assert said == ["insert", "insert", "update", "update", "delete", "insert"]


def test_a_ditto_mark_in_an_empty_cell_takes_what_stands_above(
    server_of, open_page, own_project, unit
) -> None:
    page = open_page(server_of(own_project))
    say_design(page, unit)
    type_line(page, "1.2", "hard coral", "Favites")
    for text in ("2", '"', '"'):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    all_stored(page)
    assert stored(own_project) == [
        (0.0, 1.2, "hard coral", "Favites"),
        (1.2, 2.0, "hard coral", "Favites"),
    ]


def test_two_people_on_one_unit_see_both_and_choose(
    server_of, open_page, own_project, unit, shot, faults_of_access
) -> None:
    server = server_of(own_project)
    mine = open_page(server)
    say_design(mine, unit)
    type_line(mine, *STRETCHES[0])
    all_stored(mine)
    theirs = open_page(server, OTHER)
    theirs.goto(f"/records/units/{unit}")
    theirs.wait_for_selector("[data-field=to_m]:focus")
    type_line(theirs, *STRETCHES[1])
    all_stored(theirs)
    type_line(mine, "2.2", "turf", "")
    mine.get_by_role("heading", name=re.compile("Somebody else")).wait_for()
    shot(mine, "entry-two-people")
    assert faults_of_access(mine) == []
    assert len(stored(own_project)) == 2
    mine.get_by_role("button", name="put my lines to it").click()
    mine.locator("[data-slug=intercepts-overlap]").first.wait_for()
    assert len(stored(own_project)) == 2
    ends = mine.locator("[data-field=from_m]")
    ends.nth(2).fill("2.05")
    ends.nth(2).press("Enter")
    all_stored(mine)
    assert len(stored(own_project)) == 3
    mine.expected_errors[:] = [e for e in mine.expected_errors if "409" not in e]


def _until(page, is_so, tries: int = 100) -> None:
    """Wait for something outside the page, while its requests go on."""
    for _ in range(tries):
        if is_so():
            return
        page.wait_for_timeout(100)
    raise AssertionError("it never came")
