"""The one-pass correction of pixels agrees with the float64 reference, whatever the photo."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from dryslate.core.arrays.orientation import stored_view, upright_view
from dryslate.core.colour.apply import apply_correction, apply_correction_16
from dryslate.core.colour.correction import Correction, LightField, correct_linear
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear

ROOT = np.array(
    [
        [2.9, -0.3, 0.1, -0.5, 0.2, 0.1],
        [-0.2, 1.3, 0.1, 0.2, -0.1, 0.1],
        [0.1, -0.4, 1.2, 0.1, 0.3, -0.2],
    ]
)
PLAIN = np.array([[2.5, -0.3, 0.1], [-0.2, 1.3, 0.1], [0.1, -0.4, 1.2]])


def srgb_lut(n_codes: int = 256) -> np.ndarray:
    curve = srgb_to_linear(np.arange(n_codes) / (n_codes - 1))
    return np.repeat(curve[:, None], 3, axis=1).astype(np.float32)


def slope(width: int, height: int) -> LightField:
    return LightField(
        centre_px=np.array([width * 0.4, height * 0.6]),
        log_per_px=np.array([0.9 / width, -0.7 / height]),
        log_lo=-0.25,
        log_hi=0.3,
        log_centre=0.02,
        bend_per_px2=-0.4 / width**2,
    )


def correction(matrix: np.ndarray, field: LightField | None) -> Correction:
    return Correction(
        fit="root_polynomial_2" if matrix.shape[1] == 6 else "affine",
        tone=(0.12, 0.35),
        veil=np.array([0.004, 0.02, 0.035]),
        matrix=matrix,
        field=field,
    )


def reference(pixels: np.ndarray, lut: np.ndarray, fit: Correction, orientation: int) -> np.ndarray:
    """The published way, slowly: turn upright, correct in float64, clip, turn back; 0 to 1."""
    upright = upright_view(pixels, orientation)
    height, width = upright.shape[:2]
    values = np.stack([lut[upright[..., c], c] for c in range(3)], axis=-1).reshape(-1, 3)
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    linear = correct_linear(values, np.column_stack([x.ravel(), y.ravel()]), fit)
    coded = linear_to_srgb(np.clip(linear, 0.0, 1.0)).reshape(height, width, 3)
    return stored_view(coded, orientation)


def every_kind_of_colour(height: int, width: int, n_codes: int = 256) -> np.ndarray:
    rng = np.random.default_rng(20)
    pixels = rng.integers(0, n_codes, (height, width, 3))
    pixels[: height // 2] = pixels[: height // 2] * np.array([0.25, 0.7, 0.8])  # blue-green, dim
    return pixels.astype(np.uint8 if n_codes == 256 else np.uint16)


@pytest.mark.parametrize("matrix", [ROOT, PLAIN], ids=["root", "plain"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_pixel_is_within_one_level_of_the_reference(
    matrix: np.ndarray, orientation: int
) -> None:
    pixels = every_kind_of_colour(150, 611)
    upright = upright_view(pixels, orientation)
    fit = correction(matrix, slope(upright.shape[1], upright.shape[0]))
    got = apply_correction(pixels, srgb_lut(), fit, orientation=orientation)
    expected = reference(pixels, srgb_lut(), fit, orientation) * 255.0
    error = np.abs(got - np.rint(expected))
    assert error.max() <= 1
    assert error.mean() <= 0.01


def test_every_one_of_the_colours_that_eight_bits_hold_on_a_grid_is_within_one_level() -> None:
    codes = np.array([0, 1, 2, 3, 5, 9, 10, 11, 17, 30, 52, 80, 110, 150, 200, 240, 254, 255])
    pixels = np.array(list(itertools.product(codes, repeat=3)), np.uint8).reshape(18, -1, 3)
    fit = correction(ROOT, None)
    expected = np.rint(reference(pixels, srgb_lut(), fit, 1) * 255.0)
    assert np.abs(apply_correction(pixels, srgb_lut(), fit) - expected).max() <= 1


def test_the_light_field_stays_at_its_limit_beyond_the_card() -> None:
    field = LightField(
        centre_px=np.array([50.0, 0.0]),
        log_per_px=np.array([0.05, 0.0]),
        log_lo=-0.2,
        log_hi=0.1,
    )
    fit = Correction(
        fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3), field=field
    )
    row = apply_correction(np.full((1, 101, 3), 100, np.uint8), srgb_lut(), fit)[0, :, 0]
    assert len(set(row[:46].tolist())) == 1
    assert len(set(row[53:].tolist())) == 1
    assert row[0] > row[50] > row[100]


def test_a_bent_field_lets_the_light_fall_off_to_all_sides() -> None:
    field = LightField(
        centre_px=np.array([50.0, 50.0]),
        log_per_px=np.zeros(2),
        log_lo=-0.3,
        log_hi=0.02,
        log_centre=0.02,
        bend_per_px2=-2e-4,
    )
    fit = Correction(
        fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3), field=field
    )
    grey = apply_correction(np.full((101, 101, 3), 100, np.uint8), srgb_lut(), fit)[..., 0]
    assert grey[50, 50] < grey[50, 20] == grey[50, 80] == grey[20, 50] == grey[80, 50]
    assert grey[0, 0] == grey[100, 100]  # held
    np.testing.assert_allclose(field.log_light([[50, 50], [60, 50]]), [0.02, 0.0], atol=1e-12)


def test_a_steep_field_far_from_its_centre_neither_overflows_nor_turns_black() -> None:
    field = LightField(
        centre_px=np.array([0.0, 0.0]),
        log_per_px=np.array([0.4, -0.4]),
        log_lo=-0.3,
        log_hi=0.3,
    )
    fit = Correction(
        fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3), field=field
    )
    pixels = np.full((700, 700, 3), 90, np.uint8)
    expected = np.rint(reference(pixels, srgb_lut(), fit, 1) * 255.0)
    away = np.abs(np.subtract.outer(np.arange(700), np.arange(700))) > 1
    got = apply_correction(pixels, srgb_lut(), fit)
    corner = np.s_[:100, :100]  # both factors within their range: exact
    assert np.abs(got[corner] - expected[corner]).max() <= 1
    assert got[away].min() > 0


def test_the_stored_pixels_are_left_as_they_are() -> None:
    pixels = every_kind_of_colour(40, 300)
    before = pixels.copy()
    apply_correction(pixels, srgb_lut(), correction(ROOT, slope(300, 40)))
    assert np.array_equal(pixels, before)
    assert pixels.flags.writeable


def test_out_may_be_the_photo_itself_to_save_a_frame() -> None:
    pixels = every_kind_of_colour(40, 300)
    fit = correction(ROOT, slope(300, 40))
    expected = apply_correction(pixels, srgb_lut(), fit)
    got = apply_correction(pixels, srgb_lut(), fit, out=pixels)
    assert got is pixels
    assert np.array_equal(got, expected)


def test_a_quarter_copy_is_corrected_by_the_light_at_the_middle_of_each_block() -> None:
    fit = correction(PLAIN, slope(400, 80))
    whole = np.full((80, 400, 3), (40, 120, 130), np.uint8)
    small = apply_correction(whole[::4, ::4].copy(), srgb_lut(), fit, orientation=6, reduced_by=4)
    full = apply_correction(whole, srgb_lut(), fit, orientation=6)
    middle = full[1::4, 1::4].astype(int) + full[2::4, 2::4]
    assert np.abs(small - middle / 2).max() <= 1


@pytest.mark.parametrize("matrix", [ROOT, PLAIN], ids=["root", "plain"])
@pytest.mark.parametrize("n_codes", [256, 65_536])
def test_sixteen_bits_are_within_two_steps_of_the_reference(
    matrix: np.ndarray, n_codes: int
) -> None:
    pixels = every_kind_of_colour(60, 517, n_codes)
    lut = srgb_lut(n_codes)
    fit = correction(matrix, slope(517, 60))
    got = apply_correction_16(pixels, lut, fit)
    expected = reference(pixels, lut, fit, 1) * 65_535.0
    assert got.dtype == np.uint16
    assert np.abs(got - expected).max() <= 2


def test_a_raw_photo_of_sixteen_bits_is_corrected_to_eight() -> None:
    pixels = every_kind_of_colour(60, 517, 65_536)
    lut = np.repeat(np.linspace(0, 1, 65_536, dtype=np.float32)[:, None], 3, axis=1)
    fit = correction(ROOT, None)
    expected = np.rint(reference(pixels, lut, fit, 1) * 255.0)
    assert np.abs(apply_correction(pixels, lut, fit) - expected).max() <= 1


def test_each_channel_goes_through_its_own_table() -> None:
    lut = srgb_lut()
    lut[:, 2] *= 0.5
    fit = Correction(fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3))
    got = apply_correction(np.full((1, 1, 3), 200, np.uint8), lut, fit)[0, 0]
    assert got[0] == got[1] == 200
    assert got[2] == np.rint(255 * linear_to_srgb(0.5 * srgb_to_linear(200 / 255)))


@pytest.mark.parametrize(
    ("pixels", "lut", "out", "match"),
    [
        (np.zeros((2, 2), np.uint8), srgb_lut(), None, "pixels"),
        (np.zeros((2, 2, 3), np.float32), srgb_lut(), None, "pixels"),
        (np.zeros((2, 2, 3), np.uint8), srgb_lut()[:, 0], None, "linear_lut"),
        (np.full((2, 2, 3), 900, np.uint16), srgb_lut(), None, "cover"),
        (np.zeros((2, 2, 3), np.uint8), srgb_lut(), np.zeros((2, 3, 3), np.uint8), "out"),
        (np.zeros((2, 2, 3), np.uint8), srgb_lut(), np.zeros((2, 2, 3), np.uint16), "out"),
    ],
)
def test_arrays_of_the_wrong_form_are_refused_before_the_compiled_loop(
    pixels: np.ndarray, lut: np.ndarray, out: np.ndarray | None, match: str
) -> None:
    fit = Correction(fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3))
    with pytest.raises(ValueError, match=match):
        apply_correction(pixels, lut, fit, out=out)
