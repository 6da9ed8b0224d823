"""Pairs of points in two photos of a colony: by keyboard alone, by touch; faults of access."""

from __future__ import annotations

import pytest

from dryslate import wiring
from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_outlines import draw_outline
from dryslate.app.colony_visits import add_frame

SITE, DATE = "Lantern Steps", "2024-03-09"
WHO = ("Ines Varro", "2024-03-09T20:00:00Z")
OUTLINE = ((500.0, 400.0), (700.0, 400.0), (700.0, 560.0), (500.0, 560.0))
WIDER = "() => document.documentElement.scrollWidth - innerWidth"
OPEN = "html[data-pairs=open]"
AROUND = (
    ("ArrowLeft", "ArrowUp"),
    ("ArrowRight", "ArrowRight"),
    ("ArrowDown", "ArrowDown"),
    ("ArrowLeft", "ArrowLeft"),
)


@pytest.fixture
def outlined(own_project):
    """A project with a colony outlined in one photo, and the address of its pairs in another."""
    with wiring.survey_store(own_project, write=True, who=WHO[0]) as store:
        request = TagRequest(label="17", observer=WHO[0], visit=(SITE, DATE), why="random")
        colony = tag_colony(store, request, WHO[1], wiring.new_identity)
        first, second = [p.photo_id for p in store.photos() if p.visit_id == f"{SITE} {DATE}"][:2]
        draw_outline(store, colony, first, OUTLINE, WHO)
        add_frame(store, colony, second, WHO)
    return own_project, f"/colonies/{colony.organism_id}", second


def frame_of(project, photo_id: str):
    with wiring.survey_store(project, write=False) as store:
        return next(f for f in store.colony_frames() if f.photo_id == photo_id)


def go_around(page) -> None:
    """Set four pairs by keys, corners of a square of 400 px, each in one photo and the other."""
    page.locator("#stage-0").focus()
    for way in AROUND:
        for _ in range(2):  # the cross of each photo goes the same way
            for key in way:
                page.keyboard.press(f"Control+{key}")
            page.keyboard.press("Space")


def test_pairs_are_set_taken_out_and_saved_by_keyboard_alone(
    outlined, server_of, open_page
) -> None:
    project, address, photo = outlined
    page = open_page(server_of(project))
    page.goto(address)
    page.get_by_role("link", name="By pairs of points").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(OPEN)
    save = page.locator("#pairs-save")
    assert save.is_disabled()
    go_around(page)
    assert page.locator("#pairs-list li").count() == 4
    save.wait_for()
    page.wait_for_selector("#pairs-save:not([disabled])")
    assert page.locator(".drawing .band").count() == 1
    assert "mm off" in page.locator("#pairs-list li").first.inner_text()
    page.keyboard.press("Control+z")
    page.wait_for_selector("#pairs-save[disabled]")
    hint = page.locator("#pairs-hint").inner_text()
    assert "Pair 4: now the same spot in the photo to carry it to" in hint
    page.keyboard.press("Control+Shift+z")
    page.wait_for_selector("#pairs-save:not([disabled])")
    page.locator("#stage-1").focus()
    page.keyboard.press("2")
    for _ in range(9):
        page.keyboard.press("Shift+ArrowRight")
    page.locator("[data-slug=align-misfit], #pairs-try a[href$='align-misfit']").first.wait_for()
    assert save.is_disabled()  # refused, with its reason
    page.keyboard.press("Delete")
    assert page.locator("#pairs-list li").count() == 3
    for _ in range(11):  # the nine moves, and the pair
        page.keyboard.press("Control+z")
        page.wait_for_timeout(30)
    page.wait_for_selector("#pairs-save[disabled]")
    page.keyboard.press("Control+Shift+z")
    page.wait_for_selector("#pairs-save:not([disabled])")
    save.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{address}#photos")
    frame = frame_of(project, photo)
    assert (frame.outline_how, frame.is_confirmed) == ("tie_points", True)
    assert len(frame.tie_points_px) == 4
    page.goto(f"{address}/frames/{photo}/pairs")
    page.wait_for_selector(OPEN)
    assert page.locator("#pairs-list li").count() == 4  # they are there to be set better


def test_pairs_are_set_by_touch_on_a_phone(outlined, server_of, open_page) -> None:
    project, address, photo = outlined
    page = open_page(server_of(project), viewport={"width": 390, "height": 800}, has_touch=True)
    page.goto(f"{address}/frames/{photo}/pairs")
    page.wait_for_selector(OPEN)
    for k in (0, 1):
        page.locator(f"#stage-{k}").scroll_into_view_if_needed()
        box = page.locator(f"#stage-{k}").bounding_box()
        page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function("() => document.querySelectorAll('.drawing .handle').length === 2")
    assert page.locator("#pairs-list li").count() == 1
    assert page.evaluate(WIDER) <= 0
    page.get_by_role("button", name="Take out pair 1").tap()
    assert page.locator("#pairs-list li").count() == 0


@pytest.mark.parametrize("seen", ["light en-GB", "dark fr-FR"])
def test_page_of_pairs_has_no_fault_of_access(  # noqa: PLR0917  one fixture each
    seen, outlined, server_of, open_page, shot, faults_of_access, english_left
) -> None:
    light, locale = seen.split()
    project, address, photo = outlined
    page = open_page(server_of(project), color_scheme=light, locale=locale)
    page.goto(f"{address}/frames/{photo}/pairs")
    page.wait_for_selector(OPEN)
    go_around(page)
    page.wait_for_selector("#pairs-save:not([disabled])")
    assert faults_of_access(page) == []
    shot(page, f"pairs-{light}-{locale[:2]}")
    if locale == "fr-FR":
        left = english_left.english_in(english_left.shown_in(page.content()), english_left.MADE_UP)
        assert left == []
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate(WIDER) <= 0
    shot(page, f"pairs-{light}-{locale[:2]}-phone", full_page=True)
