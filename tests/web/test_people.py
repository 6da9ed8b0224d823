"""Who works here, who may sign in, and what the project is set to."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient

from dryslate import wiring
from dryslate.app.accounts import remove_account, set_account
from dryslate.base.errors import DryslateError
from dryslate.web.app import create_app
from dryslate.web.settings import ServeSettings

TEAM = "http://boat.local:8321"
PASSWORD = "four plain words here"


@pytest.fixture
def team(own_project):
    """A team's server with a lead and a viewer."""
    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    set_account(book, hasher, "Ines Varro", "lead", PASSWORD)
    set_account(book, hasher, "Odalys Brem", "viewer", PASSWORD)
    settings = ServeSettings(project=own_project, host="0.0.0.0", names=("boat.local",))
    return create_app(settings)


def browser(app) -> TestClient:
    return TestClient(app, base_url=TEAM, follow_redirects=False)


def sign_in(client: TestClient, name: str, password: str = PASSWORD):
    fields = {"observer": name, "password": password}
    return client.post("/sign-in", data=fields, headers={"origin": TEAM})


def token(client: TestClient) -> str:
    found = re.search(r'<meta name="token" content="([^"]+)"', client.get("/people").text)
    assert found
    return found[1]


def test_page_lists_everybody_with_what_they_did(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/people").text
    assert "Ines Varro" in html
    assert "verified corals" in html


def test_region_is_set_by_its_known_names_only(client_of, own_project) -> None:
    pages = client_of(own_project)
    assert pages.post("/settings/region", data={"region": "indian_ocean"}).status_code == 303
    with wiring.survey_store(own_project, write=False) as store:
        assert store.region() == "indian_ocean"
    answer = pages.post("/settings/region", data={"region": "the moon"})
    assert answer.json()["problems"][0]["slug"] == "name-region-unknown"


def test_team_signs_in_with_its_password_and_saves_under_its_name(team) -> None:
    client = browser(team)
    assert client.get("/sign-in").status_code == 200
    assert sign_in(client, "Ines Varro").status_code == 303
    html = client.get("/people").text
    assert "You are signed in as Ines Varro" in html
    assert "Odalys Brem" in html


def test_wrong_password_and_unknown_name_get_the_same_answer(team) -> None:
    answers = [sign_in(browser(team), name, "wrong words") for name in ("Ines Varro", "Nobody")]
    assert [a.status_code for a in answers] == [403, 403]
    assert answers[0].json() == answers[1].json()
    assert answers[0].json()["problems"][0]["slug"] == "page-wrong-password"


def test_a_browser_that_asks_for_a_page_signs_in_first_and_gets_it_then(team) -> None:
    client, page = browser(team), {"accept": "text/html"}
    asked = client.get("/photos?show=slate", headers=page)
    assert (asked.status_code, asked.headers["location"]) == (
        303,
        "/sign-in?next=%2Fphotos%3Fshow%3Dslate",
    )
    part = client.get("/photos", headers={**page, "hx-request": "true"})
    assert part.status_code == 403
    html = client.get(asked.headers["location"], headers=page).text
    assert 'name="next" value="/photos?show=slate"' in html
    fields = {"observer": "Ines Varro", "password": "wrong words", "next": "/photos?show=slate"}
    headers = {"origin": TEAM, **page}
    again = client.post("/sign-in", data=fields, headers=headers)
    assert again.status_code == 403
    assert 'data-slug="page-wrong-password"' in again.text
    assert 'value="Ines Varro"' in again.text
    assert "wrong words" not in again.text
    right = client.post("/sign-in", data={**fields, "password": PASSWORD}, headers=headers)
    assert right.headers["location"] == "/photos?show=slate"
    for away in ("//elsewhere.example", "/\\elsewhere.example", "https://elsewhere.example"):
        data = {**fields, "password": PASSWORD, "next": away}
        answer = browser(team).post("/sign-in", data=data, headers=headers)
        sent = answer.headers["location"]
        assert re.match(r"/(?![/\\])", sent), sent


def test_guessing_is_slowed_down_also_for_the_right_password(team) -> None:
    client = browser(team)
    for _ in range(5):
        sign_in(client, "Ines Varro", "wrong words")
    answer = sign_in(client, "Ines Varro")
    assert answer.status_code == 429
    assert answer.json()["problems"][0]["slug"] == "page-too-many-tries"
    assert sign_in(client, "Odalys Brem").status_code == 303


def test_viewer_looks_and_changes_nothing(team) -> None:
    client = browser(team)
    sign_in(client, "Odalys Brem")
    headers = {"x-dryslate-token": token(client), "origin": TEAM}
    html = client.get("/people").text
    assert "Who may sign in" not in html
    assert "<b>Odalys Brem</b> looks only</a>" in html
    assert "cross-origin-opener-policy" not in client.get("/people").headers
    for path in ("/settings/region", "/accounts", "/accounts/remove"):
        answer = client.post(path, data={"region": "atlantic"}, headers=headers)
        assert answer.json()["problems"][0]["slug"] == "page-role"


def test_lead_gives_and_takes_accounts_and_ends_their_sessions(team) -> None:
    lead, other = browser(team), browser(team)
    sign_in(lead, "Ines Varro")
    headers = {"x-dryslate-token": token(lead), "origin": TEAM}
    fields = {"observer": "Tomo Halle", "role": "surveyor", "password": PASSWORD}
    assert lead.post("/accounts", data=fields, headers=headers).status_code == 303
    assert sign_in(other, "Tomo Halle").status_code == 303
    assert other.get("/").status_code == 200
    gone = {"observer": "Tomo Halle"}
    assert lead.post("/accounts/remove", data=gone, headers=headers).status_code == 303
    assert other.get("/").status_code == 403
    assert sign_in(other, "Tomo Halle").status_code == 403


def test_signing_out_ends_the_session(team) -> None:
    client = browser(team)
    sign_in(client, "Ines Varro")
    cookie = client.cookies.get("dryslate_8321")
    headers = {"x-dryslate-token": token(client), "origin": TEAM}
    assert client.post("/sign-out", headers=headers).status_code == 303
    client.cookies.set("dryslate_8321", cookie)
    assert client.get("/").status_code == 403


def test_passwords_are_kept_as_argon2_and_readable_by_their_owner_only(own_project) -> None:
    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    set_account(book, hasher, "Ines Varro", "lead", PASSWORD)
    path = own_project / "accounts.json"
    text = path.read_text("utf-8")
    assert PASSWORD not in text
    assert "$argon2id$" in text
    assert path.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("role", "password", "slug"),
    [("captain", PASSWORD, "account-role"), ("lead", "short", "account-password")],
)
def test_account_that_makes_no_sense_is_refused(own_project, role, password, slug) -> None:
    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    with pytest.raises(DryslateError) as caught:
        set_account(book, hasher, "Ines Varro", role, password)
    assert caught.value.slug == slug


def test_account_that_is_not_there_cannot_be_taken_away(own_project) -> None:
    with pytest.raises(DryslateError) as caught:
        remove_account(wiring.account_book(own_project), "Nobody")
    assert caught.value.slug == "account-unknown"


def test_accounts_file_that_is_broken_is_told(own_project) -> None:
    (own_project / "accounts.json").write_text('[{"observer": 1}]')
    with pytest.raises(DryslateError) as caught:
        wiring.account_book(own_project).accounts()
    assert caught.value.slug == "accounts-broken"
