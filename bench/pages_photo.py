"""
The photo page and the first lists in Chromium, as somebody waits for them.

Every opening has an empty browser cache; the tiles are made. A reading's time runs from the key
press or the pointer's move to the end of the frame that shows the new millimetres.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from bench.pages_project import Quiet
from bench.pages_server import OBSERVER, Server
from bench.speed import Figure, at_most
from playwright.sync_api import Browser, Page, sync_playwright

from dryslate import wiring
from dryslate.app.pictures_ahead import make_pictures_ahead
from dryslate.files.tiles import FolderTiles

CHROMIUM = os.environ.get("CHROMIUM") or next(
    (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
N_OPENINGS = 10
N_MOVES = 60
KEY_REPEAT_S = 0.033
WATCH = """
window.frames_ms = []; window.moves = []; window.readings = [];
for (const kind of ["keydown", "pointermove"]) {
  window.addEventListener(kind, (event) => window.moves.push(event.timeStamp), { capture: true });
}
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (one.name === "mm-reading") {
    const from = window.moves.filter((at) => at <= one.startTime).at(-1);
    window.readings.push(one.startTime + one.duration - from);
  }
}).observe({ entryTypes: ["measure"] });
"""
FRAMES = """
() => { let last = performance.now(); window.frames_ms = []; window.isCounting = true;
  const next = () => { const now = performance.now(); window.frames_ms.push(now - last); last = now;
    if (window.isCounting) requestAnimationFrame(next); };
  requestAnimationFrame(next); }
"""
READY = """
() => new Promise((done) => { const look = () => {
  const found = ["photo-ready", "photo-sharp"].map((n) => performance.getEntriesByName(n)[0]);
  if (found.every((mark) => mark)) done(Math.max(...found.map((mark) => mark.startTime)));
  else setTimeout(look, 5); }; look(); })
"""
SHOWN = """
() => new Promise((done) => {
  const isSeen = (at) => at.getBoundingClientRect().top < innerHeight;
  const isMissing = (at) => !at.complete || !at.naturalWidth;
  const look = () => {
    const isThere = document.readyState === "complete" &&
      ![...document.images].filter(isMissing).some(isSeen);
    if (isThere) done(performance.now()); else setTimeout(look, 5); };
  look(); })
"""
"""
When the page and every picture on its first screen are there. Places are asked for only of what
is missing once the page is complete: asked for before, they would make the browser lay out anew.
"""


class Visitor:
    """A browser that notes every request to another machine."""

    def __init__(self, browser: Browser, server: Server) -> None:
        self.browser, self.server = browser, server
        self.strayed: list[str] = []
        context = browser.new_context(base_url=server.base)
        page = context.new_page()
        page.goto(server.address)
        page.get_by_role("button", name=OBSERVER, exact=True).click()
        page.wait_for_url(server.base + "/")
        self.cookies = context.cookies()
        context.close()

    @contextlib.contextmanager
    def page(self) -> Iterator[Page]:
        """Open an empty page with nothing in the cache, signed in."""
        context = self.browser.new_context(
            base_url=self.server.base, viewport={"width": 1280, "height": 720}, locale="en-GB"
        )
        context.add_cookies(self.cookies)  # type: ignore[arg-type]
        context.on("request", lambda request: self._note(request.url))
        yield context.new_page()
        context.close()

    def _note(self, url: str) -> None:
        if not url.startswith((self.server.base + "/", "data:", "blob:")):
            self.strayed.append(url)


@contextlib.contextmanager
def visiting(project: Path) -> Iterator[Visitor]:
    """Serve a project to a browser."""
    server = Server(project)
    try:
        time.sleep(3.0)  # what is loaded beside the first answers is there
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            yield Visitor(browser, server)
            browser.close()
    finally:
        server.kill()


def photo_ids(project: Path) -> list[str]:
    with wiring.survey_store(project, write=False) as store:
        return [photo.photo_id for photo in store.photos()]


def measure_opening(visitor: Visitor, ids: list[str]) -> list[Figure]:
    """How long until the photo is sharp and everything beside it works."""
    times = []
    for n in range(N_OPENINGS):
        with visitor.page() as page:
            page.goto(f"/photos/{ids[n % len(ids)]}")
            times.append(page.evaluate(READY))
    note = f"{N_OPENINGS} openings, 95th {np.percentile(times, 95):.0f} ms"
    return [at_most("photo page ready, tiles made, median", np.median(times), "ms", 400, note)]


def measure_zoom(visitor: Visitor, photo_id: str) -> list[Figure]:
    """Frames while the wheel zooms in and out."""
    with visitor.page() as page:
        page.goto(f"/photos/{photo_id}")
        page.evaluate(READY)
        page.mouse.move(640, 360)
        page.evaluate(FRAMES)
        for n in range(60):
            page.mouse.wheel(0, -120 if n % 30 < 15 else 120)
            page.wait_for_timeout(40)
        frames = page.evaluate("() => { window.isCounting = false; return window.frames_ms; }")[2:]
    note = f"{len(frames)} frames, median {np.median(frames):.0f} ms, longest {max(frames):.0f} ms"
    return [at_most("zoom frames, 95th", np.percentile(frames, 95), "ms", 30, note)]


def measure_readings(visitor: Visitor, photo_id: str) -> list[Figure]:
    """From a key or a move of the pointer to the new millimetres."""
    figures = []
    with visitor.page() as page:
        page.goto(f"/photos/{photo_id}")
        page.evaluate(READY)
        page.evaluate(WATCH)
        page.mouse.move(500, 300)
        page.keyboard.press("l")
        page.mouse.click(500, 300)
        for name, move in (("pointer", _by_pointer), ("key", _by_key)):
            page.wait_for_timeout(500)
            page.evaluate("() => { window.readings = []; }")
            move(page)
            page.wait_for_timeout(500)
            times = page.evaluate("() => window.readings")
            note = f"{len(times)} readings of {N_MOVES} moves, median {np.median(times):.0f} ms"
            label = f"{name} to new reading, 95th"
            figures.append(at_most(label, np.percentile(times, 95), "ms", 50, note))
    return figures


def _by_pointer(page: Page) -> None:
    for n in range(N_MOVES):
        page.mouse.move(520 + 3 * n, 320 + n)
        time.sleep(KEY_REPEAT_S)


def _by_key(page: Page) -> None:
    for _ in range(N_MOVES):
        page.keyboard.press("ArrowRight")
        time.sleep(KEY_REPEAT_S)


def measure_lists(visitor: Visitor) -> list[Figure]:
    """First step of each list, until it is there with the pictures on the screen."""
    figures = []
    for name, path in (("what is left", "/"), ("photos", "/photos"), ("corals", "/corals")):
        times = []
        for _ in range(N_OPENINGS):
            with visitor.page() as page:
                page.goto(path, wait_until="commit")
                times.append(page.evaluate(SHOWN))
        note = f"longest of {N_OPENINGS}: {max(times):.0f} ms"
        figures.append(at_most(f"first list page, {name}", np.median(times), "ms", 300, note))
    return figures


def measure_weigh(server: Server, seed: int = 5) -> list[Figure]:
    """One answer with the next questions, as the page asks for it."""
    taxa, _ = wiring.reference_tables(None).taxa()
    chance, times = random.Random(seed), []
    characters = [c for c in taxa.characters.values() if c.states]
    client, headers = server.person()
    for n in range(60):
        told: dict[str, Any] = {}
        for character in chance.sample(characters, n % 6):
            told[character.character] = [chance.choice(list(character.states))]
        began = time.perf_counter()
        answer = client.post("/weigh", json={"evidence": {"seen": told}}, headers=headers)
        times.append(1000 * (time.perf_counter() - began))
        if answer.status_code != 200:
            raise SystemExit(answer.text)
    note = f"60 answers, median {np.median(times):.1f} ms, the first {times[0]:.0f} ms"
    return [
        at_most("an answer with next questions, 95th", np.percentile(times, 95), "ms", 20, note)
    ]


def measure_ahead(project: Path) -> list[Figure]:
    """What it costs to make the pictures of a photo ahead: CPU time, and room on the disk."""
    n = len(photo_ids(project))
    with tempfile.TemporaryDirectory() as folder:
        bench = replace(wiring.tile_bench(project), tiles=FolderTiles(Path(folder)))
        began = time.process_time()
        make_pictures_ahead(
            bench, lambda: wiring.survey_store(project, write=False), Quiet(), lambda: None
        )
        spent = (time.process_time() - began) / n
        size = sum(p.stat().st_size for p in Path(folder).rglob("*") if p.is_file()) / n / 1e6
    note = f"original and corrected, tiles and small copy: {size:.1f} MB a photo"
    name = "pictures made ahead, CPU time a photo"
    return [Figure(name=name, value=spent, unit="s", target="", is_met=None, note=note)]


def measure(photos: Path, long: Path) -> list[Figure]:
    """All figures of this part."""
    if not CHROMIUM:
        raise SystemExit("no Chromium: apt install chromium, or set CHROMIUM")
    ids = photo_ids(photos)
    with visiting(photos) as visitor:
        figures = measure_opening(visitor, ids)
        figures += measure_zoom(visitor, ids[0])
        figures += measure_readings(visitor, ids[0])
        strayed = list(visitor.strayed)
    with visiting(long) as visitor:
        figures += measure_lists(visitor)
        figures += measure_weigh(visitor.server)
        strayed += [*visitor.strayed, *visitor.server.talks_to()]
    figures.append(
        at_most("requests that leave the machine", len(strayed), "", 0, ", ".join(strayed))
    )
    return figures
