"""Shapes that could be markers: where they are looked for, and which come first."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from dryslate.core.card.candidates import find_candidates, measure_spread, read_windows
from dryslate.core.card.channel import Channel, split_channel
from dryslate.core.card.found import FloatArray
from dryslate.core.card.markers import marker_cells

GROUND = 170


def everywhere(centres: FloatArray, sides: FloatArray) -> NDArray[np.bool_]:
    return np.ones(len(centres), dtype=bool)


def painted(*, n_blobs: int = 40, black: int = 30, white: int = 220) -> NDArray[np.uint8]:
    """Ground with round spots, dark about a light middle, and one marker of 48 px turned by 30."""
    grey = np.full((600, 800), GROUND, np.uint8)
    rng = np.random.default_rng(5)
    for x, y in rng.uniform((40, 40), (760, 330), size=(n_blobs, 2)).astype(int).tolist():
        cv2.circle(grey, (x, y), 22, 20, -1)
        cv2.circle(grey, (x, y), 15, 235, -1)
    tile = np.where(np.pad(marker_cells("36h11", 7), 1, constant_values=True), white, black)
    big = np.kron(tile, np.ones((6, 6))).astype(np.uint8)
    to_photo = cv2.getRotationMatrix2D((29.5, 29.5), 30.0, 1.0)
    to_photo[:, 2] += np.array([400 - 29.5, 450 - 29.5])
    cv2.warpAffine(big, to_photo, (800, 600), dst=grey, borderMode=cv2.BORDER_TRANSPARENT)
    return cv2.GaussianBlur(grey, (0, 0), 0.8).astype(np.uint8)


def channel_of(grey: NDArray[np.uint8]) -> Channel:
    return split_channel(np.repeat(grey[..., None], 3, axis=2), n_levels=3)


def test_a_square_outline_comes_before_rounder_ones_of_more_contrast() -> None:
    channel = channel_of(painted(black=70, white=200))
    first = find_candidates(channel, 1, 16, everywhere)[0]
    assert (first.x_px, first.y_px) == pytest.approx((400, 450), abs=2.0)


@pytest.mark.parametrize("level", [0, 1, 2])
def test_the_first_candidates_of_each_copy_hold_the_marker(level: int) -> None:
    grey = painted(n_blobs=0)
    channel = channel_of(cv2.resize(grey, None, fx=2**level / 2, fy=2**level / 2))  # type: ignore[arg-type]  # uint8 in, uint8 out
    windows = find_candidates(channel, level, 8, everywhere)
    assert [r.marker_id for r in read_windows(channel, windows, ("36h11",))] == [7]


def test_shapes_that_are_not_wanted_or_too_faint_are_passed_over() -> None:
    channel = channel_of(painted(n_blobs=0))
    spread = 70.0
    assert find_candidates(channel, 1, 8, everywhere, spread)
    assert not find_candidates(channel, 1, 8, everywhere, 2 * spread)
    asked = []

    def nowhere(centres: FloatArray, sides: FloatArray) -> NDArray[np.bool_]:
        asked.append(len(centres))
        return np.zeros(len(centres), dtype=bool)

    assert not find_candidates(channel, 1, 8, nowhere)
    assert asked[0] > 0


def test_blank_and_tiny_copies_have_no_candidates() -> None:
    for shape in ((4, 4), (300, 400)):
        assert not find_candidates(channel_of(np.full(shape, 90, np.uint8)), 0, 8, everywhere)


def test_contrast_of_a_marker_is_that_of_its_black_and_white() -> None:
    corners = 450 + 24 * np.array([(-1.0, -1), (1, -1), (1, 1), (-1, 1)]) + (-50, 0)
    strong = measure_spread(channel_of(painted(n_blobs=0)), 0, corners)
    faint = measure_spread(channel_of(painted(n_blobs=0, black=100, white=138)), 0, corners)
    assert faint / strong == pytest.approx(38 / 190, abs=0.1)
    assert strong == pytest.approx(95, rel=0.3)  # half the step from black to white
