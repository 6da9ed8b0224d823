"""The photographed sheet beside the lines: its frame follows the line that is typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryslate import wiring

LONG_MS = 120_000  # a job of the computer's, on a busy machine

ON_TOP = """(frame) => {
  const box = frame.getBoundingClientRect();
  const there = document.elementFromPoint(box.left + 40, box.top + box.height / 2);
  return there.closest(".sheet-page") !== null;
}"""


@pytest.fixture
def project(tmp_path, photographed) -> Path:
    """A tape whose sheet, and whose page of colonies, were photographed."""
    folder = photographed.make_project(tmp_path / "trip")
    photographed.add_unit(folder, "T1")
    card = tmp_path / "card"
    card.mkdir()
    for k, page in enumerate(photographed.print_for(folder, "line_intercept", "T1", length_m="10")):
        photographed.photograph(page, card / f"SHEET_{k}.JPG", 5.0)
    photographed.take_in(folder, card)
    return folder


@pytest.mark.parametrize("seen", ["light en-GB", "dark fr-FR"])
def test_frame_follows_the_line_and_every_page_is_fit_for_all(  # noqa: PLR0917  one fixture each
    seen, project, server_of, open_page, shot, faults_of_access, english_left
) -> None:
    light, locale = seen.split()
    page = open_page(server_of(project), color_scheme=light, locale=locale)
    page.goto("/sheets")
    page.locator("form[action='/sheets/join'] button").click()
    page.locator("#jobs").get_by_role("link").first.wait_for(timeout=LONG_MS)
    page.goto("/sheets")
    assert page.locator("#photographed ~ .scroll tbody tr").count() == 2
    shot(page, f"sheets-{light}", full_page=True)
    assert faults_of_access(page) == []
    with wiring.survey_store(project, write=False) as store:
        (unit,) = store.units()
        photos = store.sheet_photos(unit.unit_id)
    page.goto(f"/records/units/{unit.unit_id}?design=line_intercept")
    page.locator("#length_m").fill("10")
    with page.expect_navigation():
        page.locator("form.design button.main").click()
    page.locator(".sheet-page img").first.evaluate("(img) => img.decode()")
    tops = []
    for end in ("2", "5"):
        page.keyboard.type(end)
        page.keyboard.press("Tab")
        page.keyboard.type("sand")
        frame = page.locator(".row-frame:visible")
        assert frame.count() == 1
        tops.append(frame.evaluate("(e) => parseFloat(e.style.top)"))
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
    assert tops[0] < tops[1]
    assert page.locator(".row-frame:visible").evaluate(ON_TOP)
    page.locator("#state[data-open='0']").wait_for()
    shot(page, f"sheet-entry-{light}")
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"sheet-entry-{light}-phone")
    page.goto(f"/sheets/photos/{photos[0].photo_id}#row-3")
    page.locator(".row-frame:visible").wait_for()
    page.locator(".sheet-page img").evaluate("(img) => img.decode()")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert faults_of_access(page) == []
    shot(page, f"sheet-photo-{light}-phone", full_page=True)
    if locale == "fr-FR":
        left = english_left.english_in(
            english_left.shown_in(page.content()), english_left.MADE_UP | {"ledge"}
        )
        assert left == []
