"""Starting the server, and requests that cannot be used."""

from __future__ import annotations

import asyncio
import logging
import socket

import pytest
from fastapi.testclient import TestClient

from dryslate.base.errors import DryslateError
from dryslate.web import server
from dryslate.web.app import create_app
from dryslate.web.server import is_no_stopping
from dryslate.web.settings import ServeSettings


def test_port_that_is_taken_is_refused_with_what_to_do() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(DryslateError) as caught:
            server.free_port("127.0.0.1", taken.getsockname()[1])
    assert caught.value.slug == "serve-port"


def test_without_a_wish_the_first_free_port_is_taken() -> None:
    assert server.free_port("127.0.0.1", None) >= server.FIRST_PORT


def test_build_without_a_network_says_what_is_missing() -> None:
    assert server.parts_missing().slug == "serve-parts-missing"


def test_folder_that_is_no_project_is_refused_before_anything_listens(tmp_path) -> None:
    with pytest.raises(DryslateError) as caught:
        server.serve(ServeSettings(project=tmp_path), print)
    assert caught.value.slug == "project-not-found"


def test_address_carries_the_key_for_one_person_and_none_for_a_team(tmp_path) -> None:
    alone = ServeSettings(project=tmp_path, token="abc", port=9000)
    assert alone.address == "http://127.0.0.1:9000/?key=abc"
    team = ServeSettings(project=tmp_path, host="0.0.0.0", names=("boat.local",), port=9000)
    assert team.address == "http://boat.local:9000/"
    assert "boat.local:9000" in team.allowed_hosts


def test_field_that_cannot_be_used_is_named_and_not_echoed(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    answer = pages.post("/language", data={"language": "<script>"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "page-input"
    assert "<script>" not in answer.text
    answer = pages.post("/light", data={})
    assert answer.json()["problems"][0]["slug"] == "page-input"
    assert "light" in answer.text


def test_team_server_asks_everybody_to_sign_in(read_only_project) -> None:
    settings = ServeSettings(project=read_only_project, host="0.0.0.0", names=("boat.local",))
    client = TestClient(create_app(settings), base_url="http://boat.local:8321")
    for path in ("/", f"/?key={settings.token}"):
        answer = client.get(path)
        assert answer.status_code == 403
        assert answer.json()["problems"][0]["slug"] == "page-sign-in"


def test_viewer_may_not_do_what_a_surveyor_does(client_of, own_project) -> None:
    pages = client_of(own_project)
    app = pages.client.app
    for session in app.state.reach.sessions._sessions.values():
        session.role = "viewer"
    answer = pages.post("/jobs/none/cancel", json={})
    assert answer.status_code == 403
    assert answer.json()["problems"][0]["slug"] == "page-role"


def test_requests_cut_short_by_stopping_leave_no_trace_in_the_log() -> None:
    for error, is_kept in ((asyncio.CancelledError(), False), (ValueError("x"), True)):
        told = (type(error), error, None)
        record = logging.LogRecord("uvicorn.error", logging.ERROR, "", 0, "said", (), told)
        assert is_no_stopping(record) == is_kept
    plain = logging.LogRecord("uvicorn.error", logging.WARNING, "", 0, "said", (), None)
    assert is_no_stopping(plain)


def test_small_answers_are_sent_at_once(read_only_project) -> None:
    settings = ServeSettings(project=read_only_project, port=server.free_port("127.0.0.1", None))
    with server.listening(settings) as sock:
        assert sock.proto == socket.IPPROTO_TCP  # asyncio sets TCP_NODELAY on these only
