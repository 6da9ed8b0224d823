"""``dryslate measure`` as people and scripts use it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate.cli.main import build_app
from dryslate.cli.measure_words import join_points

KEYS = {
    "photo",
    "kind",
    "index",
    "length_mm",
    "length_mm_u",
    "length_mm_lo95",
    "length_mm_hi95",
    "budget",
    "problems",
}


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [*map(str, words)])


def documents(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


def xy(point: np.ndarray) -> str:
    return f"{point[0]:.3f},{point[1]:.3f}"


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    path = tmp_path_factory.mktemp("measure") / "one.jpg"
    card_photos.save_photo(card_photos.Plan(), path)
    return path


@pytest.fixture(scope="module")
def corners(card_photos: ModuleType) -> np.ndarray:
    """The card's corners in that photo."""
    return card_photos.card_pixels(card_photos.Plan())[1]


def test_card_measures_itself_in_a_process_of_its_own(
    photo: Path, corners: np.ndarray, tmp_path: Path
) -> None:
    done = subprocess.run(
        [
            *(sys.executable, "-m", "dryslate.cli.main", "measure", str(photo)),
            *("--between", xy(corners[0]), xy(corners[1])),
            *("--between", xy(corners[1]), xy(corners[2])),
            *("--in-plane", "--json"),
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr
    width, height = (json.loads(line) for line in done.stdout.splitlines())
    assert set(width) >= KEYS
    assert (width["photo"], width["kind"], width["index"]) == (str(photo), "length", 0)
    assert height["index"] == 1
    for told, true in ((width, 150.0), (height, 100.0)):
        assert told["length_mm_lo95"] <= true <= told["length_mm_hi95"]
        assert told["length_mm_hi95"] - told["length_mm_lo95"] < 0.03 * true
        parts = [v for name, v in told["budget"].items() if name.endswith("_u")]
        assert told["length_mm_u"] == pytest.approx(np.sqrt(np.sum(np.square(parts))))


@pytest.mark.parametrize("first", [0, 1, 2, 3])
def test_corners_must_begin_at_the_cards_own_top_left(
    photo: Path, corners: np.ndarray, first: int
) -> None:
    """Begun at the next corner, 150 mm would be taken for 100."""
    given = [xy(p) for p in np.roll(corners, -first, axis=0)]
    words = ("--between", xy(corners[0]), xy(corners[1]), "--in-plane", "--json")
    result = run("measure", photo, "--corners", *given, "--card", "field", *words)
    if first == 0:
        (told,) = documents(result)
        assert told["length_mm_lo95"] <= 150.0 <= told["length_mm_hi95"]
    else:
        assert result.exit_code == 1
        assert getattr(result.exception, "slug", "") == "corners-turned"


@pytest.mark.parametrize("stated", [2, 5000])
def test_a_focal_length_that_cannot_be_is_not_believed(
    tmp_path: Path, card_photos: ModuleType, corners: np.ndarray, stated: int
) -> None:
    """Else the camera would stand so far away, or so near, that no distance off the card counts."""
    path = tmp_path / "odd.jpg"
    card_photos.save_photo(card_photos.Plan(focal_mm=stated / 1.5), path)
    words = ("--between", xy(corners[0]), xy(corners[1]), "--port", "none", "--json")
    off = ("--off-plane-mm", "30", "--off-plane-mm-u", "1")
    (told,) = documents(run("measure", path, *words, *off))
    assert "focal_unknown" in told["flags"]
    assert "lens-focal-odd" in [p["slug"] for p in told["problems"]]
    # straight from the front: H / (H - h) with H = f · 150 mm / 620 px and f of 13 to 79 mm
    f_px = np.array([13.0, 79.0]) / 43.27 * np.hypot(1500, 1000)
    true = 150.0 * (1.0 - 30.0 / (f_px * 150.0 / 620.0))
    assert told["length_mm_lo95"] < true[1]
    assert told["length_mm_hi95"] > true[0]
    assert told["length_mm_hi95"] - told["length_mm_lo95"] > 5.0


def test_points_are_those_of_the_upright_photo(
    tmp_path: Path, card_photos: ModuleType, corners: np.ndarray
) -> None:
    for orientation in (6, 3):
        path = tmp_path / f"turned{orientation}.jpg"
        card_photos.save_photo(card_photos.Plan(orientation=orientation), path)
        result = run(
            "measure", path, "--between", xy(corners[0]), xy(corners[1]), "--in-plane", "--json"
        )
        (told,) = documents(result)
        assert told["length_mm"] == pytest.approx(150.0, rel=0.01)


def test_exact_points_and_a_stated_distance_change_the_budget(
    photo: Path, corners: np.ndarray
) -> None:
    ends = ("--between", xy(corners[0]), xy(corners[1]), "--json")
    (exact,) = documents(run("measure", photo, *ends, "--in-plane", "--point-u-px", 0))
    assert exact["budget"]["pointing_mm_u"] == 0
    assert exact["budget"]["off_plane_mm_u"] == 0
    far = ("--off-plane-mm", "-40", "--off-plane-mm-u", "5")
    (behind,) = documents(run("measure", photo, *ends, *far))
    assert behind["length_mm"] > exact["length_mm"]
    (assumed,) = documents(run("measure", photo, *ends))
    assert "assumed" in assumed["flags"]
    assert "measure-off-plane-assumed" in {p["slug"] for p in assumed["problems"]}
    (edge,) = documents(run("measure", photo, *ends, "--card-stood", "edge"))
    assert edge["length_mm_u"] < assumed["length_mm_u"]


def test_outlines_and_corallites_come_from_files(
    photo: Path, corners: np.ndarray, tmp_path: Path
) -> None:
    rim, cups = tmp_path / "rim.csv", tmp_path / "cups.csv"
    rim.write_text("x_px,y_px\n" + "\n".join(xy(c) for c in corners), "utf-8")
    across = (corners[1] - corners[0]) / 15.0  # 10 mm
    lines = [f"{xy(c)},{xy(c + across)}" for c in corners[0] + np.arange(6)[:, None] * across]
    cups.write_text("\n".join(lines), "utf-8")
    result = run("measure", photo, "--outline", rim, "--corallites", cups, "--in-plane", "--json")
    assert result.exit_code == 0, result.output
    outline, corallites = documents(result)
    assert outline["kind"] == "outline"
    for name, true in (
        ("area_cm2", 150.0),
        ("perimeter_mm", 500.0),
        ("diameter_max_mm", np.hypot(150, 100)),
        ("diameter_across_mm", 2 * 150 * 100 / np.hypot(150, 100)),
    ):
        assert outline[name] == pytest.approx(true, rel=0.02)
        assert outline[f"{name}_lo95"] < outline[name] < outline[f"{name}_hi95"]
        assert outline[f"{name}_u"] > 0
    assert (corallites["kind"], corallites["n_corallites"]) == ("corallites", 6)
    assert corallites["corallite_mm"] == pytest.approx(10.0, rel=0.02)


def test_a_point_outside_the_photo_is_said_and_the_rest_goes_on(
    photo: Path, corners: np.ndarray
) -> None:
    result = run(
        *("measure", photo, "--between", "-5,6", "20,30"),
        *("--between", xy(corners[0]), xy(corners[1]), "--json"),
    )
    assert result.exit_code == 3
    lost, kept = documents(result)
    assert lost["length_mm"] is None
    assert [p["slug"] for p in lost["problems"]] == ["measure-point-outside-photo"]
    assert kept["length_mm"] is not None
    assert run("measure", photo, "--between", "-5,6", "20,30").exit_code == 1


def test_a_folded_outline_is_an_error(photo: Path, corners: np.ndarray, tmp_path: Path) -> None:
    rim = tmp_path / "fold.csv"
    rim.write_text("\n".join(xy(corners[i]) for i in (0, 2, 1, 3)), "utf-8")
    result = run("measure", photo, "--outline", rim, "--json")
    assert result.exit_code == 1
    assert documents(result)[0]["problems"][-1]["slug"] == "outline-crosses-itself"


def test_a_photo_without_a_card_is_an_error(tmp_path: Path, card_photos: ModuleType) -> None:
    bare = tmp_path / "bare.jpg"
    card_photos.save_photo(card_photos.Plan(card=None, seed=3), bare)
    result = run("measure", bare, "--between", "10,10", "200,200", "--json")
    assert result.exit_code == 1
    (told,) = documents(result)
    assert set(told) >= KEYS
    assert told["problems"][-1]["slug"] == "measure-no-card"


def test_corners_by_hand_measure_a_card_whose_markers_are_hidden(
    photo: Path, corners: np.ndarray
) -> None:
    result = run(
        *("measure", photo, "--card", "field", "--corners", *map(xy, corners)),
        *("--between", xy(corners[0]), xy(corners[2]), "--in-plane", "--json"),
    )
    assert result.exit_code == 0, result.output
    (told,) = documents(result)
    assert told["length_mm_lo95"] <= np.hypot(150, 100) <= told["length_mm_hi95"]
    assert "few_markers" in told["flags"]


def test_photo_that_cannot_be_read_has_a_line_for_each_thing_asked(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").write_bytes(b"")
    for name, slug in (("empty.jpg", "photo-empty"), ("gone.jpg", "photo-missing")):
        asked = ("--between", "1,1", "20,20", "--between", "5,5", "9,9", "--json")
        result = run("measure", tmp_path / name, *asked)
        told = documents(result)
        assert result.exit_code == 1
        assert [(d["kind"], d["index"], d["length_mm"]) for d in told] == [
            ("length", 0, None),
            ("length", 1, None),
        ]
        assert all(d["problems"][0]["slug"] == slug for d in told)


@pytest.mark.parametrize(
    "words",
    [
        ["--between", "1,2"],
        ["--between", "1,2", "3;4"],
        [],
        ["--between", "1,2", "3,4", "--off-plane-mm", "5"],
        ["--between", "1,2", "3,4", "--in-plane", "--card-stood", "edge"],
        ["--between", "1,2", "3,4", "--card-stood", "upside"],
        ["--between", "1,2", "3,4", "--point-u-px", "-1"],
        ["--between", "1,2", "3,4", "--port", "square"],
        ["--between", "1,2", "3,4", "--corners", "1,2", "3,4", "5,6", "7,8"],
        ["--between", "1,2", "3,4", "--corners", "1,2", "3,4"],
        ["--from", "picks.csv"],
    ],
)
def test_wrong_options_are_wrong_usage(photo: Path, words: list[str]) -> None:
    assert run("measure", photo, *words).exit_code == 2


def test_nothing_given_is_wrong_usage() -> None:
    assert run("measure").exit_code == 2


def test_runs_of_points_become_one_value() -> None:
    assert join_points(["--between", "1,2", "-3,4.5", "--json"]) == [
        "--between",
        "1,2 -3,4.5",
        "--json",
    ]
    assert join_points(["p.jpg", "--between", "--json"]) == ["p.jpg", "--between", "--json"]


def test_people_get_a_sentence_with_two_digits_of_doubt(photo: Path, corners: np.ndarray) -> None:
    result = run("measure", photo, "--between", xy(corners[0]), xy(corners[1]), "--in-plane")
    assert "± " in result.stdout
    assert "95 %" in result.stdout


def test_file_of_points_that_is_not_there_is_said_without_an_error_number(photo: Path) -> None:
    result = run("measure", photo, "--outline", photo.parent / "none.csv")
    assert result.exit_code == 1
    assert "no such file or directory" in f"{result.output} {result.exception}".lower()
    assert "errno" not in f"{result.output} {result.exception}".lower()
