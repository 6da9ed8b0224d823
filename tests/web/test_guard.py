"""Who may ask, from where, and what every answer carries."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from dryslate.web.app import create_app
from dryslate.web.guard import HEADERS
from dryslate.web.settings import ServeSettings

BASE = "http://127.0.0.1:8321"


@pytest.fixture
def stranger(read_only_project) -> TestClient:
    """A browser without a session."""
    app = create_app(ServeSettings(project=read_only_project, token="right"))
    return TestClient(app, base_url=BASE, follow_redirects=False)


def test_browser_without_the_printed_address_sees_nothing(stranger) -> None:
    answer = stranger.get("/", headers={"accept": "text/html"})
    assert answer.status_code == 403
    assert "page-no-session" in answer.text
    assert "Lantern" not in answer.text


def test_wrong_key_opens_nothing(stranger) -> None:
    answer = stranger.get("/?key=wrong")
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_right_key_opens_a_session_and_leaves_the_address(stranger) -> None:
    answer = stranger.get("/photos?key=right&visit=a%20b")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/photos?visit=a+b"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


@pytest.mark.parametrize("path", ["//elsewhere.example/", "/\\elsewhere.example/"])
def test_key_never_leads_to_another_machine(stranger, path) -> None:
    answer = stranger.get(f"{BASE}{path}?key=right")
    assert not answer.headers.get("location", "/").startswith(("//", "/\\", "http"))


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:9999", "", "127.0.0.1.evil.example"])
def test_host_that_is_not_ours_is_refused(stranger, host) -> None:
    answer = stranger.get("/?key=right", headers={"host": host})
    assert answer.status_code == 421
    assert answer.json()["problems"][0]["slug"] == "page-host"


def test_change_from_another_page_is_refused(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    for headers in ({"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}):
        answer = pages.post("/language", data={"language": "fr"}, headers=headers)
        assert answer.status_code == 403
        assert answer.json()["problems"][0]["slug"] == "page-origin"


def test_change_without_the_token_is_refused(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    answer = pages.client.post("/language", data={"language": "fr"})
    assert answer.status_code == 403
    assert answer.json()["problems"][0]["slug"] == "page-token"


def test_token_may_come_as_a_field_of_a_form(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    answer = pages.client.post("/language", data={"language": "en", "csrf": pages.token})
    assert answer.status_code == 303


def test_nothing_is_saved_before_an_observer_is_picked(client_of, read_only_project) -> None:
    pages = client_of(read_only_project, observer=None)
    answer = pages.post("/jobs/none/cancel", json={})
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["slug"] == "page-no-observer"


def test_body_beyond_the_limit_is_refused(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    answer = pages.post("/language", content=b"x" * 2_000_001)
    assert answer.status_code == 413
    assert answer.json()["problems"][0]["slug"] == "page-too-large"


def test_every_answer_carries_the_safety_headers(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    for path in ("/", "/nothing-here", "/static/css/pages.css", "/jobs"):
        answer = pages.get(path)
        for name in HEADERS:
            assert answer.headers[name] == HEADERS[name], (path, name)


def test_page_that_is_not_there_says_so_in_the_one_shape(client_of, read_only_project) -> None:
    answer = client_of(read_only_project).get("/nothing-here", headers={"accept": "*/*"})
    assert answer.status_code == 404
    assert set(answer.json()["problems"][0]) == {
        *("slug", "severity", "place", "message", "fix"),
        *("lang", "colon"),  # how it is shown
    }
    assert answer.json()["problems"][0]["slug"] == "page-not-found"


@pytest.mark.parametrize(("chosen", "shown"), [("dark", "dark"), ("", "auto"), ("'><p>", "auto")])
def test_page_of_a_refusal_is_as_light_as_the_others(
    client_of, read_only_project, chosen, shown
) -> None:
    headers = {"accept": "text/html", "cookie": f"light={chosen}"}
    answer = client_of(read_only_project).get("/nothing-here", headers=headers)
    assert f'<html lang="en" data-light="{shown}">' in answer.text


def test_fault_in_the_program_tells_no_trace(read_only_project) -> None:
    app = create_app(ServeSettings(project=read_only_project, token="right"))

    @app.get("/broken")
    def broken() -> None:
        raise RuntimeError("secret words")

    client = TestClient(app, base_url=BASE, raise_server_exceptions=False, follow_redirects=False)
    client.get("/?key=right")
    answer = client.get("/broken")
    assert answer.status_code == 500
    assert answer.json()["problems"][0]["slug"] == "page-fault"
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
