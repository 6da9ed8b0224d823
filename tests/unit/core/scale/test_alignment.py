"""Two photos of one place: where an outline comes to lie, against warps that are known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import apply_homography
from dryslate.core.scale.alignment import align_by_points, align_photos

SIZE = (900, 600)
OUTLINE = np.array([(350.0, 220.0), (520.0, 210.0), (560.0, 360.0), (380.0, 400.0)])


def ground(seed: int) -> np.ndarray:
    """A ground with detail of every size."""
    rng = np.random.default_rng(seed)
    width, height = SIZE
    img = np.zeros((height, width, 3), np.float32)
    for cell in (200, 60, 20, 7):
        grid = rng.random((height // cell + 2, width // cell + 2)).astype(np.float32)
        img += cv2.resize(grid, SIZE, interpolation=cv2.INTER_CUBIC)[..., None]
    return np.clip(img * 60, 0, 255).astype(np.uint8)


def view(turn_deg: float, scale: float, slant: float) -> np.ndarray:
    """A homography about the middle of the picture."""
    a, (x, y) = np.radians(turn_deg), np.array(SIZE) / 2
    to_middle = np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1.0]])
    c, s = scale * np.cos(a), scale * np.sin(a)
    turn = np.array([[c, -s, x], [s, c, y], [0, 0, 1.0]])
    tilt = np.array([[1, 0, 0], [0, 1, 0], [slant, -slant / 2, 1.0]])
    return turn @ tilt @ to_middle


def seen_again(matrix: np.ndarray, noise: float, *, is_bleached: bool = True) -> np.ndarray:
    """The same ground from elsewhere, bluer and noisy, the colony gone white."""
    img = cv2.warpPerspective(ground(1), matrix, SIZE).astype(np.float64)
    if is_bleached:
        mask = np.zeros(img.shape[:2], np.uint8)
        corners = np.rint(apply_homography(matrix, OUTLINE)).astype(np.int32)
        cv2.fillPoly(mask, [corners], 255)
        img[mask > 0] = 0.3 * img[mask > 0] + 160
    img = img * (0.5, 0.9, 0.95) + np.random.default_rng(4).normal(0, noise, img.shape)
    return np.clip(img, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    ("turn_deg", "scale", "slant"),
    [(0.0, 1.0, 0.0), (12.0, 0.8, 1e-4), (90.0, 0.6, 0.0), (-25.0, 1.25, 2e-4)],
)
def test_outline_comes_to_lie_where_the_colony_is(turn_deg, scale, slant) -> None:
    matrix = view(turn_deg, scale, slant)
    found = align_photos(ground(1), seen_again(matrix, 6.0), OUTLINE)
    off = np.linalg.norm(found.carry(OUTLINE) - apply_homography(matrix, OUTLINE), axis=1)
    assert off.max() < 1.5
    assert off.max() < 4.0 * max(found.misfit_px, 0.3)
    assert found.n_pairs >= 20


def test_same_photos_give_the_same_alignment() -> None:
    again = seen_again(view(12.0, 0.8, 1e-4), 6.0)
    one, two = (align_photos(ground(1), again, OUTLINE) for _ in range(2))
    assert np.array_equal(one.matrix, two.matrix)
    assert one.misfit_px == two.misfit_px


def test_another_place_is_refused() -> None:
    with pytest.raises(InputError, match="align-no-match"):
        align_photos(ground(1), ground(2), OUTLINE)


def test_picture_without_detail_is_refused() -> None:
    flat = np.full((600, 900, 3), 120, np.uint8)
    with pytest.raises(InputError, match="align-no-match"):
        align_photos(ground(1), flat, OUTLINE)


def test_ground_seen_on_one_side_only_is_refused() -> None:
    half = seen_again(np.eye(3), 2.0)
    half[:, 330:] = 100
    with pytest.raises(InputError, match="align-no-match"):
        align_photos(ground(1), half, OUTLINE)


def test_card_that_moved_between_the_photos_is_not_looked_at() -> None:
    """The same pattern at other places: without hiding it, it would pull the outline along."""
    card = np.random.default_rng(9).integers(0, 255, (24, 30, 3)).astype(np.uint8)
    card = cv2.resize(card, (240, 192), interpolation=cv2.INTER_NEAREST)
    first, second = ground(1), cv2.GaussianBlur(ground(1), (0, 0), 2.5)
    first[20:212, 30:270] = card
    second[380:572, 620:860] = card
    corners = [
        np.array([(x, y), (x + 240, y), (x + 240, y + 192), (x, y + 192)], dtype=np.float64)
        for x, y in ((30, 20), (620, 380))
    ]
    found = align_photos(first, second, OUTLINE, ([corners[0]], [corners[1]]))
    assert np.linalg.norm(found.carry(OUTLINE) - OUTLINE, axis=1).max() < 2.0


@pytest.mark.parametrize(("n", "model"), [(4, "similarity"), (6, "affine"), (12, "homography")])
def test_points_picked_by_hand_carry_an_outline_and_state_their_misfit(n, model) -> None:
    slant = 2e-4 if model == "homography" else 0.0
    matrix = view(15.0, 0.9, slant)
    rng = np.random.default_rng(n)
    a = rng.uniform((150, 100), (750, 500), (n, 2))
    off = rng.normal(0.0, 1.0, (n, 2))
    found = align_by_points(a, apply_homography(matrix, a) + off)
    assert found.model == model
    assert 0.5 < found.misfit_px < 6.0
    true = apply_homography(matrix, OUTLINE)
    assert np.linalg.norm(found.carry(OUTLINE) - true, axis=1).max() < 3.0 * found.misfit_px


def test_few_or_wild_points_are_refused() -> None:
    from dryslate.core.scale.alignment import require_close

    with pytest.raises(InputError, match="align-too-few-points"):
        align_by_points(OUTLINE[:3], OUTLINE[:3])
    wild = OUTLINE + np.array([(60, 0), (-50, 30), (0, -70), (40, 40)])
    with pytest.raises(InputError, match="align-misfit"):
        require_close(align_by_points(OUTLINE, wild), OUTLINE)
    mirrored = np.vstack([OUTLINE, OUTLINE.mean(axis=0)])
    with pytest.raises(InputError, match="align-misfit"):
        require_close(align_by_points(mirrored, mirrored * (-1, 1) + (900, 0)), OUTLINE)
