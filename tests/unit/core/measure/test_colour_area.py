"""Which pixels an outline holds, what is made of them, and which areas are refused."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.mismatch import Mismatch
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb
from dryslate.core.measure.colour_area import measure_colour, sample_area
from dryslate.core.measure.polygon import find_inside, polygon_area

LUT = np.repeat(np.linspace(0.0, 1.0, 256)[:, None], 3, axis=1)
SQUARE = [(9.5, 9.5), (29.5, 9.5), (29.5, 29.5), (9.5, 29.5)]


def plain(code: tuple[int, int, int] = (90, 120, 60)) -> np.ndarray:
    return np.full((40, 50, 3), code, np.uint8)


def made_fit(**changes: object) -> ColourFit:
    """A fit that changes nothing and doubts nothing."""
    values = {
        "usable": True,
        "fit": "neutral_gain",
        "correction": Correction(
            fit="neutral_gain", tone=(0.0, 0.0), veil=[0, 0, 0], matrix=np.eye(3)
        ),
        "gain": np.ones(3),
        "noise_after_gain": np.zeros(3),
        "veil": np.zeros(3),
        "left_out_de00_median": 1.0,
        "left_out_de00_p95": 2.0,
        "off_card_de00_p95": 3.0,
        "n_patches": 6,
        "covariance": np.zeros((16, 16)),
        "mismatch": Mismatch(chroma=np.zeros(1), lab_u=np.zeros((1, 3)), de00_p95=0.0),
        "common_u": np.zeros(3),
    }
    return ColourFit(**(values | changes))


def full_mask(xy: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """The mask in the frame of the whole picture."""
    (left, top), inside = find_inside(xy, size)
    mask = np.zeros(size[::-1], bool)
    mask[top : top + inside.shape[0], left : left + inside.shape[1]] = inside
    return mask


def test_pixels_inside_agree_with_another_program_s_point_in_polygon() -> None:
    rng = np.random.default_rng(4)
    for _ in range(12):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
        xy = np.array([30.0, 22.0]) + rng.uniform(4, 26, (9, 1)) * np.column_stack(
            [np.cos(angle), np.sin(angle)]
        )
        mask = full_mask(xy, (60, 44))
        side = np.array(
            [
                [cv2.pointPolygonTest(xy.astype(np.float32), (x, y), True) for x in range(60)]
                for y in range(44)
            ]
        )
        clear = np.abs(side) > 1e-3  # centres on an edge are a matter of convention
        assert (mask == (side > 0))[clear].all()


def test_polygons_that_share_an_edge_share_no_pixel_and_leave_none_out() -> None:
    # Halves of a square cut along its diagonal, corners and diagonal on pixel centres.
    upper = full_mask(np.array([(5, 5), (25, 5), (25, 25)]), (40, 40))
    lower = full_mask(np.array([(5, 5), (25, 25), (5, 25)]), (40, 40))
    assert not (upper & lower).any()
    assert (upper | lower).sum() == polygon_area([(5, 5), (25, 5), (25, 25), (5, 25)])


def test_mask_is_cut_off_at_the_frame_and_empty_beyond_it() -> None:
    half_out = np.array([(-10.5, 2.5), (4.5, 2.5), (4.5, 8.5), (-10.5, 8.5)])
    assert full_mask(half_out, (20, 20)).sum() == 5 * 6
    assert find_inside(half_out - [40, 0], (20, 20))[1].size == 0


def test_mean_and_covariance_are_those_of_the_pixels_inside() -> None:
    rng = np.random.default_rng(5)
    img = plain((250, 5, 250))
    inner = np.clip(rng.normal((100, 140, 70), (2, 3, 2), (20, 20, 3)), 80, 160).round()
    img[10:30, 10:30] = inner
    area = sample_area(img, LUT, SQUARE)
    linear = inner.reshape(-1, 3) / 255.0
    assert area.n_px == pytest.approx(400, abs=2)  # 4 robust standard deviations
    assert area.mean_linear == pytest.approx(linear.mean(axis=0), abs=1e-3)
    assert area.cov_linear == pytest.approx(np.cov(linear, rowvar=False), rel=0.15, abs=2e-6)
    assert area.centre_px.tolist() == [19.5, 19.5]
    assert area.clipped_frac == 0.0


def test_specks_are_left_out_of_the_mean() -> None:
    img = plain()
    img[10:14, 10:20] = (200, 180, 220)  # a tenth of the area: a shell
    area = sample_area(img, LUT, SQUARE)
    assert area.left_out_frac == pytest.approx(0.1)
    assert area.mean_linear == pytest.approx(np.array([90, 120, 60]) / 255.0)
    assert area.cov_linear == pytest.approx(np.zeros((3, 3)), abs=1e-12)


def test_sixteen_bit_photos_and_turned_views_are_read_alike() -> None:
    eight = sample_area(plain(), LUT, SQUARE)
    lut = np.repeat(np.linspace(0.0, 1.0, 65536)[:, None], 3, axis=1)
    deep = np.rot90(np.rot90(plain().astype(np.uint16) * 257, 1), -1)
    assert sample_area(deep, lut, SQUARE).mean_linear == pytest.approx(eight.mean_linear)


@pytest.mark.parametrize("code", [(90, 255, 60), (0, 0, 1)])
def test_area_that_is_blown_out_or_black_is_refused(code) -> None:
    img = plain()
    img[10:11, 10:20] = code  # 10 of 400: 2.5 %
    assert sample_area(img, LUT, SQUARE).clipped_frac == pytest.approx(0.025)
    img[10:11, 10:25] = code  # 15 of 400: 3.75 %
    with pytest.raises(InputError) as caught:
        sample_area(img, LUT, SQUARE)
    assert caught.value.slug == "measure-colour-clipped"


def test_area_of_few_pixels_is_refused() -> None:
    corners = np.array([(0, 0), (10, 0), (10, 10), (0, 10)]) + 9.5
    assert sample_area(plain(), LUT, corners).n_px == 100
    with pytest.raises(InputError) as caught:
        sample_area(plain(), LUT, corners - [[0, 0], [1, 0], [1, 0], [0, 0]])
    assert caught.value.slug == "measure-colour-few-pixels"


@pytest.mark.parametrize(
    ("outline", "slug"),
    [
        (SQUARE[:2], "measure-too-few-points"),
        ([(9, 9), (29, 29), (29, 9), (9, 29)], "outline-crosses-itself"),
        ([(9, 9), (60, 9), (29, 29)], "measure-point-outside-photo"),
        ([(9, 9), (float("nan"), 9), (29, 29)], "measure-point-not-finite"),
    ],
)
def test_outline_that_makes_no_sense_is_refused(outline, slug) -> None:
    with pytest.raises(InputError) as caught:
        sample_area(plain(), LUT, outline)
    assert caught.value.slug == slug


def test_last_point_may_repeat_the_first() -> None:
    assert sample_area(plain(), LUT, [*SQUARE, SQUARE[0]]).n_px == 400


def test_known_colour_in_true_pixels_comes_back_with_its_noise_as_doubt() -> None:
    true = np.array([53.0, 12.0, -8.0])
    rng = np.random.default_rng(6)
    linear = lab_to_linear_srgb(true) + rng.normal(0, 0.01, (40, 50, 3))
    codes = np.rint(65535 * linear_to_srgb(np.clip(linear, 0, 1))).astype(np.uint16)
    steps = np.arange(65536) / 65535
    curve = np.where(steps <= 0.04045, steps / 12.92, ((steps + 0.055) / 1.055) ** 2.4)
    told = measure_colour(codes, np.repeat(curve[:, None], 3, axis=1), SQUARE, made_fit())
    lab, u = np.array(told.values["lab"]), np.array(told.values["lab_u"])
    assert told.kind == "colour"
    assert (np.abs(lab - true) < 4 * u).all()
    assert (u > 0).all()
    assert (u < 0.5).all()
    assert told.budget["noise"] == pytest.approx(u.tolist())
    assert (np.array(told.values["lab_lo95"]) < lab).all()
    assert (lab < np.array(told.values["lab_hi95"])).all()
    assert told.values["n_px"] == pytest.approx(400, abs=2)


def test_area_tells_its_doubt_as_an_unknown_thing_and_as_a_flat_grey() -> None:
    term = Mismatch(
        chroma=np.zeros(1),
        lab_u=np.array([[1.0, 3.0, 3.0]]),
        de00_p95=5.0,
        flat_u=np.array([0.2, 0.3, 0.4]),
    )
    told = measure_colour(plain(), LUT, SQUARE, replace(made_fit(), mismatch=term))
    assert told.values["lab_u"] == pytest.approx([1.0, 3.0, 3.0], abs=0.01)
    assert told.values["lab_u_if_flat_grey"] == pytest.approx([0.2, 0.3, 0.4], abs=0.01)


def test_fit_that_cannot_be_used_gives_no_colour() -> None:
    with pytest.raises(InputError) as caught:
        measure_colour(plain(), LUT, SQUARE, replace(made_fit(), usable=False))
    assert caught.value.slug == "measure-colour-no-fit"
