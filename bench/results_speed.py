"""
Speed of results on large surveys: wall time, CPU time and peak memory of fresh processes.

Projects of 100,000 and 1,000,000 points on photos are made (100 sites of 5 visits of 8 units of 10
photos of 25 points; thirty categories, forty genera, points that could not be read, names short
of the genus, photos set aside); ``--ten-million`` adds one of 10,000,000, without its change log,
which nothing here reads. They lie in a temporary folder (``--keep FOLDER`` keeps them) and take
about 1.3, and 5, gigabytes.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench.results_project import Size, points_project
from bench.speed import Figure, at_most

SITES = {"100,000": 10, "1,000,000": 100, "10,000,000": 1000}
MOST = {"1,000,000": (20.0, 2.0), "10,000,000": (180.0, 4.0)}
"""Seconds and gigabytes wanted."""


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What one command took."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--ten-million", action="store_true")
    parser.add_argument("--keep", type=Path, help="keep the projects here, and use those there")
    args = parser.parse_args()
    names = [name for name in SITES if args.ten_million or name != "10,000,000"]
    with tempfile.TemporaryDirectory(prefix="dryslate-bench-") as temporary:
        figures, taken = measure(args.keep or Path(temporary), names)
    print(json.dumps([figure.as_dict() for figure in figures], indent=1))
    print(json.dumps(taken, indent=1))
    return 0 if all(figure.is_met is not False for figure in figures) else 1


def measure(folder: Path, names: list[str]) -> tuple[list[Figure], dict[str, Any]]:
    """Make each project and run the commands on it."""
    figures, taken = [], {}
    for name in names:
        project = ready(folder / name.replace(",", ""), name)
        out = project.parent
        runs = {
            "results": run("results", project, "--csv", out / "results.csv"),
            "again": run("results", project, "--csv", out / "results.csv"),
            "records list": run("records", "list", project, "--json"),
        }
        taken[name] = {what: vars(one) for what, one in runs.items()}
        if name in MOST:
            seconds, gigabytes = MOST[name]
            wall = min(runs["results"].wall_s, runs["again"].wall_s)
            note = f"{min(runs['results'].cpu_s, runs['again'].cpu_s)} s of CPU, one core"
            figures.append(at_most(f"results of {name} points", wall, "s", seconds, note))
            peak = round(runs["results"].peak_mb / 1000, 2)
            figures.append(at_most(f"peak memory, {name} points", peak, "GB", gigabytes))
    for small, large in itertools.pairwise(names):
        more = taken[large]["results"]["cpu_s"] / taken[small]["results"]["cpu_s"]
        figures.append(at_most(f"CPU time, {large} against {small} points", more, "times", 10))
    return figures, taken


def ready(folder: Path, name: str) -> Path:
    """Make a project, or take the one that is kept."""
    project = folder / "points"
    if not project.exists():
        folder.mkdir(parents=True)
        began = time.perf_counter()
        is_logged = name != "10,000,000"
        points_project(folder, Size(sites=SITES[name], is_logged=is_logged))
        print(f"{name} points made in {time.perf_counter() - began:.0f} s", file=sys.stderr)
    return project


def run(*words: object) -> Taken:
    """Run a command of ours in a process of its own."""
    began = time.perf_counter()
    command = [sys.executable, "-m", "dryslate.cli.main", *map(str, words)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as child:
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{words}: exit code {child.returncode}")
    return Taken(
        wall_s=round(time.perf_counter() - began, 2),
        cpu_s=round(used.ru_utime + used.ru_stime, 2),
        peak_mb=round(used.ru_maxrss / 1000, 1),
    )


if __name__ == "__main__":
    raise SystemExit(main())
