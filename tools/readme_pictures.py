"""
Take the pictures of the pages that the README shows, from the made-up trip.

    python tools/readme_pictures.py FOLDER-OF-THE-DEMO

FOLDER is what ``dryslate demo FOLDER --no-serve`` made. Needs Chromium and Playwright; the pictures
go to ``docs/images``. A copy of the project is served, so that the trip itself stays as it is.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from dryslate import wiring

ROOT = Path(__file__).resolve().parents[1]
IMAGES = ROOT / "docs" / "images"
WINDOW = {"width": 1280, "height": 720}
TALL = {"width": 1024, "height": 1792}
COLOURS = 256


@contextlib.contextmanager
def served(project: Path) -> Iterator[str]:
    """Serve a project; yields the address to open."""
    command = [sys.executable, "-m", "dryslate.cli.main", "serve", str(project)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as server:
        assert server.stdout is not None
        try:
            yield next(
                line.removeprefix("Open: ").strip() for line in server.stdout if "http" in line
            )
        finally:
            server.terminate()


FOLLOWED = "11"
"""A tagged colony that bleaches and recovers."""


def places(project: Path) -> tuple[str, str, str]:
    """Return the photo with the most outlines, a coral to be named, and a tagged colony."""
    with wiring.survey_store(project, write=False) as store:
        outlines = [m.photo_id for m in store.measurements() if m.kind == "outline"]
        photo_id = max(sorted(set(outlines)), key=outlines.count)
        corallites = {m.colony for m in store.measurements() if m.kind == "corallites"}
        records = [r for r in store.records() if r.photo_id and r.colony in corallites]
        colony = next(c.organism_id for c in store.colonies() if c.label == FOLLOWED)
    return photo_id, records[0].record_id, colony


def take(page: Any, name: str) -> None:
    """Keep what the window shows, in few colours so that the file stays small."""
    from PIL import Image

    shown = Image.open(io.BytesIO(page.screenshot()))
    shown.convert("RGB").quantize(COLOURS).save(IMAGES / f"{name}.png", optimize=True)


def main(folder: Path) -> None:
    """Take the five pictures."""
    from playwright.sync_api import sync_playwright

    chromium = (
        os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    )
    with contextlib.ExitStack() as stack:
        copy = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "made-up-trip"
        shutil.copytree(folder / "made-up-trip", copy)
        photo_id, record_id, colony = places(copy)
        address = stack.enter_context(served(copy))
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport=WINDOW, locale="en-GB", color_scheme="light")
        page.goto(address)
        page.locator("form[action='/people/pick'] button").first.click()
        page.goto(address.split("/?")[0])
        take(page, "left-to-do")

        page.goto(f"{address.split('/?')[0]}/photos/{photo_id}")
        page.locator("html[data-photo=open]").wait_for(state="attached")
        page.keyboard.press(".")
        page.wait_for_load_state("networkidle")
        take(page, "photo")

        page.goto(f"{address.split('/?')[0]}/corals/{record_id}/name")
        page.locator("#states[aria-busy=false]").wait_for(state="attached")
        page.wait_for_load_state("networkidle")
        take(page, "naming")

        page.goto(f"{address.split('/?')[0]}/colonies/{colony}")
        page.wait_for_load_state("networkidle")
        page.evaluate("window.scrollTo(0, 110)")
        take(page, "colony")

        page.set_viewport_size(TALL)
        page.goto((copy / "reports" / "report.html").as_uri())
        take(page, "report")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
