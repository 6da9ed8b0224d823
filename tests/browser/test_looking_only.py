"""A photo's page for who may only look at a team's survey: everything seen, nothing to set."""

from __future__ import annotations

from dryslate import wiring
from dryslate.app.accounts import set_account

PASSWORD = "four plain words here"


def test_who_only_looks_sees_what_is_measured_and_sets_nothing(
    server_of, open_page, own_project, shot, faults_of_access
) -> None:
    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    set_account(book, hasher, "Odalys Brem", "viewer", PASSWORD)
    with wiring.survey_store(own_project, write=False) as store:
        photo_id = next(m.photo_id for m in store.measurements() if m.kind == "outline")
    page = open_page(server_of(own_project, "--host", "127.0.0.2"), observer=None)
    page.get_by_label("Your name").fill("Odalys Brem")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()
    page.goto(f"/photos/{photo_id}")
    page.locator("html[data-photo=open]").wait_for(state="attached")
    page.keyboard.press("o")
    page.keyboard.press("h")
    page.locator("#measured button.line").first.click()
    for name in ("Outline o", "Take it back", "Set its points better", "Name it a", "Undo"):
        assert not page.get_by_role("button", name=name, exact=True).is_visible(), name
    assert page.locator("#measured .more:visible .value").count() == 1
    shot(page, "photo-looking-only")
    assert faults_of_access(page) == []
