"""A picked spot: its middle colour and spread, or a clear refusal."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.colour.point import measure_spot

LUT = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[:, None], 3, axis=1)


def test_a_speck_does_not_move_the_middle() -> None:
    img = np.full((60, 60, 3), (50, 100, 150), np.uint8)
    img[28:31, 28:31] = 250
    spot = measure_spot(img, (30.0, 30.0), LUT)
    assert np.allclose(spot.mean_linear * 255, (50, 100, 150))
    assert spot.n_px == 169


def test_spread_is_that_of_the_noise() -> None:
    rng = np.random.default_rng(1)
    img = np.clip(rng.normal(120, 5, (101, 101, 3)).round(), 0, 255).astype(np.uint8)
    spot = measure_spot(img, (50, 50), LUT, radius_px=50)
    assert np.sqrt(np.diag(spot.cov_linear)) * 255 == pytest.approx([5, 5, 5], rel=0.15)


def test_at_the_edge_the_part_inside_is_used() -> None:
    spot = measure_spot(np.full((60, 60, 3), 90, np.uint8), (0, 59), LUT)
    assert spot.n_px == 49


@pytest.mark.parametrize("xy", [(-1.0, 5.0), (60.0, 5.0), (5.0, 60.0), (float("nan"), 5.0)])
def test_point_outside_the_photo_is_refused(xy: tuple[float, float]) -> None:
    with pytest.raises(InputError) as caught:
        measure_spot(np.full((60, 60, 3), 90, np.uint8), xy, LUT)
    assert caught.value.slug == "point-outside-photo"
    assert "60 x 60" in caught.value.message


@pytest.mark.parametrize("value", [0, 255])
def test_burnt_out_or_black_spot_states_no_colour(value: int) -> None:
    img = np.full((60, 60, 3), 120, np.uint8)
    img[..., 1] = value
    with pytest.raises(InputError) as caught:
        measure_spot(img, (30, 30), LUT)
    assert caught.value.slug == "point-clipped"
