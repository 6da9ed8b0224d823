"""A team's session that ends in the midst of work: what was typed or drawn is still there."""

from __future__ import annotations

import pytest

from dryslate import wiring
from dryslate.app.accounts import set_account

PASSWORD = "four plain words here"


@pytest.fixture
def team(server_of, own_project):
    """A team's server; it listens on this machine only."""
    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    set_account(book, hasher, "Ines Varro", "surveyor", PASSWORD)
    set_account(book, hasher, "Tomo Halle", "surveyor", PASSWORD)
    return server_of(own_project, "--host", "127.0.0.2")


def sign_in(page, name: str = "Ines Varro") -> None:
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()


def test_a_form_comes_back_as_typed_after_signing_in_again(team, open_page, own_project) -> None:
    page = open_page(team, observer=None)
    sign_in(page)
    page.goto("/corals/new")
    page.get_by_label("Number or tag, as written").fill("Slate 7")
    page.get_by_label("Note").fill("under the overhang")
    page.context.clear_cookies()
    page.get_by_role("button", name="Save and note another").click()
    page.get_by_text("Nobody is signed in at this browser.").wait_for()
    page.get_by_role("link", name="Sign in").click()
    sign_in(page)
    assert page.get_by_label("Number or tag, as written").input_value() == "Slate 7"
    assert page.get_by_label("Note").input_value() == "under the overhang"
    page.get_by_role("button", name="Save and note another").click()
    page.get_by_text("Slate 7 is noted.").wait_for()
    page.expected_errors[:] = [e for e in page.expected_errors if "403" not in e]
    with wiring.survey_store(own_project, write=False) as store:
        assert "Slate 7" in {one.colony for one in store.records()}


def test_what_was_drawn_is_saved_once_the_same_person_signed_in_again(
    team, open_page, own_project, screen_of
) -> None:
    with wiring.survey_store(own_project, write=False) as store:
        photo_id = next(m.photo_id for m in store.measurements() if m.kind == "outline")
    page = open_page(team, observer=None)
    sign_in(page)
    page.goto(f"/photos/{photo_id}")
    page.locator("html[data-photo=open]").wait_for(state="attached")
    page.get_by_role("button", name="Line l", exact=True).click()
    for xy in ((300, 300), (500, 300)):
        page.mouse.click(*screen_of(page, xy))
        page.wait_for_timeout(350)
    page.get_by_label("Which coral").fill("Drawn before")
    page.context.clear_cookies()
    save = page.get_by_role("button", name="Save Enter")
    save.click()
    way = page.locator("#said").get_by_role("link", name="Sign in in another tab")
    with page.context.expect_page() as opened:
        way.click()
    other = opened.value
    sign_in(other, "Tomo Halle")
    save.click()  # under somebody else's name nothing of this page is saved
    page.locator("#said").get_by_text("another session").wait_for()
    other.context.clear_cookies()
    other.goto("/sign-in")
    sign_in(other)
    save.click()
    page.get_by_text("Saved.", exact=True).wait_for()
    page.expected_errors[:] = [e for e in page.expected_errors if "403" not in e]
    with wiring.survey_store(own_project, write=False) as store:
        (kept,) = [m for m in store.measurements() if m.colony == "Drawn before"]
    assert kept.observer == "Ines Varro"
