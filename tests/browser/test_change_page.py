"""The page of changes with something to show: by keyboard, on a phone, in the dark, in French."""

from __future__ import annotations

import pytest

WIDER = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("main *")]
  .filter((e) => e.getBoundingClientRect().right > innerWidth)
  .map((e) => e.outerHTML.slice(0, 80))"""
ASKED = (
    "/change?site=Ledge",
    "/change?site=Ledge&subject=density&things=name",
    "/change?way=trend&site=Ledge",
    "/change?way=sites&among=Ledge&among=Wall",
    "/change?way=contrast&impact=Ledge&control=Wall&after=2025-01-01",
)


@pytest.mark.parametrize("seen", ["light en-GB", "dark fr-FR"])
def test_changes_have_no_fault_of_access_and_fit_a_phone(  # noqa: PLR0917  one fixture each
    seen, server_of, open_page, visited, shot, faults_of_access, english_left
) -> None:
    light, locale = seen.split()
    page = open_page(server_of(visited), color_scheme=light, locale=locale)
    names = english_left.MADE_UP | {"ledge", "wall", "coral"}
    for k, path in enumerate(ASKED):
        page.set_viewport_size({"width": 1280, "height": 720})
        page.goto(path)
        assert page.locator(".changes li").count() > 0, path
        for summary in page.locator("details:not([open]) > summary").all():
            summary.click()
        assert faults_of_access(page) == [], path
        shot(page, f"change-{k}-{light}-{locale[:2]}", full_page=True)
        if locale == "fr-FR":
            left = english_left.english_in(english_left.shown_in(page.content()), names)
            assert left == [], path
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate(WIDER) == [], path
        shot(page, f"change-{k}-{light}-{locale[:2]}-phone", full_page=True)
    page.goto(ASKED[1])
    page.locator(".changes .records").first.click()
    page.wait_for_url("**/change/trail**")
    assert page.locator("details.unit-rows").count() == 6
    assert faults_of_access(page) == []
    shot(page, f"change-trail-{light}-{locale[:2]}")


def test_a_change_is_asked_for_and_followed_by_keyboard_alone(
    server_of, open_page, visited
) -> None:
    page = open_page(server_of(visited))
    page.goto("/change?site=Ledge&subject=density&things=name")
    page.locator("#thing").focus()
    page.keyboard.type("por")
    page.keyboard.press("Enter")
    page.wait_for_url("**thing=por**")
    assert page.locator(".changes li").count() == 1
    assert page.locator(".changes i").inner_text() == "Porites"
    assert page.locator("#thing").input_value() == "por"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.classList.contains('records')"):
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/change/trail**")
    assert "Porites" in page.locator("h1").inner_text()
