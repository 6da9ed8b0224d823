"""The limit on the size of photos, as an option of every command that decodes them."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import api
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app
from dryslate.files.photos import FilePhotoReader

FROM_PHOTO = ["card", "from-photo", "PHOTO", "--name", "mine", "--ticks-mm", "50"]
FROM_PHOTO += ["--corners", "1,1 90,1 90,90 1,90"]


def dryslate(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [str(w) for w in words])


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    """One of 1.5 megapixels."""
    path = tmp_path_factory.mktemp("photo") / "one.jpg"
    card_photos.save_photo(card_photos.Plan(), path)
    return path


def test_correct_refuses_above_and_reads_below(photo: Path, tmp_path: Path) -> None:
    words = ["correct", photo, "--out", tmp_path, "--no-preview", "--json", "--largest-mp"]
    small, large = dryslate(*words, 1.4), dryslate(*words, 1.6)
    problem = json.loads(small.stdout.splitlines()[0])["problems"][0]
    assert (small.exit_code, problem["slug"]) == (3, "photo-too-large")
    assert "at most 1.4 are read" in problem["message"]
    assert "--largest-mp" in problem["fix"]
    assert large.exit_code == 0, large.output


@pytest.mark.parametrize(
    "words",
    [
        ["measure", "PHOTO", "--between", "100,100", "200,100"],
        ["card", "compare", "PHOTO", "--dry-at", "10,10"],
        [*FROM_PHOTO, "--ticks", "1,50 90,50", "--patch", "g:neutral:9,9,30,30"],
        ["lens", "PHOTO"],
        ["card", "characterise", "--known", "target24", "--photo", "PHOTO"],
    ],
)
def test_every_command_that_decodes_hands_its_limit_on(
    words: list[str], photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[float] = []

    def read(self: FilePhotoReader, path: Path) -> Any:
        seen.append(self.max_megapixels)
        raise InputError("photo-too-large", f"{path.name}: too large.")

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(FilePhotoReader, "read", read)
    given = [str(photo) if w == "PHOTO" else w for w in words]
    result = dryslate(*given, "--largest-mp", 7.5)
    assert result.exit_code != 0
    assert seen, result.output
    assert set(seen) == {7.5}


def test_limit_must_be_a_size(photo: Path, tmp_path: Path) -> None:
    assert dryslate("correct", photo, "--out", tmp_path, "--largest-mp", "-3").exit_code == 2


def test_limit_from_python(photo: Path) -> None:
    assert api.read_photo(photo).size_px == (1500, 1000)
    with pytest.raises(InputError, match="photo-too-large"):
        api.read_photo(photo, largest_mp=1.0)
