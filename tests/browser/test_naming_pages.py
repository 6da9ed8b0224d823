"""Naming a coral in a real browser, by keys alone and by mouse."""

from __future__ import annotations

import re

from dryslate import wiring

MOST_KEYS = 10


def record_of(project, colony: str) -> str:
    with wiring.survey_store(project, write=False) as store:
        return next(r.record_id for r in store.records() if r.colony == colony)


def names_of(project, record_id: str):
    with wiring.survey_store(project, write=False) as store:
        return store.identifications(record_id)


def press(page, key: str) -> None:
    """Press a key and wait until the evidence is weighed anew."""
    with page.expect_response("**/weigh"):
        page.keyboard.press(key)


def key_of(page, words: str) -> str:
    """The key that stands on a state's button."""
    button = page.locator("#states button", has_text=words)
    return button.locator("kbd").inner_text()


def test_easy_coral_is_named_by_fewer_than_ten_keys(
    server_of, open_page, own_project, shot, faults_of_access
) -> None:
    page = open_page(server_of(own_project))
    record_id = record_of(own_project, "L1-2")
    with page.expect_response("**/weigh"):
        page.goto(f"/corals/{record_id}/name")
    seen = {  # a table Acropora, as a diver sees it
        "How do the cups sit together?": "one leading cup at each tip",
        "What shape is the whole colony?": "a flat table on a stalk",
    }
    pressed = 0
    while "Acropora" not in page.locator("#verdict").inner_text() and pressed < MOST_KEYS:
        words = seen.get(page.locator("#question").inner_text())
        press(page, key_of(page, words) if words else "0")
        pressed += 1
    shot(page, "naming-acropora")
    assert faults_of_access(page) == []
    page.keyboard.press("Enter")
    with page.expect_response("**/names"):
        page.keyboard.press("5")
    pressed += 2
    assert pressed < MOST_KEYS
    page.wait_for_url(re.compile("/corals/.*/name$"))  # the next one that has no name
    (row,) = names_of(own_project, record_id)
    assert (row.name, row.confidence) == ("Acropora", 5)


def test_coral_is_named_by_mouse_and_its_answers_survive_a_reload(
    server_of, open_page, own_project
) -> None:
    page = open_page(server_of(own_project))
    record_id = record_of(own_project, "L1-3")
    with page.expect_response("**/weigh"):
        page.goto(f"/corals/{record_id}/name")
    with page.expect_response("**/weigh"):
        page.locator("#states button").first.click()
    assert page.locator("#answered li").count() == 1
    with page.expect_response("**/weigh"):
        page.reload()
    assert page.locator("#answered li").count() == 1
    page.locator("input#name").fill("Platygyra")
    with page.expect_response("**/names"):
        page.locator(".sure button").nth(2).click()
    page.wait_for_url(re.compile("/corals/.*/name$"))
    (row,) = names_of(own_project, record_id)
    assert (row.name, row.confidence) == ("Platygyra", 3)
    assert row.evidence["seen"]
