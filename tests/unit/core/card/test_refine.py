"""The pattern fit finds corners in linear light, says its doubt, and never fails on nonsense."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.core.arrays.homography import fit_homography
from dryslate.core.card.channel import split_channel
from dryslate.core.card.markers import marker_cells
from dryslate.core.card.refine import is_convex, refine_marker

CELLS = marker_cells("36h11", 42)
QUAD = np.array([(60.3, 40.2), (131.7, 47.9), (126.4, 118.8), (55.1, 110.6)])


def photo(blur_px: float, noise: float, exposure: float = 1.0, steep: float = 0.0) -> np.ndarray:
    """The marker on white, drawn 16 times finer in linear light, averaged, blurred, coded."""
    fine = 16
    cells = np.pad(CELLS, 2, constant_values=True).astype(np.float32) * 0.7 + 0.02
    cells = np.kron(cells, np.ones((40, 40), np.float32))
    edge = 40.0 * np.array([(2, 2), (10, 2), (10, 10), (2, 10)]) - 0.5
    target = (QUAD + 0.5) * fine - 0.5
    big = cv2.warpPerspective(
        cells, fit_homography(edge, target), (192 * fine, 160 * fine), borderValue=0.72
    )
    linear = cv2.resize(big, (192, 160), interpolation=cv2.INTER_AREA)
    linear = cv2.GaussianBlur(linear, (0, 0), blur_px)
    linear = linear + noise * np.random.default_rng(1).normal(size=linear.shape)
    linear = np.clip(exposure * linear, 0, 1)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    if steep:  # an s-shaped picture style
        low, high = np.tanh(steep / 2 * np.array([-0.45, 0.55]))
        coded = (np.tanh(steep / 2 * (coded - 0.45)) - low) / (high - low)
    return np.repeat(np.round(255 * coded).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("blur_px", [0.5, 1.0, 2.0, 3.0])
def test_blur_does_not_move_corners(blur_px: float) -> None:
    start = QUAD + np.array([(0.6, -0.5), (-0.7, 0.3), (0.5, 0.6), (-0.4, 0.7)])
    fit = refine_marker(split_channel(photo(blur_px, 0.003), n_levels=1), CELLS, start)
    assert fit is not None
    assert np.abs(fit.corners_px - QUAD).max() < 0.1
    # the pixel itself adds a twelfth of a pixel squared to the blur
    assert fit.blur_px == pytest.approx(np.sqrt(blur_px**2 + 1 / 12), rel=0.2)
    assert fit.explained_frac > 0.98


@pytest.mark.parametrize("white_of_top", [1.0, 1.2, 1.5, 2.0, 2.5])
@pytest.mark.parametrize("blur_px", [0.6, 1.5])
def test_white_beyond_the_top_does_not_move_corners(white_of_top: float, blur_px: float) -> None:
    start = QUAD + np.array([(0.4, -0.3), (-0.4, 0.3), (0.3, 0.4), (-0.4, 0.3)])
    channel = split_channel(photo(blur_px, 0.003, white_of_top / 0.72), n_levels=1)
    fit = refine_marker(channel, CELLS, start)
    assert fit is not None
    assert np.abs(fit.corners_px - QUAD).max() < 0.12
    assert np.abs(fit.corners_px - QUAD).max() < 4 * fit.corner_u_px
    assert fit.explained_frac > 0.95


@pytest.mark.parametrize(("exposure", "steep"), [(0.8, 3.0), (1.35, 4.5), (0.3, 3.0)])
def test_picture_style_does_not_move_corners(exposure: float, steep: float) -> None:
    channel = split_channel(photo(1.0, 0.003, exposure, steep), n_levels=1)
    fit = refine_marker(channel, CELLS, QUAD)
    assert fit is not None
    middle = QUAD.mean(axis=0)
    outward = (QUAD - middle) / np.hypot(*(QUAD - middle).T)[:, None]
    assert abs(((fit.corners_px - QUAD) * outward).sum(axis=1).mean()) < 0.04
    assert np.abs(fit.corners_px - QUAD).max() < 4 * fit.corner_u_px


@pytest.mark.parametrize("exposure", [0.8, 2.0])
def test_stated_doubt_is_neither_too_small_nor_far_too_large(exposure: float) -> None:
    clean = photo(0.8, 0.0, 0.8 if exposure < 1 else 1.0).astype(float) / 255
    linear = np.where(clean <= 0.04045, clean / 12.92, ((clean + 0.055) / 1.055) ** 2.4)
    linear *= exposure / 0.8 if exposure < 1 else exposure
    rng = np.random.default_rng(11)
    z = []
    for _ in range(25):
        noisy = np.clip(linear + 0.02 * rng.normal(size=linear.shape), 0, 1)
        coded = np.where(noisy <= 0.0031308, 12.92 * noisy, 1.055 * noisy ** (1 / 2.4) - 0.055)
        channel = split_channel(np.round(255 * coded).astype(np.uint8), n_levels=1)
        fit = refine_marker(channel, CELLS, QUAD)
        assert fit is not None
        z.append((fit.corners_px - QUAD) / fit.corner_u_px)
    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.25


def test_more_noise_means_more_doubt() -> None:
    doubts = []
    for noise in (0.002, 0.05):
        fit = refine_marker(split_channel(photo(1.0, noise), n_levels=1), CELLS, QUAD)
        assert fit is not None
        assert np.abs(fit.corners_px - QUAD).max() < 5 * fit.corner_u_px
        doubts.append(fit.corner_u_px)
    assert doubts[1] > 2 * doubts[0]


def test_another_marker_does_not_explain_the_pixels() -> None:
    other = refine_marker(split_channel(photo(0.8, 0.003)), marker_cells("36h11", 43), QUAD)
    assert other is None or other.explained_frac < 0.6


def test_light_that_slopes_over_the_marker_does_not_move_it() -> None:
    img = photo(1.0, 0.002).astype(float)
    img *= np.linspace(0.8, 1.0, img.shape[1])[None, :, None]
    fit = refine_marker(split_channel(img.astype(np.uint8), n_levels=1), CELLS, QUAD)
    assert fit is not None
    assert np.abs(fit.corners_px - QUAD).max() < 0.08


@given(st.lists(st.floats(-30, 230), min_size=8, max_size=8))
@settings(max_examples=80)
def test_nonsense_corners_give_none_or_something_finite(numbers: list[float]) -> None:
    channel = split_channel(photo(1.0, 0.003), n_levels=1)
    fit = refine_marker(channel, CELLS, np.reshape(numbers, (4, 2)))
    if fit is not None:
        assert np.all(np.isfinite(fit.corners_px))
        assert is_convex(fit.corners_px)
