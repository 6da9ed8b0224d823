"""Orientation: against Pillow's own turning of the same frame, and against itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from dryslate.core.arrays.orientation import (
    stored_view,
    stored_xy,
    upright_size,
    upright_view,
    upright_xy,
)

ORIENTATIONS = st.integers(1, 8)
SIZES = st.tuples(st.integers(1, 9), st.integers(1, 9))


def numbered_frame(width: int, height: int) -> np.ndarray:
    return np.arange(width * height * 3, dtype=np.uint8).reshape(height, width, 3)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_view_agrees_with_an_independent_library(orientation: int) -> None:
    frame = numbered_frame(5, 3)
    image = Image.fromarray(frame)
    image.getexif()[0x0112] = orientation
    turned = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(upright_view(frame, orientation), turned)


@given(SIZES, ORIENTATIONS)
def test_view_shares_memory_and_goes_back(size: tuple[int, int], orientation: int) -> None:
    frame = numbered_frame(*size)
    view = upright_view(frame, orientation)
    assert np.shares_memory(view, frame)
    assert (view.shape[1], view.shape[0]) == upright_size(size, orientation)
    assert np.array_equal(stored_view(view, orientation), frame)


@given(SIZES, ORIENTATIONS, st.data())
def test_points_follow_their_pixels(
    size: tuple[int, int], orientation: int, data: st.DataObject
) -> None:
    frame = np.arange(size[0] * size[1]).reshape(size[1], size[0])
    x, y = data.draw(st.integers(0, size[0] - 1)), data.draw(st.integers(0, size[1] - 1))
    up_x, up_y = upright_xy([[x, y]], size, orientation)[0].astype(int)
    assert upright_view(frame, orientation)[up_y, up_x] == frame[y, x]


@given(SIZES, ORIENTATIONS, st.floats(-50, 50), st.floats(-50, 50))
def test_point_maps_are_each_others_inverse(
    size: tuple[int, int], orientation: int, x: float, y: float
) -> None:
    there = upright_xy([[x, y]], size, orientation)
    assert stored_xy(there, size, orientation)[0] == pytest.approx([x, y], abs=1e-9)


@pytest.mark.parametrize("orientation", [0, 9, -1])
def test_number_outside_the_standard_is_refused(orientation: int) -> None:
    with pytest.raises(ValueError, match="expected 1 to 8"):
        upright_view(numbered_frame(2, 2), orientation)


def test_points_that_are_not_finite_are_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        upright_xy([[np.nan, 0.0]], (4, 4), 1)
    with pytest.raises(ValueError, match="shape"):
        stored_xy([[1.0, 2.0, 3.0]], (4, 4), 1)
