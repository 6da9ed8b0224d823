"""Corallites measured in a photo go into the identification in one step."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate.cli.main import build_app

CARD_MM = 150.0
TRUE_MM = (7.2, 7.5, 7.8)


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), ["identify", *map(str, words)])


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    path = tmp_path_factory.mktemp("identify") / "one.jpg"
    card_photos.save_photo(card_photos.Plan(), path)
    return path


@pytest.fixture(scope="module")
def corallites(photo: Path, card_photos: ModuleType) -> Path:
    """Lines of known length along the long edge of the card."""
    corners = card_photos.card_pixels(card_photos.Plan())[1]
    start, along = corners[0], (corners[1] - corners[0]) / CARD_MM
    lines = []
    for i, mm in enumerate(TRUE_MM):
        a, b = start + along * 20 * i, start + along * (20 * i + mm)
        lines.append(",".join(f"{v:.3f}" for v in np.concatenate([a, b])))
    path = photo.parent / "corallites.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_size_is_measured_and_used_with_its_doubt(photo: Path, corallites: Path) -> None:
    seen = ("--seen", "growth_form=massive", "--seen", "corallite_arrangement=cerioid")
    done = run("--photo", photo, "--corallites", corallites, "--in-plane", *seen, "--json")
    answer = json.loads(done.stdout)
    assert done.exit_code in (0, 3), done.stderr
    measured = answer["measured"]
    assert measured["n_corallites"] == len(TRUE_MM)
    assert measured["corallite_mm_lo95"] <= np.mean(TRUE_MM) <= measured["corallite_mm_hi95"]
    typed = f"{measured['corallite_mm']:.12f}±{measured['corallite_mm_u']:.12f}"
    again = json.loads(run("--size", f"corallite_diameter={typed}", *seen, "--json").stdout)
    assert again["ranked"] == answer["ranked"]
    assert "corallite_diameter" in {
        r["character"] for one in answer["ranked"] for r in (*one["for"], *one["against"])
    }


def test_valleys_are_measured_as_valleys(photo: Path, corallites: Path) -> None:
    done = run(
        *("--photo", photo, "--corallites", corallites, "--measured", "valley_width"),
        *("--seen", "corallite_arrangement=meandroid"),
    )
    assert done.exit_code in (0, 3), done.stderr
    assert "valley width 7.5" in " ".join(done.stdout.split())


def test_measured_and_typed_at_once_is_not_guessed(photo: Path, corallites: Path) -> None:
    done = run("--photo", photo, "--corallites", corallites, "--size", "corallite_diameter=7")
    assert done.exit_code == 1
    assert "identify-size-twice" in done.stderr


def test_photo_without_a_card_names_nothing(
    tmp_path: Path, corallites: Path, card_photos: ModuleType
) -> None:
    bare = tmp_path / "bare.jpg"
    card_photos.save_photo(card_photos.Plan(card=None), bare)
    done = run("--photo", bare, "--corallites", corallites, "--seen", "growth_form=massive")
    assert done.exit_code == 1
    assert "measure-no-card" in done.stderr
    assert done.stdout == ""
    gone = run("--photo", bare, "--corallites", tmp_path / "gone.csv")
    assert gone.exit_code == 1
    assert "measure-file-unreadable" in str(gone.exception)
