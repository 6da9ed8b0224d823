"""Every page: no fault of access, nothing wider than a phone, the second language."""

from __future__ import annotations

import re

import pytest

PAGES = (
    "/",
    "/photos",
    "/photos?visit=Lantern+Steps+2024-03-09&seen=sound",
    "/take",
    "/take/copies?visit=Lantern+Steps+2024-03-09",
    "/take/clock?visit=Lantern+Steps+2024-03-09",
    "/visit?visit=Lantern+Steps+2024-03-09",
    "/visit/edits",
    "/backup",
    "/units/join?visit=Lantern+Steps+2024-03-09",
    "/units/new?visit=Lantern+Steps+2024-03-09",
    "/people",
    "/archive",
    "/corals",
    "/corals/new",
    "/colonies",
    "/records",
    "/records/import",
    "/records/table",
    "/records/categories",
    "/records/categories?change=true",
    "/results",
    "/change",
    "/change?way=trend",
    "/change?way=sites&subject=density&things=name",
    "/change?way=contrast&impact=Lantern+Steps&control=Quiet+Ledge&after=2024-04-01",
    "/results/report",
    "/plan",
    "/plan?about=stated+share&sd=12&sd_n=8&half_width=5&change=10&correlation=0.7&power=80",
    "/second",
    "/lookalikes?a=Favites&b=Goniastrea",
    "/sheets",
    "/sheets?kind=belt",
    "/sheets?kind=tagged_colony",
    "/cards",
    "/cards/field-007",
    "/help",
    "/help/messages",
    "/help/day",
    "/help/naming",
    "/help/units",
)

WIDER = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("main *")]
  .filter((e) => e.getBoundingClientRect().right > innerWidth)
  .map((e) => e.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("seen", ["light en-GB", "dark en-GB", "light fr-FR"])
def test_no_page_has_a_fault_of_access_or_is_wider_than_a_phone(
    seen, server_of, open_page, web_project, shot, faults_of_access
) -> None:
    light, locale = seen.split()
    page = open_page(server_of(web_project), color_scheme=light, locale=locale)
    for path in PAGES:
        name = re.sub(r"\W+", "-", path).strip("-") or "home"
        page.set_viewport_size({"width": 1280, "height": 720})
        page.goto(path)
        assert page.locator("h1").count() == 1, path
        shot(page, f"{name}-{light}-{locale[:2]}")
        assert faults_of_access(page) == [], path
        page.set_viewport_size({"width": 390, "height": 800})
        wide = page.evaluate(WIDER)
        assert wide == [], path
        shot(page, f"{name}-{light}-{locale[:2]}-phone")


def test_every_page_is_in_french_for_a_french_browser(
    server_of, open_page, web_project, english_left
) -> None:
    page = open_page(server_of(web_project), locale="fr-FR")
    for path in PAGES:
        page.goto(path)
        page.wait_for_load_state("networkidle")  # what scripts add is shown too
        assert page.locator("html").get_attribute("lang") == "fr", path
        left = english_left.english_in(english_left.shown_in(page.content()), english_left.MADE_UP)
        assert left == [], path
    assert page.get_by_label("Langue").locator("option").all_inner_texts() == [
        "English",
        "Français",
    ]


def test_language_is_chosen_on_the_page_and_stays(server_of, open_page, web_project) -> None:
    page = open_page(server_of(web_project))
    page.get_by_label("Language").select_option("fr")
    page.get_by_label("Language").locator("xpath=ancestor::form").get_by_role("button").click()
    page.wait_for_selector("html[lang=fr]")
    page.goto("/help/messages")
    assert page.locator("h1").inner_text() == "Le sens de chaque message"
