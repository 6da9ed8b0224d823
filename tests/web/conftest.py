"""A client of the pages without a browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from dryslate.web.app import create_app
from dryslate.web.settings import ServeSettings

BASE = "http://127.0.0.1:8321"


@dataclass
class Pages:
    """A client that is signed in, with its project."""

    client: TestClient
    project: Path
    token: str = ""

    def get(self, path: str, **more: object) -> object:
        return self.client.get(path, **more)  # type: ignore[arg-type]

    def post(self, path: str, **more: object) -> object:
        headers = {"x-dryslate-token": self.token, "origin": BASE, **more.pop("headers", {})}  # type: ignore[dict-item]
        return self.client.post(path, headers=headers, **more)  # type: ignore[arg-type]


@pytest.fixture
def client_of():
    """Make a client of a project's pages; with an observer unless told otherwise."""
    opened: list[TestClient] = []

    def make(project: Path, observer: str | None = "Ines Varro", **settings: object) -> Pages:
        app = create_app(ServeSettings(project=project, token="key-for-tests", **settings))  # type: ignore[arg-type]
        client = TestClient(app, base_url=BASE, follow_redirects=False)
        client.__enter__()
        opened.append(client)
        pages = Pages(client, project)
        assert client.get("/?key=key-for-tests").status_code == 303
        html = client.get("/", headers={"accept": "text/html"}).text
        found = re.search(r'<meta name="token" content="([^"]+)"', html)
        assert found
        pages.token = found[1]
        if observer is not None:
            answer = pages.post("/people/pick", data={"observer": observer})
            assert answer.status_code == 303  # type: ignore[attr-defined]
        return pages

    yield make
    for client in opened:
        client.__exit__(None, None, None)


@pytest.fixture(scope="session")
def read_only_project(web_project: Path) -> Path:
    """The small project for tests that save nothing."""
    return web_project


@pytest.fixture
def own_project(web_project: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy of the small project that a test may change."""
    copy = Path(shutil.copytree(web_project, tmp_path / "trip"))
    yield copy
    shutil.rmtree(copy, ignore_errors=True)


@pytest.fixture
def viewer_of(client_of):
    """Make a client whose role lets it look only."""

    def make(project: Path) -> Pages:
        pages = client_of(project)
        for session in pages.client.app.state.reach.sessions._sessions.values():
            session.role = "viewer"
        return pages

    return make
