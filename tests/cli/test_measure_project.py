"""Measuring from a table in a project, and calibrating a lens, from the command line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [*map(str, words)])


def documents(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


def cell(points: np.ndarray) -> str:
    return '"' + " ".join(f"{x:.2f},{y:.2f}" for x, y in points) + '"'


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    """A project with two photos, not corrected yet."""
    folder = tmp_path_factory.mktemp("trip")
    source, project = folder / "card", folder / "trip"
    source.mkdir()
    card_photos.save_photo(card_photos.Plan(), source / "IMG_0001.jpg")
    card_photos.save_photo(card_photos.Plan(card=None, seed=3), source / "IMG_0002.jpg")
    taken = run(
        *("take", source, "--into", project, "--visit", "North bay", "2031-05-04"),
        *("--observer", "Ana"),
    )
    assert taken.exit_code in (0, 3), taken.output
    return project


@pytest.fixture(scope="module")
def corners(card_photos: ModuleType) -> np.ndarray:
    return card_photos.card_pixels(card_photos.Plan())[1]


@pytest.fixture(scope="module")
def two_cards(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Any:
    """A corrected project whose photo shows two cards at two scales, and the corners of both."""
    folder = tmp_path_factory.mktemp("two")
    near, near_px = card_photos.card_pixels(card_photos.Plan(card="field"))
    far, far_px = card_photos.card_pixels(card_photos.Plan(card="large", seed=2))
    Image.fromarray(np.hstack([near, far])).save(folder / "IMG_0007.jpg", quality=95)
    project = folder / "trip"
    where = ("--visit", "North bay", "2031-05-04", "--observer", "Ana")
    assert run("take", folder / "IMG_0007.jpg", "--into", project, *where).exit_code == 0
    assert run("correct", "--project", project).exit_code == 0
    return project, near_px, far_px + np.array([near.shape[1], 0])


def rows_of(project: Path) -> list[Any]:
    with wiring.survey_store(project, write=False) as store:
        return list(store.measurements())


@pytest.mark.parametrize("how_kept", ["all", "as by earlier versions"])
def test_of_several_cards_the_one_beside_the_points_gives_the_scale(
    two_cards: Any, how_kept: str
) -> None:
    project, near_px, far_px = two_cards
    if how_kept != "all":
        with wiring.survey_store(project, write=True) as store, store.write():
            row = store.corrections()[0]
            geometry = {k: v for k, v in row.geometry.items() if k != "others"}
            store.save_correction(replace(row, geometry=geometry, key=row.key[::-1]))
    table = project.parent / "picks.csv"
    lines = [
        "photo,colony,kind,points,off_plane_mm,off_plane_mm_u",
        f"IMG_0007.jpg,A1,length,{cell(near_px[:2])},0,0",
        f"IMG_0007.jpg,A2,length,{cell(far_px[:2])},0,0",
    ]
    table.write_text("\n".join(lines), "utf-8")
    told = documents(run("measure", "--project", project, "--from", table, "--json"))
    assert [d["card"] for d in told] == ["field", "large"]
    assert [d["length_mm"] for d in told] == pytest.approx([150.0, 210.0], rel=0.02)
    assert all("measure-several-cards" in [p["slug"] for p in d["problems"]] for d in told)


def test_a_table_is_measured_saved_and_not_saved_twice(trip: Path, corners: np.ndarray) -> None:
    table = trip.parent / "picks.csv"
    lines = [
        "photo,colony,kind,points,card_stood,off_plane_mm,off_plane_mm_u",
        f"IMG_0001.jpg,A7,length,{cell(corners[:2])},,0,0",
        f"img_0001.JPG,A7,outline,{cell(corners)},edge,,",
        f"IMG_0001.jpg,A8,star,{cell(corners[:2])},,,",
        "IMG_0001.jpg,A8,length,,,,",
        f"IMG_0001.jpg,A8,length,{cell(corners[:2])},side,,",
        'IMG_0001.jpg,A8,length,"one,two 3,4",,,',
        f"IMG_0009.jpg,A8,length,{cell(corners[:2])},,,",
        f"IMG_0002.jpg,A9,length,{cell(corners[:2])},,,",
    ]
    table.write_text("\n".join(lines), "utf-8")
    asked = ("measure", "--project", trip, "--from", table, "--observer", "Ana", "--json")
    first = run(*asked)
    assert first.exit_code == 3, first.output
    told = documents(first)
    slugs = [[p["slug"] for p in d["problems"] if p["severity"] == "error"] for d in told]
    assert sorted(s for one in slugs for s in one) == [
        "measure-no-card",
        "measure-photo-unknown",
        "points-kind-unknown",
        "points-not-numbers",
        "points-off-plane-unclear",
        "points-row-incomplete",
    ]
    saved = [d for d in told if d["saved"]]
    assert [d["kind"] for d in saved] == ["length", "outline"]
    assert saved[0]["length_mm"] == pytest.approx(150.0, rel=0.01)
    rows = rows_of(trip)
    assert [(r.colony, r.kind, r.observer) for r in rows] == [
        ("A7", "length", "Ana"),
        ("A7", "outline", "Ana"),
    ]
    assert rows[0].values["length_mm_u"] > 0
    assert rows[0].points_px == pytest.approx(np.round(corners[:2], 2))
    again = run(*asked)
    assert again.exit_code == 3
    assert rows_of(trip) == rows


def test_measuring_rests_on_the_stored_correction(trip: Path, corners: np.ndarray) -> None:
    corrected = run("correct", "--project", trip, "--json")
    assert corrected.exit_code in (0, 3), corrected.output
    table = trip.parent / "after.csv"
    table.write_text(
        f"photo,colony,kind,points\nIMG_0001.jpg,B1,length,{cell(corners[1:3])}\n", "utf-8"
    )
    (told,) = documents(run("measure", "--project", trip, "--from", table, "--json"))
    assert told["saved"]
    row = next(r for r in rows_of(trip) if r.colony == "B1")
    with wiring.survey_store(trip, write=False) as store:
        assert row.correction_key == store.correction(row.photo_id).key
    assert row.values["length_mm"] == pytest.approx(100.0, rel=0.01)


def test_a_table_without_its_columns_or_absent_is_an_error(trip: Path) -> None:
    table = trip.parent / "bad.csv"
    table.write_text("photo,points\nx,1\n", "utf-8")
    result = run("measure", "--project", trip, "--from", table)
    assert result.exception.slug == "points-columns-missing"
    result = run("measure", "--project", trip, "--from", trip.parent / "none.csv")
    assert result.exception.slug == "measure-file-unreadable"


def board_photo(path: Path, tilt: tuple[float, float], place: tuple[float, float, float]) -> None:
    """A checkerboard of 10 x 7 squares of 25 mm, seen with a focal length of 640 px."""
    size, cell_px = (820, 614), 30
    squares = np.indices((7, 10)).sum(axis=0) % 2
    board = np.kron(np.pad(1 - squares, 1, constant_values=1), np.ones((cell_px, cell_px)))
    picture = (40 + 180 * board).astype(np.uint8)
    turn, _ = cv2.Rodrigues(np.radians([tilt[0], tilt[1], 5.0]))
    to_mm = np.array([[25 / cell_px, 0, -25 * 6], [0, 25 / cell_px, -25 * 4.5], [0, 0, 1.0]])
    camera = np.array([[640.0, 0, 409.5], [0, 640.0, 306.5], [0, 0, 1]])
    h = camera @ np.column_stack([turn[:, 0], turn[:, 1], place]) @ to_mm
    seen = cv2.warpPerspective(picture, h, size, flags=cv2.INTER_AREA, borderValue=120)
    seen = cv2.GaussianBlur(seen, (0, 0), 0.8)
    cv2.imwrite(str(path), cv2.cvtColor(seen, cv2.COLOR_GRAY2BGR))


@pytest.fixture(scope="module")
def board_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("board")
    tilts = [(0, 0), (30, 0), (-30, 0), (0, 30), (0, -30), (20, 20), (-20, 20), (25, -15)]
    for k, tilt in enumerate(tilts):
        place = (60.0 * ((k % 3) - 1), 40.0 * ((k % 2) * 2 - 1), 420.0 + 25 * k)
        board_photo(folder / f"b{k}.png", tilt, place)
    return folder


def test_lens_is_calibrated_from_photos_of_a_board(
    board_photos: Path, tmp_path: Path, card_photos: ModuleType, corners: np.ndarray
) -> None:
    out = tmp_path / "lens.toml"
    photos = sorted(board_photos.glob("*.png"))
    cv2.imwrite(str(tmp_path / "bare.png"), np.full((240, 320, 3), 90, np.uint8))
    result = run("lens", *photos, tmp_path / "bare.png", "-o", out, "--json")
    assert result.exit_code == 3, result.output  # done, but for the photo without a board
    (told,) = documents(result)
    p = told["parameters"]
    assert abs(p["fx"] - 640.0) < 3 * p["fx_u"] + 1.0
    assert abs(p["cx"] - 409.5) < 3 * p["cx_u"] + 1.0
    assert told["n_views"] == 8
    assert told["rms_px"] < 0.3
    assert "lens-board-not-found" in {q["slug"] for q in told["problems"]}
    assert run("lens", *photos, "-o", out).exception.slug == "lens-file-exists"
    assert run("lens", *photos, "-o", out, "--replace").exit_code == 0
    # another frame: the calibration is not used, and that is said
    one = tmp_path / "one.jpg"
    card_photos.save_photo(card_photos.Plan(), one)
    ends = [f"{x:.2f},{y:.2f}" for x, y in corners[:2]]
    (told,) = documents(
        run("measure", one, "--between", *ends, "--lens", out, "--in-plane", "--json")
    )
    assert "lens-size-differs" in {q["slug"] for q in told["problems"]}
    assert told["length_mm"] == pytest.approx(150.0, rel=0.01)


def test_too_few_board_photos_name_those_left_out(board_photos: Path, tmp_path: Path) -> None:
    photos = sorted(board_photos.glob("*.png"))[:3]
    small = tmp_path / "small.png"
    img = cv2.imread(str(photos[0]))
    cv2.imwrite(str(small), cv2.resize(img, (410, 307), interpolation=cv2.INTER_AREA))
    result = run("lens", *photos, small, "-o", tmp_path / "lens.toml")
    assert result.exception.slug == "lens-too-few-views"
    assert "lens-photo-differs" in str(result.exception)
    assert not (tmp_path / "lens.toml").exists()


@pytest.mark.parametrize(
    "words",
    [["--squares", "ten"], ["--board", "circles"], ["--model", "square"], ["--square-mm", "0"]],
)
def test_a_board_that_makes_no_sense_is_wrong_usage(board_photos: Path, words: list[str]) -> None:
    assert run("lens", board_photos / "b0.png", *words).exit_code == 2


def test_a_lens_file_that_cannot_be_written_is_said(board_photos: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x", "utf-8")
    photos = sorted(board_photos.glob("*.png"))
    result = run("lens", *photos, "-o", blocked / "lens.toml")
    assert result.exception.slug == "lens-cannot-write"
