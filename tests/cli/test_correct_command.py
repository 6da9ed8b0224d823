"""``dryslate correct`` as people and scripts use it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app, main


def correct(*words: object) -> Any:
    return CliRunner().invoke(build_app(), ["correct", *map(str, words)])


def documents(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    folder = tmp_path_factory.mktemp("photos")
    card_photos.save_photo(card_photos.Plan(), folder / "one.jpg")
    card_photos.save_photo(card_photos.Plan(card=None, seed=3), folder / "bare.jpg")
    card_photos.save_photo(card_photos.Plan(seed=4, flash=True), folder / "flash.jpg")
    return folder


def test_json_is_one_line_a_photo_and_nothing_else_on_stdout(photos: Path, tmp_path: Path) -> None:
    """In a process of its own, from folder to files, as a script would call it."""
    command = [sys.executable, "-m", "dryslate.cli.main", "correct", "--json", "--out", "out"]
    names = [photos / "one.jpg", photos / "bare.jpg"]
    done = subprocess.run(
        [*command, *names],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    assert done.returncode == 3, done.stderr
    first, second = (json.loads(line) for line in done.stdout.splitlines())
    assert first["photo"] == str(names[0])
    assert first["card"]["name"] == "field"
    assert Path(tmp_path, first["corrected"]).is_file()
    assert second["corrected"] is None


def test_done_is_exit_0_and_a_table_for_people(photos: Path, tmp_path: Path) -> None:
    result = correct(photos / "one.jpg", "--out", tmp_path, "--port", "none", "--no-preview")
    assert result.exit_code == 0, result.output
    assert "corrected by their own card or point" in result.output
    assert [p.name for p in tmp_path.iterdir()] == ["one-corrected.jpg"]


def test_photo_left_as_it_is_is_exit_3_with_its_reason(photos: Path, tmp_path: Path) -> None:
    result = correct(photos / "bare.jpg", "--out", tmp_path)
    assert result.exit_code == 3
    assert "bare.jpg: no card: no card was found" in result.output


def test_photos_left_for_one_reason_stand_together_and_copies_are_named(
    photos: Path, tmp_path: Path
) -> None:
    again = tmp_path / "bare2.jpg"
    again.write_bytes((photos / "bare.jpg").read_bytes())
    sound = next(p for p in sorted(photos.glob("*.jpg")) if p.name != "bare.jpg")
    result = correct(photos / "bare.jpg", again, sound, "--out", tmp_path / "out")
    assert "  2 photos: no card: no card was found" in result.output
    assert "    bare.jpg, bare2.jpg" in result.output
    assert f"Corrected copies are in {tmp_path / 'out'}" in result.output.replace("\n", "")


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        ([], "correct-no-photos"),
        (["a.jpg"], "correct-no-out"),
        (["a.jpg", "--out", "o", "--project", "p"], "correct-out-and-project"),
        (["a.jpg", "--out", "o", "--apply-to", "b.jpg"], "correct-apply-to-needs-point"),
        (["a.jpg", "b.jpg", "--out", "o", "--white", "1,2"], "correct-one-photo"),
        (["a.jpg", "--out", "o", "--white", "1,2", "--grey", "1,2"], "correct-two-points"),
        (["a.jpg", "--out", "o", "--white", "12"], "point-unreadable"),
        (["a.jpg", "--out", "o", "--white", "1.2.3,4"], "point-unreadable"),
        (["a.jpg", "--out", "o", "--port", "round"], "port-unknown"),
        (["a.jpg", "--out", "o", "--lens", "no.toml"], "lens-file-missing"),
        (["a.jpg", "--out", "o", "--card", "feild"], "card-unknown"),
        (["--project", "p", "--depths", "no.csv"], "depths-missing"),
    ],
)
def test_contradictions_are_refused_before_anything_is_read(words: list[str], slug: str) -> None:
    result = correct(*words)
    assert isinstance(result.exception, DryslateError)
    assert result.exception.slug == slug
    assert result.exception.fix


def test_jobs_must_be_one_or_more() -> None:
    assert correct("a.jpg", "--out", "o", "--jobs", "0").exit_code == 2


def test_one_white_point_corrects_a_photo_without_a_card(photos: Path, tmp_path: Path) -> None:
    """A point on the card's ground, said to be grey: used without looking for the card."""
    result = correct(photos / "one.jpg", "--grey", "470,420", "--out", tmp_path, "--json")
    (document,) = documents(result)
    assert result.exit_code == 0
    assert document["colour"]["fit"] == "one_point"
    assert document["scale"]["usable"] is False
    assert document["corrected"]


def test_a_point_is_shared_only_with_photos_that_state_the_same_settings(
    photos: Path, tmp_path: Path
) -> None:
    result = correct(
        photos / "one.jpg",
        "--grey",
        "470,420",
        "--apply-to",
        photos / "bare.jpg",
        photos / "flash.jpg",
        "--out",
        tmp_path,
        "--json",
    )
    by_name = {Path(d["photo"]).stem: d for d in documents(result)}
    assert result.exit_code == 3
    assert by_name["bare"]["borrowed_from"] == by_name["one"]["sha256"]
    assert by_name["bare"]["corrected"]
    assert (
        by_name["bare"]["colour"]["off_card_de00_p95"]
        > (by_name["one"]["colour"]["off_card_de00_p95"])
    )
    assert "correct-shared-point" in [p["slug"] for p in by_name["bare"]["problems"]]
    refused = by_name["flash"]["problems"][0]
    assert refused["slug"] == "correct-not-shared"
    assert "flash" in refused["message"]


def test_photos_of_a_point_are_told_in_the_order_given_and_bad_files_by_their_own_fault(
    photos: Path, tmp_path: Path
) -> None:
    (tmp_path / "words.jpg").write_text("hello", encoding="utf-8")
    (tmp_path / "empty.jpg").write_bytes(b"")
    names = ("bare.jpg", "flash.jpg")
    others = [tmp_path / "words.jpg", *(photos / n for n in names), tmp_path / "empty.jpg"]
    words = ("--grey", "470,420", "--apply-to", *others, "--out", tmp_path / "out", "--json")
    result = correct(photos / "one.jpg", *words)
    told = documents(result)
    assert [d["photo"] for d in told] == [str(p) for p in (photos / "one.jpg", *others)]
    slugs = [[p["slug"] for p in d["problems"]] for d in told]
    assert slugs[1:] == [
        ["photo-not-a-photo"],
        ["correct-shared-point"],
        ["correct-not-shared"],
        ["photo-empty"],
    ]


def test_point_outside_the_photo_is_refused_with_its_size(photos: Path, tmp_path: Path) -> None:
    result = correct(photos / "one.jpg", "--white", "1500,20", "--out", tmp_path, "--json")
    (document,) = documents(result)
    assert result.exit_code == 3
    assert document["problems"][0]["slug"] == "point-outside-photo"
    assert "1500 x 1000" in document["problems"][0]["message"]


def test_a_dark_point_cannot_be_used(tmp_path: Path, card_photos: ModuleType) -> None:
    plan = card_photos.Plan(card=None, cast=(0.001, 0.7, 0.7))
    card_photos.save_photo(plan, tmp_path / "deep.jpg")
    words = ("--grey", "700,400", "--apply-to", tmp_path / "next.jpg", "--out", tmp_path / "out")
    (tmp_path / "next.jpg").write_bytes((tmp_path / "deep.jpg").read_bytes() + b"\0")
    result = correct(tmp_path / "deep.jpg", *words, "--json")
    first, second = documents(result)
    assert result.exit_code == 3
    assert first["problems"][0]["slug"] in ("correct-point-unusable", "point-clipped")
    assert second["problems"][0]["slug"] == "correct-not-shared"
    assert all(len(d["sha256"]) == 64 and d["corrected"] is None for d in (first, second))


def test_options_that_contradict_each_other_are_wrong_usage(capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.argv", ["dryslate", "correct", "a.jpg", "--white", "1,2"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "correct-no-out" in capsys.readouterr().err


def test_tiff_says_how_much_disk_it_takes_first(photos: Path, tmp_path: Path) -> None:
    result = correct(photos / "one.jpg", "--out", tmp_path, "--tiff", "--no-preview")
    assert result.exit_code == 0, result.output
    assert "take about 0.01 GB" in result.output
    assert (tmp_path / "one-corrected.tif").stat().st_size > 1500 * 1000 * 6


def test_tiff_that_cannot_fit_is_refused_before_it_begins(
    photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=1000))
    result = correct(photos / "one.jpg", "--out", tmp_path, "--tiff")
    assert isinstance(result.exception, DryslateError)
    assert result.exception.slug == "correct-no-room"
    assert not list(tmp_path.iterdir())
