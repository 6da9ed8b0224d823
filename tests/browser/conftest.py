"""A real Chromium against a real server; any error or request to another machine fails the test."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "build" / "npm" / "axe.min.js"
VENDOR = ROOT / "src" / "dryslate" / "web" / "static" / "vendor" / "htmx.min.js"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CHROMIUM = os.environ.get("CHROMIUM") or next(
    (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
)
LONGEST = ("test_day.py", "test_every_page.py")
SHOTS = os.environ.get("DRYSLATE_SCREENSHOTS")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """
    Everything in this folder needs a browser, and comes last: it takes the longest.

    Of these the longest begin, so that no worker is left alone with one of them at the end.
    """
    mine = [item for item in items if "tests/browser" in str(item.path).replace("\\", "/")]
    for item in mine:
        item.add_marker(pytest.mark.browser)
    places = {id(item): 2 if item.path.name in LONGEST else 3 for item in mine}
    items.sort(key=lambda item: places.get(id(item), 1))


@pytest.fixture(scope="session")
def browser():
    """One Chromium for all tests."""
    if not VENDOR.exists():
        pytest.skip("the browser code of others is not in this build (npm was out of reach)")
    if not CHROMIUM:
        say = "no Chromium: apt install chromium libatomic1, or set CHROMIUM"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(say)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS, headless=True)
        yield opened
        opened.close()


class Server:
    """A server of one project in a process of its own."""

    def __init__(self, project: Path, log: Path, *words: str) -> None:
        self.project = project
        self._log = log.open("a")
        with socket.socket() as chosen:  # its own port, whoever else runs tests beside it
            chosen.bind(("127.0.0.1", 0))
            port = str(chosen.getsockname()[1])
        serve = [sys.executable, "-m", "dryslate.cli.main", "serve", str(project)]
        command = [*serve, "--port", port, *words]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=self._log, text=True, cwd=ROOT
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        while line and not line.startswith("Open: "):
            line = self.process.stdout.readline()
        self.address = line.removeprefix("Open: ").strip()
        self.base = self.address.split("/?")[0].rstrip("/")

    def stop(self) -> None:
        """End the server."""
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()
        self._log.close()


@pytest.fixture
def server_of(tmp_path: Path) -> Iterator[object]:
    """Start servers; they end with the test."""
    started: list[Server] = []

    def start(project: Path, *words: str) -> Server:
        server = Server(project, tmp_path / "server.log", *words)
        for _ in range(200):  # the address is printed just before the socket listens
            with socket.socket() as tried:
                host, port = server.base.removeprefix("http://").rsplit(":", 1)
                if tried.connect_ex((host, int(port))) == 0:
                    break
            time.sleep(0.02)
        started.append(server)
        return server

    yield start
    for server in started:
        server.stop()


@pytest.fixture
def own_project(web_project: Path, tmp_path: Path) -> Path:
    """A copy of the small project that a test may change."""
    return Path(shutil.copytree(web_project, tmp_path / "trip"))


MODULE = """
window.dryslateModule = async (path) => {
  const script = document.querySelector('script[src*="/static/joined/"]');
  return (await import(script.src)).modules[path];
};
"""
"""What a module of a page's joined script exports, in the very instance that the page runs."""


@pytest.fixture
def open_page(browser):
    """Open a fresh browser on a server, signed in as an observer; errors fail the test."""
    contexts, bad, errors = [], [], []

    def make(server: Server, observer: str | None = "Ines Varro", **context: object):
        settings = {"viewport": {"width": 1280, "height": 720}, "locale": "en-GB", **context}
        opened = browser.new_context(base_url=server.base, **settings)
        contexts.append(opened)
        opened.add_init_script(MODULE)

        def route(request) -> None:
            if request.request.url.startswith((server.base + "/", "data:", "blob:")):
                request.continue_()
            else:
                bad.append(request.request.url)
                request.abort()

        opened.route("**/*", route)
        page = opened.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on(
            "console",
            lambda said: (
                errors.append(f"{said.text} {said.location}") if said.type == "error" else None
            ),
        )
        page.goto(server.address)
        if observer is not None:
            page.get_by_role("button", name=observer).click()
            page.wait_for_url(server.base + "/")
        page.expected_errors = errors
        return page

    yield make
    for one in contexts:
        one.close()
    assert not bad, f"left this machine: {bad}"
    assert not errors, errors


@pytest.fixture
def screen_of():
    """Where a point of the photo is on the page."""

    def find(page, xy) -> tuple[float, float]:
        x, y = page.evaluate(
            "async (xy) => { const m = await dryslateModule('photo/viewer.js');"
            " const view = await m.opened; const b = view.element.getBoundingClientRect();"
            " const [x, y] = view.toScreen(xy); return [x + b.left, y + b.top]; }",
            [float(v) for v in xy],
        )
        return x, y

    return find


@pytest.fixture
def shot():
    """Keep a screenshot where DRYSLATE_SCREENSHOTS names a folder."""

    def take(page, name: str, **more: object) -> None:
        if SHOTS:
            Path(SHOTS).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=str(Path(SHOTS) / f"{name}.png"), **more)

    return take


@pytest.fixture
def faults_of_access():
    """What axe-core finds on a page, as a list of rule and place."""

    def find(page) -> list[str]:
        if not AXE.exists():
            pytest.skip("axe-core is not in this build (npm was out of reach)")
        page.evaluate(AXE.read_text("utf-8"))
        found = page.evaluate("axe.run()")
        return [
            f"{v['id']}: {v['help']}: {[n['target'] for n in v['nodes']][:5]}"
            for v in found["violations"]
        ]

    return find
