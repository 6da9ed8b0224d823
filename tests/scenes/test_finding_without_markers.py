"""Cards without markers: by the chart finder and by their own picture; and calibration boards."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.boards import Board, find_board
from dryslate.core.card.chart import find_target24
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.likeness import find_by_picture
from dryslate.core.card.rendering import render_picture
from dryslate.formats.card_toml import parse_card


@pytest.fixture
def scenes(repo_root: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The benchmark's renderer, which is no part of the installed package."""
    monkeypatch.syspath_prepend(repo_root)
    from bench import finding_scenes

    return finding_scenes


def built_in(name: str) -> CardDefinition:
    text = resources.files("dryslate").joinpath("data", "cards", f"{name}.toml").read_text("utf-8")
    return parse_card(text, name)


def photo_of(scenes: Any, card: CardDefinition, k: int, width_px: float) -> tuple[Any, Any]:
    """A photo of a tilted card on textured ground, and the card's true homography."""
    rng = scenes.scene_rng("tests-plain", k)
    img = scenes.draw_ground((1200, 1600), rng)
    s = width_px / card.width_mm
    w, h = card.width_mm * s, card.height_mm * s
    corners = np.array([(0, 0), (w, 0.06 * h), (0.97 * w, 0.98 * h), (0.03 * w, 0.93 * h)])
    corners += (300, 180)
    mm = [(0, 0), (card.width_mm, 0), (card.width_mm, card.height_mm), (0, card.height_mm)]
    truth = fit_homography(mm, corners)
    scenes.paste_card(img, card, truth)
    jpeg, _ = scenes.develop(img, scenes.Look(cast=(0.5, 0.9, 0.8)), rng)
    return scenes.decode(jpeg), truth


def outer(card: CardDefinition, h: Any) -> Any:
    mm = [(0, 0), (card.width_mm, 0), (card.width_mm, card.height_mm), (0, card.height_mm)]
    return apply_homography(h, mm)


def test_target_of_24_patches_is_found_on_its_patches(scenes: Any) -> None:
    card = built_in("target24-2014")
    photo, truth = photo_of(scenes, card, 1, 800)
    found = find_target24(photo, card)
    assert found is not None
    assert found.how == "chart"
    np.testing.assert_allclose(found.corners_px, outer(card, truth), atol=2.0)
    away = apply_homography(truth, found.points_mm) - found.points_px
    assert np.sqrt(np.mean(away**2)) < 1.5 * found.points_u_px[0]


def test_photo_without_the_target_gives_none(scenes: Any) -> None:
    photo = scenes.decode(scenes.make_ground_photo((900, 1200), scenes.scene_rng("tests-plain", 2)))
    assert find_target24(photo, built_in("target24-2014")) is None


def test_chart_finder_knows_only_its_target() -> None:
    with pytest.raises(InputError) as refused:
        find_target24(np.zeros((60, 80, 3), np.uint8), built_in("field"))
    assert refused.value.slug == "card-not-target24"


def plain_card() -> CardDefinition:
    """The field card as if it had no markers that a program could read."""
    return replace(built_in("field"), name="plain", markers=(), picture="plain.png")


def test_card_is_found_by_its_picture_with_wider_doubt(scenes: Any) -> None:
    printed = built_in("field")
    photo, truth = photo_of(scenes, printed, 3, 700)
    found = find_by_picture(photo, plain_card(), render_picture(printed, 6.0))
    assert found is not None
    assert found.how == "picture"
    np.testing.assert_allclose(found.corners_px, outer(printed, truth), atol=3.0)
    assert found.points_u_px.min() >= 0.7
    again = find_by_picture(photo, plain_card(), render_picture(printed, 6.0))
    assert again is not None
    np.testing.assert_array_equal(again.corners_px, found.corners_px)


def test_picture_is_not_found_where_the_card_is_not(scenes: Any) -> None:
    picture = render_picture(built_in("field"), 6.0)
    for k in (4, 5):
        ground = scenes.make_ground_photo((900, 1200), scenes.scene_rng("tests-plain", k))
        assert find_by_picture(scenes.decode(ground), plain_card(), picture) is None


def test_patches_must_prove_the_picture(scenes: Any) -> None:
    """Same print, other greys defined: features match, the patches do not."""
    printed = built_in("field")
    photo, _ = photo_of(scenes, printed, 3, 700)
    swapped = tuple(
        replace(p, lab_d65=(100.0 - p.lab_d65[0], 0.0, 0.0)) if p.role == "neutral" else p
        for p in printed.patches
    )
    other = replace(plain_card(), patches=swapped)
    assert find_by_picture(photo, other, render_picture(printed, 6.0)) is None


def test_checkerboard_corners_are_sub_pixel() -> None:
    board = Board(kind="checkerboard", n_across=9, n_down=6, square_mm=20.0)
    cell = 60
    squares = np.indices((6, 9)).sum(axis=0) % 2
    flat = np.pad(np.kron(squares, np.ones((cell, cell))) * 200 + 25, cell, constant_values=225)
    corners = np.array([(150, 120), (900, 160), (860, 640), (180, 600)], float)
    h, w = flat.shape
    true = fit_homography([(0, 0), (w, 0), (w, h), (0, h)], corners)
    big = cv2.warpPerspective(
        flat.astype(np.float32), np.diag([4.0, 4.0, 1.0]) @ true, (4200, 3000), borderValue=225
    )
    small = cv2.GaussianBlur(
        cv2.resize(big, (1050, 750), interpolation=cv2.INTER_AREA), (0, 0), 0.8
    )
    photo = np.repeat(small.astype(np.uint8)[..., None], 3, axis=2)
    found = find_board(photo, board)
    assert found is not None
    assert len(found.points_mm) == 8 * 5
    # the 4x picture is warped between pixel centres and then halved twice: its pixel k lies at
    # (k + 0.5) / 4 - 0.5, and flat pixel centres at +0.5 of the square's edges
    flat_xy = (found.points_mm / 20.0 + 2.0) * cell - 0.5
    expected = (apply_homography(np.diag([4.0, 4.0, 1.0]) @ true, flat_xy) + 0.5) / 4.0 - 0.5
    away = min(
        np.abs(found.points_px - expected).max(), np.abs(found.points_px - expected[::-1]).max()
    )
    assert away < 0.15


def test_charuco_board_with_a_corner_cut_off_is_found() -> None:
    board = Board(
        kind="charuco", n_across=8, n_down=6, square_mm=20.0, marker_mm=15.0, dictionary="5X5_100"
    )
    drawn = cv2.aruco.CharucoBoard(
        (8, 6), 20.0, 15.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    ).generateImage((960, 720), marginSize=0)
    photo = np.full((800, 900, 3), 200, np.uint8)
    photo[30:750, 40:900] = drawn[:, :860, None]
    found = find_board(photo, board)
    assert found is not None
    expected = (found.points_mm / 20.0 + 1.0) * 120.0 + (40 - 0.5, 30 - 0.5)
    assert len(found.points_mm) >= 20
    assert np.abs(found.points_px - expected).max() < 0.3


def test_board_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="3 by 3"):
        Board(kind="checkerboard", n_across=2, n_down=6, square_mm=20.0)
    with pytest.raises(ValueError, match="smaller than the squares"):
        Board(kind="charuco", n_across=5, n_down=6, square_mm=20.0, marker_mm=20.0)
