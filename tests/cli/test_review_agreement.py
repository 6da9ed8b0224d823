"""``dryslate review agreement``: how far observers agree on names, as JSON and in words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.fakes.looked_again import look_again
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.records import Visit
from dryslate.cli.main import build_app

TWO = ["Ines Varro", "Tomo Halle"]
LOOKS = (
    [("Favites", "Favites", 0.1)] * 9
    + [("Favites", "Goniastrea", 0.1)] * 3
    + [("Goniastrea", "Goniastrea", 0.1)] * 8
)


def run(*words: object) -> str:
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    folder = tmp_path / "trip"
    run("new", folder)
    visit = Visit(
        visit_id="Ledge 2024-05-19", site="Ledge", date="2024-05-19", observer="Ines Varro"
    )
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store, store.write():
        store.save_visit(visit)
    return folder


def told(folder: Path, *more: object) -> dict[str, Any]:
    (line,) = run("review", "agreement", folder, "--json", *more).splitlines()
    return dict(json.loads(line))


def test_project_without_second_looks_says_so(trip: Path) -> None:
    assert run("review", "agreement", trip).count("No coral was looked at twice.") == 2
    found = told(trip)
    assert found["by_chance"]["pairs"] == []
    assert found["by_chance"]["together"]["reason"] == "nothing"
    assert found["by_chance"]["together"]["observed"] is None


def test_figures_of_two_and_of_all_are_told_with_their_doubt(trip: Path) -> None:
    look_again(trip, LOOKS)
    found = told(trip)
    (pair,) = found["by_chance"]["pairs"]
    assert pair["observers"] == TWO
    assert (pair["n_corals"], pair["n_alike"], pair["n_apart"]) == (20, 17, 3)
    # first names 12 and 8 of 20, second names 9 and 11; 17 of 20 the same
    by_chance = (12 * 9 + 8 * 11) / 400
    kappa = (0.85 - by_chance) / (1 - by_chance)
    assert pair["beyond_chance"]["value"] == pytest.approx(kappa)
    assert pair["beyond_chance"]["coefficient"] == "cohen"
    together = found["by_chance"]["together"]
    share = 21 / 40  # of all names Favites
    by_chance = 2 * share * (1 - share)
    ac1 = (0.85 - by_chance) / (1 - by_chance)
    assert together["beyond_chance"]["value"] == pytest.approx(ac1)
    assert together["beyond_chance"]["coefficient"] == "gwet_ac1"
    assert together["taken_for"] == [{"names": ["Favites", "Goniastrea"], "n": 3}]
    assert found["doubtful"]["together"]["n_corals"] == 0
    words = " ".join(run("review", "agreement", trip).split())
    assert "Ines Varro and Tomo Halle: 20 looked at twice; 17 of 20 alike, 0.85 ± 0.08" in words
    assert f"Cohen's kappa {kappa:.2f} ±" in words
    assert f"Gwet's AC1 {ac1:.2f} ±" in words
    assert "Favites against Goniastrea: 3" in words
    assert "alike, so the intervals can be too narrow" in words


def test_corals_that_wait_for_a_person_are_left_out_on_demand(trip: Path) -> None:
    looks = [("Favites", "Goniastrea", 0.1), ("Favites", "", 0.1)]
    look_again(trip, looks, labels=("C0", "C0"))
    assert told(trip)["by_chance"]["together"]["n_corals"] == 1
    asked = told(trip, "--observer", "Tomo Halle")
    assert (asked["n_hidden"], asked["by_chance"]["together"]["n_corals"]) == (1, 0)
    words = run("review", "agreement", trip, "--observer", "Tomo Halle")
    assert "Favites" not in words
    assert "1 left out: a coral of the same label and visit" in " ".join(words.split())
