"""A server is quick to start: what is slow to import comes later, and no page misses it."""

from __future__ import annotations

import re
import socket
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from dryslate import wiring
from dryslate.base.errors import DryslateError
from dryslate.web import server
from dryslate.web.front import Front
from dryslate.web.settings import ServeSettings
from dryslate.web.warm import warm

SLOW = (
    "fastapi",
    "pydantic",
    "cv2",
    "matplotlib",
    "numba",
    "numpy",
    "PIL",
    "pyapriltags",
    "rawpy",
    "scipy",
    "tifffile",
)
"""Libraries that no server may wait for before it listens and shows its first page."""

FIRST_PAGE = """
import asyncio, sys
from pathlib import Path
import uvicorn
from dryslate.cli.main import build_app
from dryslate.web import server, warm
from dryslate.web.front import Front
from dryslate.web.settings import ServeSettings

build_app()
app = Front(ServeSettings(project=Path(sys.argv[1]), token="key"))
sent = []

async def ask(path, cookie):
    headers = [(b"host", b"127.0.0.1:8321"), (b"cookie", cookie)]
    scope = {"type": "http", "method": "GET", "path": path.split("?")[0], "raw_path": path.encode(),
             "query_string": path.partition("?")[2].encode(), "headers": headers, "scheme": "http",
             "http_version": "1.1", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8321)}
    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}
    async def send(message):
        sent.append(message)
    await app(scope, receive, send)

asyncio.run(ask("/?key=key", b""))
cookie = dict(sent[0]["headers"])[b"set-cookie"].split(b";")[0]
sent.clear()
asyncio.run(ask("/", cookie))
print(sent[0]["status"], sorted({name.split(".")[0] for name in sys.modules}))
"""


def test_first_page_needs_nothing_that_is_slow_to_import(read_only_project: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FIRST_PAGE, str(read_only_project)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("200 ")
    assert [name for name in SLOW if f"'{name}'" in done.stdout] == []


def front_of(project: Path) -> Front:
    return Front(ServeSettings(project=project, token="key"))


@pytest.fixture
def fresh(read_only_project: Path):
    """A client of a server that has loaded nothing but its first page."""
    front = front_of(read_only_project)
    client = TestClient(front, base_url="http://127.0.0.1:8321")
    assert "Left to do" in client.get("/?key=key").text
    assert client.get("/static/css/pages.css").status_code == 200
    assert front._whole is None
    return client


@pytest.mark.parametrize("path", ["/photos", "/corals", "/cards", "/take", "/people", "/help"])
def test_page_that_is_not_loaded_yet_is_waited_for(fresh, path: str) -> None:
    assert fresh.get(path).status_code == 200


def test_session_and_observer_outlive_the_loading(fresh) -> None:
    page = fresh.get("/").text
    token = re.search(r'<meta name="token" content="([^"]+)"', page)[1]
    picked = {"observer": "Ines Varro", "csrf": token}
    answer = fresh.post("/people/pick", data=picked)
    assert answer.status_code == 200
    assert "<b>Ines Varro</b>" in answer.text
    assert "<b>Ines Varro</b>" in fresh.get("/photos").text


def test_first_page_is_guarded_like_all_others(read_only_project: Path) -> None:
    client = TestClient(front_of(read_only_project), base_url="http://127.0.0.1:8321")
    assert client.get("/").status_code == 403
    answer = client.get("/", headers={"host": "elsewhere.example"})
    assert answer.status_code == 421
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")


def test_address_of_nothing_is_still_not_found(fresh) -> None:
    assert fresh.get("/nowhere").status_code == 404


def test_warming_makes_the_whole_application_and_never_raises(
    read_only_project: Path, tmp_path: Path
) -> None:
    front = front_of(read_only_project)
    warm(front)
    assert front._whole is front.load()
    warm(front_of(tmp_path / "gone"))


def test_address_is_told_only_once_it_can_be_opened(read_only_project: Path, monkeypatch) -> None:
    monkeypatch.setattr("uvicorn.Server.run", lambda self, sockets: None)
    monkeypatch.setattr(server, "WARM_AFTER_S", 3600.0)
    settings = ServeSettings(project=read_only_project, port=server.free_port("127.0.0.1", None))
    heard = []

    def say(line: str) -> None:
        if line.startswith("Open: "):
            with socket.create_connection(("127.0.0.1", settings.port), timeout=5):
                heard.append(line)

    server.serve(settings, say)
    assert heard == [f"Open: {settings.address}"]


def test_records_are_one_file_again_when_the_server_ends(own_project: Path, monkeypatch) -> None:
    log = own_project / "dryslate.sqlite-wal"
    sizes = []

    def run(self, sockets) -> None:
        with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
            store.save_region("western_atlantic")
        sizes.append(log.stat().st_size)

    monkeypatch.setattr("uvicorn.Server.run", run)
    monkeypatch.setattr(server, "WARM_AFTER_S", 3600.0)
    port = server.free_port("127.0.0.1", None)
    server.serve(ServeSettings(project=own_project, port=port), lambda _: None)
    assert sizes[0] > 0  # saving left it to the log
    assert not log.exists()
    with sqlite3.connect(own_project / "dryslate.sqlite") as db:
        (region,) = db.execute("SELECT value FROM project WHERE name = 'region'").fetchone()
    db.close()
    assert region == "western_atlantic"


def test_port_that_was_taken_meanwhile_is_refused(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        settings = ServeSettings(project=tmp_path, port=taken.getsockname()[1])
        with pytest.raises(DryslateError) as caught:
            server.listening(settings)
    assert caught.value.slug == "serve-port"
