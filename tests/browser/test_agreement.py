"""The folded section on how far observers agree: unfolded by key, light, dark and on a phone."""

from __future__ import annotations

import pytest
from tests.fakes.looked_again import look_again

from dryslate import wiring

LOOKS = (
    [("Favites", "Favites", 0.1)] * 9
    + [("Favites", "Goniastrea", 0.1)] * 3
    + [("Goniastrea", "Goniastrea", 0.1)] * 8
    + [("Porites", "Porites", 0.1)] * 4
    + [("Porites", "Montipora", 0.1)]
)


@pytest.mark.parametrize("seen", ["light en-GB", "dark en-GB", "light fr-FR"])
def test_agreement_unfolds_by_key_and_fits_a_phone(
    server_of, open_page, own_project, shot, faults_of_access, seen
) -> None:
    with wiring.survey_store(own_project, write=False) as store:
        visit = store.visits()[0].visit_id
    look_again(own_project, LOOKS, visit)
    light, locale = seen.split()
    page = open_page(server_of(own_project), locale=locale)
    page.emulate_media(color_scheme=light)
    page.set_viewport_size({"width": 1280, "height": 720})
    page.goto("/second")
    fold = page.locator("details.agreement")
    assert fold.get_attribute("open") is None
    summary = fold.locator("summary")
    assert summary.bounding_box()["height"] >= 44
    summary.focus()
    page.keyboard.press("Enter")
    cell = fold.get_by_role("table").get_by_text("21 / 25").first
    assert cell.is_visible()
    cell.scroll_into_view_if_needed()
    name = f"agreement-{light}-{locale[:2]}"
    summary.scroll_into_view_if_needed()
    page.evaluate("document.querySelector('details.agreement').scrollIntoView()")
    shot(page, name)
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.evaluate("document.querySelector('details.agreement').scrollIntoView()")
    shot(page, f"{name}-phone")
