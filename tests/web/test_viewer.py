"""Who may only look meets no form and no link that ends in a refusal, wherever the pages lead."""

from __future__ import annotations

import re
import shutil
from collections import deque
from html.parser import HTMLParser
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient

from dryslate import wiring
from dryslate.app.accounts import set_account
from dryslate.web.app import create_app
from dryslate.web.settings import ServeSettings

TEAM = "http://boat.local:8321"
PASSWORD = "four plain words here"
MAY = {"/language", "/light", "/sign-out"}
"""Forms for everybody: they save no record."""
SAME = re.compile(r"[0-9a-f]{12,64}")
NO_PAGES = re.compile(r"\.(jpg|png|pdf|csv|zip|svg|css|js|docx|json|toml|txt)$|^/static/|/tiles/")


class Seen(HTMLParser):
    """What a page offers: where links lead, and what its forms would post to."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.posts: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        found = dict(attrs)
        if tag == "a" and (found.get("href") or "").startswith("/"):
            self.links.append(found["href"])
        if tag == "form" and found.get("method") == "post":
            self.posts.append(found["action"])
        self.posts += [v for k, v in attrs if k == "hx-post"]


@pytest.fixture(scope="module")
def walk(read_only_project, tmp_path_factory):
    """Go wherever the links of the pages lead, once for each kind of page."""
    project = shutil.copytree(read_only_project, tmp_path_factory.mktemp("team") / "trip")

    def go(role: str) -> dict[str, tuple[int, str, list[str]]]:
        book, hasher = wiring.account_book(project), wiring.password_hasher()
        set_account(book, hasher, "Odalys Brem", role, PASSWORD)
        app = create_app(ServeSettings(project=project, host="0.0.0.0", names=("boat.local",)))
        client = TestClient(app, base_url=TEAM)
        fields = {"observer": "Odalys Brem", "password": PASSWORD}
        client.post("/sign-in", data=fields, headers={"origin": TEAM})
        met: dict[str, tuple[int, str, list[str]]] = {}
        waiting = deque([("/", "")])
        kinds: dict[str, int] = {}
        while waiting:
            address, source = waiting.popleft()
            parts = urlsplit(address)
            if NO_PAGES.search(parts.path):
                continue
            names = sorted(re.findall(r"(?:^|&)(\w+)=", parts.query))
            kind = f"{SAME.sub('*', parts.path)}?{','.join(names)}"
            kinds[kind] = kinds.get(kind, 0) + 1
            if kinds[kind] > 2:
                continue
            answer = client.get(address.split("#", maxsplit=1)[0], headers={"accept": "text/html"})
            seen = Seen()
            if answer.headers.get("content-type", "").startswith("text/html"):
                seen.feed(answer.text)
            met[address] = (answer.status_code, source, seen.posts)
            waiting.extend((link, address) for link in seen.links)
        return met

    return go


def test_no_link_of_a_viewer_is_refused_and_no_form_would_be(walk) -> None:
    met = walk("viewer")
    assert len(met) > 40
    assert {a: source for a, (status, source, _) in met.items() if status != 200} == {}
    assert {a: more for a, (_, _, posts) in met.items() if (more := set(posts) - MAY)} == {}


def test_who_surveys_meets_no_form_of_who_leads(walk) -> None:
    met = walk("surveyor")
    posts = {one for _, _, found in met.values() for one in found}
    assert "/take/folder" not in posts  # a path of this computer is never asked of a team
    assert "/photos/correct" in {one.split("?")[0] for one in posts}
    assert not posts & {"/settings/region", "/accounts", "/accounts/remove", "/second/draw"}
    assert {a: source for a, (status, source, _) in met.items() if status != 200} == {}


def test_pages_that_change_something_say_so_to_who_only_looks(viewer_of, read_only_project) -> None:
    pages = viewer_of(read_only_project)
    for path in (
        "/take",
        "/corals/new",
        "/records/import",
        "/visit?visit=Lantern+Steps+2024-03-09",
    ):
        answer = pages.get(path, headers={"accept": "text/html"})
        assert answer.status_code == 403, path
        assert "page-role" in answer.text, path
    html = pages.get("/people").text
    assert "You may look at everything" not in html  # of a team only: here everybody may do all
    assert "<b>Indo-Pacific</b>" in html
