"""Every page: no fault of access, nothing wider than a phone, the second language."""

from __future__ import annotations

import re

import pytest

from dryslate.web.languages import offered

PAGES = (
    "/",
    "/photos",
    "/photos?visit=Lantern+Steps+2024-03-09&seen=sound",
    "/take",
    "/take/copies?visit=Lantern+Steps+2024-03-09",
    "/take/clock?visit=Lantern+Steps+2024-03-09",
    "/backup",
    "/units/join?visit=Lantern+Steps+2024-03-09",
    "/units/new?visit=Lantern+Steps+2024-03-09",
    "/people",
    "/corals",
    "/corals/new",
    "/second",
    "/lookalikes?a=Favites&b=Goniastrea",
    "/cards",
    "/cards/field-007",
    "/help",
    "/help/messages",
    "/help/day",
    "/help/naming",
)

WIDER = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("main *")]
  .filter((e) => e.getBoundingClientRect().right > innerWidth)
  .map((e) => e.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("light", ["light", "dark"])
def test_no_page_has_a_fault_of_access_or_is_wider_than_a_phone(
    light, server_of, open_page, web_project, shot, faults_of_access
) -> None:
    page = open_page(server_of(web_project), color_scheme=light)
    for path in PAGES:
        name = re.sub(r"\W+", "-", path).strip("-") or "home"
        page.set_viewport_size({"width": 1280, "height": 720})
        page.goto(path)
        assert page.locator("h1").count() == 1, path
        shot(page, f"{name}-{light}")
        assert faults_of_access(page) == [], path
        page.set_viewport_size({"width": 390, "height": 800})
        wide = page.evaluate(WIDER)
        assert wide == [], path
        shot(page, f"{name}-{light}-phone")


def test_language_with_missing_texts_is_not_offered(server_of, open_page, web_project) -> None:
    page = open_page(server_of(web_project), locale="fr-FR")
    for path in PAGES:
        page.goto(path)
        given = page.locator("html").get_attribute("lang")
        assert given == ("fr" if "fr" in offered() else "en"), path
    assert page.get_by_label("Language").count() == int(len(offered()) > 1)
