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


def wait_until_weighed(page) -> None:
    """Wait until the page shows what the evidence says now."""
    page.locator("#states[aria-busy=false]").wait_for(state="attached")


def press(page, key: str) -> None:
    """Press a key and wait until the evidence is weighed anew."""
    with page.expect_response("**/weigh"):
        page.keyboard.press(key)
    wait_until_weighed(page)


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
    wait_until_weighed(page)
    while page.locator("#verdict").inner_text().strip() != "Acropora" and pressed < MOST_KEYS:
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


def test_enter_in_the_field_of_the_name_asks_how_sure_and_saves_nothing_yet(
    server_of, open_page, own_project
) -> None:
    page = open_page(server_of(own_project))
    record_id = record_of(own_project, "L1-2")
    with page.expect_response("**/weigh"):
        page.goto(f"/corals/{record_id}/name")
    wait_until_weighed(page)
    n_before = len(names_of(own_project, record_id))
    page.keyboard.press("w")
    page.keyboard.type("Favites")
    page.keyboard.press("Enter")
    page.locator("#give.awaits .sure button:focus").wait_for()
    assert len(names_of(own_project, record_id)) == n_before
    with page.expect_response("**/names"):
        page.keyboard.press("4")
    row = names_of(own_project, record_id)[-1]
    assert (row.name, row.confidence) == ("Favites", 4)


def test_coral_is_named_by_mouse_and_its_answers_survive_a_reload(
    server_of, open_page, own_project, shot
) -> None:
    page = open_page(server_of(own_project))
    record_id = record_of(own_project, "L1-3")
    with page.expect_response("**/weigh"):
        page.goto(f"/corals/{record_id}/name")
    wait_until_weighed(page)
    with page.expect_response("**/weigh"):
        page.locator("#states button").first.click()
    wait_until_weighed(page)
    assert page.locator("#answered li").count() == 1
    with page.expect_response("**/weigh"):
        page.reload()
    wait_until_weighed(page)
    assert page.locator("#answered li").count() == 1
    page.get_by_text("How sure the evidence is").click()
    with page.expect_response("**/weigh"):
        page.locator("#all-equal").check()
    page.locator("input#name").fill("Platygyra")
    with page.expect_response("**/names"):
        page.locator(".sure button").nth(2).click()
    page.wait_for_url(re.compile("/corals/.*/name$"))
    (row,) = names_of(own_project, record_id)
    assert (row.name, row.confidence) == ("Platygyra", 3)
    assert row.evidence["seen"]
    assert row.evidence["all_equal"] is True
    page.goto(f"/corals/{record_id}")
    assert "every genus counted as equally common" in page.locator("main").inner_text()
    page.locator("table").last.scroll_into_view_if_needed()
    shot(page, "coral-named-all-equal")


def looked_twice(project, second: str) -> str:
    """L1-1 was called Dipsastraea by Ines Varro; Tomo Halle gives another name, blind."""
    from dryslate.app.identify import Identifier
    from dryslate.app.identify_records import NameRequest
    from dryslate.app.review_draw import draw_queue
    from dryslate.app.second_observer import look_again

    now = "2024-03-09T20:00:00+00:00"
    identifier = Identifier(wiring.reference_tables(project), region="indo_pacific")
    with wiring.survey_store(project, write=True, who="Tomo Halle") as store:
        draw_queue(store, "Ines Varro", now)
        said = NameRequest(record="L1-1", name=second, observer="Tomo Halle", confidence=3)
        look_again(store, identifier, said, now)
    return record_of(project, "L1-1")


def test_the_two_settle_at_one_screen_and_the_page_then_shows_it(
    server_of, open_page, own_project, shot, faults_of_access
) -> None:
    record_id = looked_twice(own_project, "Merulinidae")
    page = open_page(server_of(own_project))
    for light in ("light", "dark"):
        page.emulate_media(color_scheme=light)
        for path in (f"/second/{record_id}/both", f"/second/{record_id}/settle", "/second"):
            name = f"settle-{path.split('/')[-1]}-{light}"
            page.set_viewport_size({"width": 1280, "height": 720})
            page.goto(path)
            shot(page, name)
            assert faults_of_access(page) == [], path
            page.set_viewport_size({"width": 390, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
            shot(page, f"{name}-phone")
    page.set_viewport_size({"width": 1280, "height": 720})
    page.goto(f"/second/{record_id}/settle")
    page.get_by_label("Tomo Halle is here and decides with me").focus()
    page.keyboard.press("Space")
    page.get_by_label("Its name").fill("Dipsastraea")
    page.keyboard.press("Tab")
    for _ in range(3):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/both$"))
    assert "Settled together: Dipsastraea." in page.locator("main").inner_text()
    page.goto(f"/second/{record_id}/settle")
    shot(page, "settled-together")
    assert faults_of_access(page) == []
    assert page.locator("p.standing i").inner_text() == "Dipsastraea"
    page.get_by_role("button", name="Open it again").click()
    page.wait_for_url(re.compile("/settle$"))
    assert page.get_by_label("Its name").count() == 1


def test_coral_from_a_slate_is_noted_by_keys_and_then_named(
    server_of, open_page, own_project, shot, faults_of_access
) -> None:
    page = open_page(server_of(own_project))
    page.goto("/corals/new")
    typed = ("T17", "tape 12 m", "12 cm")
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    shot(page, "new-coral")
    assert faults_of_access(page) == []
    page.get_by_label("Width of one").fill("8 ± 0.5")
    with page.expect_response("**/weigh"):
        page.get_by_role("button", name="Save and name it").press("Enter")
    shot(page, "naming-without-photo")
    assert "8.0 ± 0.5 mm" in page.locator("#sizes").inner_text()
    assert faults_of_access(page) == []
