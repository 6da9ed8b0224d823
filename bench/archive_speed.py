"""
Speed of a Darwin Core archive on large surveys: CPU and wall time, and that memory stays flat.

The projects are those of `bench.results_speed`: 100,000 and 1,000,000 points on photos
(``--keep FOLDER`` keeps them and uses those there). Each is archived in a process of its own,
and archives of one project are compared byte by byte.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from bench.results_speed import ready
from bench.speed import Figure, at_most

NAMES = ("100,000", "1,000,000")
MOST_S = 60.0
MOST_GROWTH = 1.25
"""How much more memory ten times the records may take and still be called flat."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--keep", type=Path, help="keep the projects here, and use those there")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="dryslate-bench-") as temporary:
        folder = args.keep or Path(temporary)
        taken = {name: archived(folder / name.replace(",", ""), name) for name in NAMES}
    small, large = (taken[name] for name in NAMES)
    note = f"{large['cpu_s']} s of CPU, {large['megabytes']} MB packed"
    growth = large["peak_mb"] / small["peak_mb"]
    figures: list[Figure] = [
        at_most("archive of 1,000,000 records", large["wall_s"], "s", MOST_S, note),
        at_most("peak memory, 1,000,000 against 100,000 records", growth, "times", MOST_GROWTH),
        at_most("archives of one project that differ", large["n_differing"], "", 0),
    ]
    print(json.dumps([figure.as_dict() for figure in figures], indent=1))
    print(json.dumps(taken, indent=1))
    return 0 if all(figure.is_met for figure in figures) else 1


def archived(folder: Path, name: str) -> dict[str, Any]:
    """Archive a project twice and say what it took."""
    project = ready(folder, name)
    runs = [run(project, folder / f"archive{k}.zip") for k in (1, 2)]
    hashes = {hash_of(folder / f"archive{k}.zip") for k in (1, 2)}
    return {
        "wall_s": min(one[0] for one in runs),
        "cpu_s": min(one[1] for one in runs),
        "peak_mb": max(one[2] for one in runs),
        "megabytes": round((folder / "archive1.zip").stat().st_size / 1e6, 1),
        "n_differing": len(hashes) - 1,
    }


def run(project: Path, out: Path) -> tuple[float, float, float]:
    """Make an archive in a process of its own; wall and CPU seconds, peak megabytes."""
    began = time.perf_counter()
    command = [sys.executable, "-m", "dryslate.cli.main", "archive", str(project), "-o", str(out)]
    quiet = subprocess.DEVNULL
    with subprocess.Popen([*command, "--json"], stdout=quiet, stderr=quiet) as child:
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 3):
        raise SystemExit(f"{command}: exit code {child.returncode}")
    wall, cpu = time.perf_counter() - began, used.ru_utime + used.ru_stime
    return round(wall, 2), round(cpu, 2), round(used.ru_maxrss / 1000, 1)


def hash_of(path: Path) -> str:
    """Hash a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


if __name__ == "__main__":
    raise SystemExit(main())
