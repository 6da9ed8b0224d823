"""Daylight, observer, pigments, wetting and cameras of the renderer."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.demo.cameras import (
    ACTION,
    COMPACT,
    MIRRORLESS,
    WhiteBalance,
    camera_response,
    daylight_matrix,
    tone_table,
    white_gains,
)
from dryslate.demo.spectra import (
    WAVELENGTHS_NM,
    column,
    daylight,
    lab_of,
    linear_srgb_of,
    observer,
    planck,
)
from dryslate.demo.surfaces import (
    PAINT_PIGMENTS,
    PRINT_PIGMENTS,
    Tissue,
    coral_reflectance,
    interface_of,
    reflectance_for_lab,
    reflectance_in_water,
)
from dryslate.demo.water import Water

COLOURS = [
    (50, 0, 0),
    (92, -1, 3),
    (18, 0, 0),
    (45, 40, 25),
    (55, -30, 25),
    (40, 8, -35),
    (75, 0, 60),
]


def test_daylight_meets_the_published_d65() -> None:
    # CIE S 005 / ISO 11664-2, table of D65 at 400, 450, 500, 600 and 700 nm (from memory); the
    # standard rounds M1 and M2 to three decimals, which moves the table by up to 0.4
    published = {400: 82.7549, 450: 117.008, 500: 109.354, 600: 90.0062, 700: 71.6091}
    for nm, value in published.items():
        assert daylight()[list(WAVELENGTHS_NM).index(nm)] == pytest.approx(value, abs=0.4)


def test_observer_and_daylight_give_the_white_point_of_d65() -> None:
    # CIE 15: x 0.3127, y 0.3290; the cut at 400 and 700 nm moves it by less than 0.0005
    xyz = (observer() * daylight()[:, None]).sum(axis=0)
    assert xyz[:2] / xyz.sum() == pytest.approx([0.3127, 0.3290], abs=5e-4)


def test_perfect_white_is_white_in_every_space() -> None:
    white = np.ones(WAVELENGTHS_NM.size)
    assert lab_of(white) == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)
    assert linear_srgb_of(white) == pytest.approx([1.0, 1.0, 1.0], abs=1e-4)


def test_a_warm_lamp_is_redder_than_daylight() -> None:
    lamp, day = planck(3000.0), daylight()
    assert lamp[-1] / lamp[0] > 4.0 * day[-1] / day[0]


@pytest.mark.parametrize("lab", COLOURS)
def test_pigments_meet_the_colour_asked_for_and_two_sets_make_a_metameric_pair(lab) -> None:
    one, two = (reflectance_for_lab(lab, p) for p in (PRINT_PIGMENTS, PAINT_PIGMENTS))
    for spectrum in (one, two):
        assert lab_of(spectrum) == pytest.approx(lab, abs=0.02)
        assert 0.0 < spectrum.min() <= spectrum.max() <= 1.0
    if np.hypot(lab[1], lab[2]) > 4.0:
        assert np.abs(one - two).max() > 0.01


def test_colour_that_no_pigment_has_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        reflectance_for_lab((90.0, 0.0, -80.0))
    assert caught.value.slug == "colour-out-of-reach"


def test_unknown_water_is_refused_with_what_there_is() -> None:
    with pytest.raises(InputError, match="kd_ib_per_m") as caught:
        column("water_jerlov_kd", "kd_xx_per_m")
    assert caught.value.slug == "spectrum-unknown"


@pytest.mark.parametrize("lab", [(50, 0, 0), (45, 40, 25), (55, -30, 25)])
def test_matt_print_darkens_when_wet_and_sealed_print_does_not(lab) -> None:
    dry = reflectance_for_lab(lab)
    matt, sealed = lab_of(reflectance_in_water(dry)), lab_of(reflectance_in_water(dry, "sealed"))
    assert matt[0] < lab[0] - 3.0
    assert sealed[0] > lab[0]


def test_skin_of_a_print_follows_fresnel_in_air() -> None:
    # diffuse light on n = 1.5: 9.2 % outside and 59.6 % inside (Judd 1942, as widely quoted)
    skin = interface_of(1.5)
    assert skin.outer_frac == pytest.approx(0.092, abs=0.0005)
    assert skin.inner_frac == pytest.approx(0.596, abs=0.0005)


def test_coral_pales_steadily_as_it_loses_its_algae() -> None:
    lightness = [lab_of(coral_reflectance(Tissue(), left))[0] for left in (1.0, 0.6, 0.3, 0.02)]
    assert np.all(np.diff(lightness) > 5.0)
    chroma = np.hypot(*lab_of(coral_reflectance(Tissue(), 0.02))[1:])
    assert chroma < 15.0 < np.hypot(*lab_of(coral_reflectance(Tissue()))[1:])


@pytest.mark.parametrize("camera", [COMPACT, MIRRORLESS, ACTION], ids=lambda c: c.name)
def test_daylight_matrix_keeps_grey_and_knows_colours(camera) -> None:
    matrix = daylight_matrix(camera)
    assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=1e-9)
    white = camera_response(camera, daylight())
    errors = []
    for lab in COLOURS[3:]:
        spectrum = reflectance_for_lab(lab)
        seen = matrix @ (camera_response(camera, spectrum * daylight()) / white)
        errors.append(np.abs(seen - linear_srgb_of(spectrum)).max())
    assert max(errors) < 0.08


def test_custom_balance_makes_grey_grey_where_it_was_set_within_its_limit() -> None:
    water = Water(jerlov="IB", depth_m=4.0)
    light = water.light_at(daylight())
    custom = WhiteBalance(mode="custom", gain_limit=50.0)
    gains = white_gains(custom, COMPACT, light, np.ones(3))
    balanced = gains * camera_response(COMPACT, light)
    assert balanced / balanced[1] == pytest.approx([1.0, 1.0, 1.0], abs=1e-9)
    tame = white_gains(WhiteBalance(mode="custom", gain_limit=1.5), COMPACT, light, np.ones(3))
    day = 1.0 / camera_response(COMPACT, daylight())
    assert (tame / day).max() / (tame / day).min() == pytest.approx(1.5)


@pytest.mark.parametrize("contrast", [0.0, 0.3, 0.6])
def test_picture_style_never_turns_tones_over(contrast) -> None:
    table = tone_table(contrast).astype(int)
    assert (np.diff(table) >= 0).all()
    assert (table[0], table[-1]) == (0, 255)


def test_deeper_water_takes_red_first_and_clear_oceans_turn_blue() -> None:
    shallow, deep = (Water(jerlov="IB", depth_m=d).light_at(daylight()) for d in (2.0, 20.0))
    left = deep / shallow
    assert left[-1] < 1e-3 * left[6]
    assert WAVELENGTHS_NM[int(deep.argmax())] < 500.0
    green = Water(jerlov="5C", depth_m=10.0).light_at(daylight())
    assert 530.0 <= WAVELENGTHS_NM[int(green.argmax())] <= 580.0
