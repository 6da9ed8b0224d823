"""A small project for the pages' tests: four stored photos taken in, corrected, measured, named."""

from __future__ import annotations

import shutil
from pathlib import Path

from typer.testing import CliRunner

GOLD = Path(__file__).resolve().parents[1] / "gold"
VISIT = ("Lantern Steps", "2024-03-09")
FIRST, SECOND = "Ines Varro", "Tomo Halle"


def run(*words: object) -> str:
    """Run a command in this process; returns what it printed."""
    from dryslate.cli.main import build_app

    result = CliRunner().invoke(build_app(), [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in (0, 3), result.output
    return result.stdout


def make_project(folder: Path) -> Path:
    """Make the project below an empty folder; takes a few seconds."""
    trip = folder / "trip"
    run("take", GOLD / "photos", "--into", trip, "--visit", *VISIT, "--observer", FIRST)
    (trip / "cards").mkdir(exist_ok=True)
    shutil.copy(GOLD / "field-007.toml", trip / "cards")
    run("correct", "--project", trip, "--port", "flat", "--json")
    run("measure", "--project", trip, "--from", GOLD / "to_measure.csv", "--json")
    run("region", trip, "indo_pacific", "--observer", FIRST)
    run("record", trip, "L1-1", "--photo", "DRY_0002.JPG", "--observer", FIRST)
    run("record", trip, "L1-2", "--photo", "DRY_0001.JPG", "--observer", FIRST)
    run("record", trip, "L1-3", "--photo", "DRY_0001.JPG", "--observer", FIRST)
    seen = ("--seen", "growth_form=massive", "--seen", "corallite_arrangement=plocoid")
    said = ("--colony", "L1-1", "--confidence", "2", *seen, "--observer", FIRST)
    run("name", trip, "Dipsastraea", *said)
    return trip


def copy_project(project: Path, folder: Path) -> Path:
    """Copy a project so that a test may change it; returns the copy."""
    return Path(shutil.copytree(project, folder / project.name))
