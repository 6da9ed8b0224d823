"""Distance from the card's white in an uncorrected frame, against colours that are known."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb, srgb_to_linear
from dryslate.core.measure.white_distance import (
    inner_corners_mm,
    measure_white_distance,
    white_patches,
)
from dryslate.files.reference_tables import FileReferenceTables

LUT = np.repeat(srgb_to_linear(np.arange(256) / 255.0)[:, None], 3, axis=1)
WHITE, CORAL = (94.0, 0.0, 0.0), (55.0, 8.0, 24.0)


def square(x, y, side=40):
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]


def picture(white=WHITE, coral=CORAL, light=(1.0, 1.0, 1.0)):
    """Two squares of known colour under a light, noise included."""
    rng = np.random.default_rng(3)
    img = np.full((200, 300, 3), 90, np.uint8)
    for (x, y), lab in (((40, 40), white), ((180, 80), coral)):
        linear = lab_to_linear_srgb(np.array(lab)) * light + rng.normal(0, 0.004, (60, 60, 3))
        codes = np.rint(255 * linear_to_srgb(np.clip(linear, 0, 1))).astype(np.uint8)
        img[y : y + 60, x : x + 60] = codes
    return img, LUT, np.eye(3)


def test_distance_is_that_of_the_two_colours() -> None:
    found = measure_white_distance(picture(), square(190, 90), [square(50, 50)])
    true = float(np.linalg.norm(np.subtract(CORAL, WHITE)))
    assert found.distance == pytest.approx(true, abs=0.3)
    assert (found.u, found.n_whites) == (0.0, 1)
    assert 0.0 < found.noise_u < 0.1


def test_paling_brings_it_nearer_to_white_under_a_blue_light_too() -> None:
    light = (0.3, 0.8, 0.9)
    whites = [square(50, 50)]
    before = measure_white_distance(picture(light=light), square(190, 90), whites)
    pale = measure_white_distance(picture(coral=(80, 2, 8), light=light), square(190, 90), whites)
    assert pale.distance < before.distance - 10.0


def test_white_that_is_blown_out_or_outside_is_left_out_and_all_of_them_is_an_error() -> None:
    blown = picture(white=(100.0, 0.0, 0.0), light=(1.2, 1.2, 1.2))
    outside = square(290, 190)
    with pytest.raises(InputError, match="white-not-readable"):
        measure_white_distance(blown, square(190, 90), [square(50, 50), outside])
    found = measure_white_distance(picture(), square(190, 90), [square(50, 50), outside])
    assert found.n_whites == 1


@pytest.mark.parametrize("name", ["large", "field", "stick"])
def test_own_cards_have_a_white_and_its_twin(name) -> None:
    found = white_patches(FileReferenceTables().card(name))
    assert found
    assert all(p.lab_d65[0] > 85 for p in found)
    corners = inner_corners_mm(found[0])
    assert np.ptp(corners[:, 0]) == pytest.approx(0.6 * found[0].width_mm)
