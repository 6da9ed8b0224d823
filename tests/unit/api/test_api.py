"""The Python face works from an array to a colour and a length with doubt."""

from __future__ import annotations

import numpy as np
import pytest

import dryslate
from dryslate.core.card.rendering import render_picture
from dryslate.core.measure.off_plane import OffPlane
from dryslate.core.measure.result import MeasureSettings

MARGIN_PX = 60
PX_PER_MM = 5.0


@pytest.fixture(scope="module")
def photo() -> dryslate.api.OpenPhoto:
    """The field card lying flat on a brown ground, seen square on, in good light."""
    card = next(c for c in dryslate.cards() if c.name == "field")
    picture = render_picture(card, PX_PER_MM)
    img = np.full(
        (picture.shape[0] + 2 * MARGIN_PX, picture.shape[1] + 2 * MARGIN_PX, 3), (96, 84, 60)
    ).astype(np.uint8)
    img[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX] = picture
    img += np.random.default_rng(5).integers(0, 3, img.shape, dtype=np.uint8)
    return dryslate.photo_from_array(img)


def test_length_on_the_card_is_recovered_from_an_array(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    plane = dryslate.fit_plane(photo, card, port="none")
    settings = MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="in_plane"))
    points = [[MARGIN_PX, MARGIN_PX], [MARGIN_PX + 100 * PX_PER_MM, MARGIN_PX]]
    length = dryslate.measure_length(plane, points, settings)
    assert length.values["length_mm"] == pytest.approx(100.0, abs=0.3)
    assert length.values["length_mm_lo95"] < 100.0 < length.values["length_mm_hi95"]


def test_nominal_card_keeps_to_its_greys_and_says_so(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card)
    assert colour.usable
    assert colour.fit in ("neutral_gain", "gain_veil")
    corrected = dryslate.apply_correction(photo, colour)
    assert corrected.shape == photo.pixels.shape
    assert corrected.dtype == np.uint8


def test_colour_of_an_area_has_an_interval_that_holds_a_true_grey(photo) -> None:
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card, nominal_as_measured=True)
    grey = next(p for p in card.card.neutrals if 40 < p.lab_d65[0] < 60)
    x, y = (MARGIN_PX + PX_PER_MM * v for v in (grey.x_mm, grey.y_mm))
    near, far = 8, PX_PER_MM * grey.width_mm - 8
    outline = [(x + i, y + j) for i, j in ((near, near), (far, near), (far, far), (near, far))]
    seen = dryslate.measure_colour(photo, colour, outline)
    assert np.all(np.less_equal(seen.values["lab_lo95"], grey.lab_d65))
    assert np.all(np.greater_equal(seen.values["lab_hi95"], grey.lab_d65))


def test_wrong_arrays_are_refused_with_what_was_expected(photo) -> None:
    with pytest.raises(ValueError, match="expected uint8"):
        dryslate.photo_from_array(np.zeros((3, 3)))
    card = dryslate.find_cards(photo).cards[0]
    colour = dryslate.fit_colour(photo, card)
    with pytest.raises(dryslate.base.errors.InputError, match="measure-colour-few-pixels"):
        dryslate.measure_colour(photo, colour, [(10, 10), (14, 10), (14, 14), (10, 14)])


def test_unknown_name_is_no_part_of_the_package() -> None:
    with pytest.raises(AttributeError, match="no_such_thing"):
        _ = dryslate.no_such_thing
    assert "find_cards" in dir(dryslate)
