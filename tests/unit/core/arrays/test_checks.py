"""Array checks refuse what the core cannot take, and say what they got."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.arrays.checks import require_image, require_points


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_frame_of_either_depth_passes(dtype: type) -> None:
    require_image(np.zeros((2, 3, 3), dtype))


def test_a_float_frame_is_refused() -> None:
    with pytest.raises(TypeError, match="float64"):
        require_image(np.zeros((2, 3, 3)))


@pytest.mark.parametrize("shape", [(2, 3), (2, 3, 4), (0, 3, 3)])
def test_a_frame_of_the_wrong_shape_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="height, width, 3"):
        require_image(np.zeros(shape, np.uint8))


def test_points_come_back_as_a_copy() -> None:
    points = np.zeros((2, 2))
    assert not np.shares_memory(require_points(points), points)
