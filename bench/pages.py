"""
The pages in the browser: how fast, with how many people, and what a killed server loses.

Run it with ``python -m bench.pages``; ``--part NAME`` runs some of it, ``--quick`` a short form.
Projects are made first, from the speed benchmark's photos (``bench/pages_project.py``).
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from bench.speed import Figure, at_most, show

PARTS = ("start", "photo", "points", "load", "kills", "fuzz")
SEED = 20261127


class Projects:
    """The projects, made when they are first asked for, and copies of them to work in."""

    def __init__(self, folder: Path, *, is_quick: bool) -> None:
        self.folder, self.is_quick = folder, is_quick

    def photos(self) -> Path:
        """Few photos of 24 megapixels."""
        from bench.pages_project import SMALL, photo_trip

        size = SMALL if self.is_quick else (6000, 4000)
        return self._once(
            "photos", lambda place: photo_trip(place, 2 if self.is_quick else 4, size)
        )

    def small(self) -> Path:
        """Six photos of 6 megapixels, corrected and measured."""
        from bench.pages_project import SMALL, photo_trip

        return self._once("small", lambda place: photo_trip(place, 6, SMALL))

    def surveyed(self) -> Path:
        """The small one with units of every design and tagged colonies."""
        from bench.pages_project import surveyed_trip

        return self._once("surveyed", surveyed_trip)

    def long(self) -> Path:
        """500 photos and 200 corals."""
        from bench.pages_project import long_trip

        return self._once("long", long_trip)

    def copy(self, of: Path, name: str) -> Path:
        """A copy that may be changed."""
        place = self.folder / f"{name}-copy"
        shutil.rmtree(place, ignore_errors=True)
        return Path(shutil.copytree(of, place))

    def _once(self, name: str, make: Callable[[Path], Path]) -> Path:
        mark = self.folder / f"{name}.made"
        if not mark.is_file():
            mark.write_text(str(make(self.folder / name)))
        return Path(mark.read_text())


def start(projects: Projects) -> list[Figure]:
    """From the command to the whole first page."""
    import statistics

    from bench.pages_server import Server

    times = []
    for _ in range(3 if projects.is_quick else 7):
        server = Server(projects.small())
        times.append(server.start_s)
        server.kill()
    note = f"{len(times)} starts, {min(times):.2f} to {max(times):.2f} s"
    return [at_most("server start to first page, median", statistics.median(times), "s", 0.6, note)]


def photo(projects: Projects) -> list[Figure]:
    """The photo page, the lists, and identification."""
    from bench.pages_photo import measure

    return measure(projects.photos(), projects.long())


def points(projects: Projects) -> list[Figure]:
    """Naming points on photos of 24 megapixels."""
    from bench.pages_points import measure

    return measure(projects.copy(projects.photos(), "points"), SEED)


def load(projects: Projects) -> list[Figure]:
    """Eight people at once."""
    from bench.pages_load import measure

    copy = projects.copy(projects.long(), "load")
    return measure(copy, 8.0 if projects.is_quick else 60.0)


def kills(projects: Projects) -> list[Figure]:
    """A server killed at random moments."""
    from bench.pages_kills import measure

    def copy(name: str) -> Path:
        return projects.copy(projects.small(), name)

    return measure(copy, 10 if projects.is_quick else 50, SEED)


def fuzz(projects: Projects) -> list[Figure]:
    """Requests made up from our own OpenAPI document."""
    from bench.pages_fuzz import fuzz as send

    copy = projects.copy(projects.surveyed(), "fuzz")
    found = send(copy, 500 if projects.is_quick else 5000, SEED)
    note = f"{found['n_cases']} cases, {found['n_operations']} operations {found['faults'] or ''}"
    return [at_most("made-up requests: faults of the server", found["n_faults"], "", 0, note)]


def run(parts: Sequence[str], folder: Path, *, is_quick: bool) -> dict[str, Any]:
    """Measure what was asked for; returns the figures by name."""
    projects = Projects(folder, is_quick=is_quick)
    does = {
        "start": start,
        "photo": photo,
        "points": points,
        "load": load,
        "kills": kills,
        "fuzz": fuzz,
    }
    before = os.getloadavg()[0]
    figures = [figure for name in parts for figure in does[name](projects)]
    return {
        "figures": {f.name: f.as_dict() for f in figures},
        "n_cores": len(os.sched_getaffinity(0)),
        "load_before": before,
    }


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--quick", action="store_true", help="fewer of everything")
    parser.add_argument("--part", action="append", choices=PARTS, help="only this; repeatable")
    parser.add_argument("--json", type=Path, help="also write the figures to this file")
    parser.add_argument("--folder", type=Path, help="keep the projects there, for further runs")
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="dryslate-pages-") as folder:
        place = options.folder or Path(folder)
        place.mkdir(parents=True, exist_ok=True)
        outcome = run(options.part or PARTS, place, is_quick=options.quick)
    print(show(outcome))
    print(f"{outcome['n_cores']} cores, load before the run {outcome['load_before']:.1f}")
    if options.json:
        options.json.write_text(json.dumps(outcome, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
