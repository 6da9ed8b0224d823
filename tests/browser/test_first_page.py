"""The first page in a real browser."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize("light", ["light", "dark"])
def test_first_page_has_no_fault_of_access(
    light, server_of, open_page, web_project, shot, faults_of_access
) -> None:
    page = open_page(server_of(web_project), observer=None, color_scheme=light)
    shot(page, f"home-nobody-{light}")
    assert faults_of_access(page) == []
    page.get_by_role("button", name="Ines Varro").click()
    page.get_by_role("heading", name="Left to do").wait_for()
    shot(page, f"home-{light}")
    assert faults_of_access(page) == []
    page.set_viewport_size({"width": 390, "height": 800})
    shot(page, f"home-phone-{light}")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
