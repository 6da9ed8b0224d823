"""Doubt of a corrected colour: parts, noise by simulation, tables and one-point fits."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.colour.correction import Correction, LightField, correct_linear
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.estimate import N_REST, Observations, predict
from dryslate.core.colour.mismatch import Mismatch, mismatch_of, parse_mismatch_table
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.prior import parse_matrix_prior
from dryslate.core.colour.spaces import (
    lab_jacobian,
    lab_to_linear_srgb,
    linear_srgb_to_lab,
    linear_to_srgb,
)

FIELD = LightField(centre_px=[100, 100], log_per_px=[1e-3, 0], log_lo=-0.2, log_hi=0.2)
ROOT = np.hstack([np.diag([1.6, 0.9, 1.1]), np.full((3, 3), 0.08)])


def made_fit(covariance: np.ndarray | None = None, **changes: object) -> ColourFit:
    correction = Correction(
        fit="root_polynomial_2", tone=(0.1, 0.2), veil=[0.01, 0.02, 0.03], matrix=ROOT, field=FIELD
    )
    values = {
        "usable": True,
        "fit": "root_polynomial_2",
        "correction": correction,
        "gain": np.ones(3),
        "noise_after_gain": np.zeros(3),
        "veil": correction.veil,
        "left_out_de00_median": 1.0,
        "left_out_de00_p95": 3.0,
        "off_card_de00_p95": 5.0,
        "n_patches": 20,
        "covariance": np.zeros((25, 25)) if covariance is None else covariance,
        "mismatch": Mismatch(chroma=np.zeros(1), lab_u=np.zeros((1, 3)), de00_p95=0.0),
        "common_u": np.zeros(3),
    }
    return ColourFit(**(values | changes))


def test_noise_part_agrees_with_simulated_pixels() -> None:
    mean, n_px = np.array([0.15, 0.3, 0.25]), 100
    root = np.array([[0.02, 0, 0], [0.008, 0.015, 0], [0.004, 0.006, 0.02]])
    given = lab_with_doubt(mean, root @ root.T, n_px, made_fit(), np.array([140.0, 90.0]))
    rng = np.random.default_rng(2)
    means = mean + rng.normal(size=(4000, 3)) @ root.T / np.sqrt(n_px)
    labs = linear_srgb_to_lab(
        correct_linear(means, np.tile([140.0, 90.0], (4000, 1)), made_fit().correction)
    )
    np.testing.assert_allclose(given.lab_cov, np.cov(labs.T), rtol=0.12, atol=0.002)
    np.testing.assert_allclose(given.lab_u, given.parts["noise"], rtol=1e-9)


def test_fit_part_agrees_with_simulated_parameters() -> None:
    rng = np.random.default_rng(3)
    root = np.diag([0.01] * 18 + [0.002] * 3 + [0.02] * 2 + [0.0] * 2)
    given = lab_with_doubt(
        np.array([0.15, 0.3, 0.25]),
        np.zeros((3, 3)),
        10,
        made_fit(root**2),
        np.array([150.0, 90.0]),
    )
    labs = []
    for draw in rng.normal(size=(3000, 25)) @ root:
        correction = Correction(
            fit="root_polynomial_2",
            tone=(0.1 + draw[21], 0.2 + draw[22]),
            veil=np.array([0.01, 0.02, 0.03]) + draw[18:21],
            matrix=ROOT + draw[:18].reshape(3, 6),
            field=LightField(centre_px=[100, 100], log_per_px=[1e-3, 0.0], log_lo=-9, log_hi=9),
        )
        labs.append(
            linear_srgb_to_lab(correct_linear([[0.15, 0.3, 0.25]], [[150, 90]], correction))[0]
        )
    np.testing.assert_allclose(given.lab_u, np.std(labs, axis=0), rtol=0.08)


def test_doubt_of_the_gradient_is_the_lights_and_not_counted_twice() -> None:
    """It stands in the table of light beyond the card; the fit's part leaves it out."""
    sure, unsure = (
        lab_with_doubt(
            np.array([0.15, 0.3, 0.25]),
            np.zeros((3, 3)),
            10,
            made_fit(np.diag([1e-4] * 18 + [0.0] * 5 + [slope_var] * 2)),
            np.array([150.0, 90.0]),
        )
        for slope_var in (0.0, 1.0)
    )
    np.testing.assert_allclose(unsure.lab_u, sure.lab_u, rtol=1e-12)


def test_parts_add_in_squares_and_the_interval_follows() -> None:
    fit = made_fit(
        np.eye(25) * 1e-4,
        common_u=np.array([1.0, 2.0, 3.0]),
        mismatch=Mismatch(chroma=np.zeros(1), lab_u=np.array([[1.0, 3.0, 2.0]]), de00_p95=5.0),
    )
    given = lab_with_doubt(np.array([0.2, 0.3, 0.1]), np.eye(3) * 1e-4, 50, fit, np.zeros(2))
    assert set(given.parts) == {"fit", "noise", "card", "light", "clipped", "mismatch"}
    squares = np.sum([np.square(u) for u in given.parts.values()], axis=0)
    np.testing.assert_allclose(given.lab_u**2, squares, rtol=1e-9)
    np.testing.assert_allclose(given.lab_hi95 - given.lab, 1.96 * given.lab_u)
    assert np.all(np.linalg.eigvalsh(given.lab_cov) > 0)


def test_blown_out_channel_widens_the_doubt() -> None:
    near = lab_with_doubt(np.array([0.5, 0.5, 0.98]), np.zeros((3, 3)), 9, made_fit(), np.zeros(2))
    over = lab_with_doubt(np.array([0.5, 0.5, 0.99]), np.zeros((3, 3)), 9, made_fit(), np.zeros(2))
    assert near.parts["clipped"] == (0.0, 0.0, 0.0)
    assert over.lab_u[2] > 5.0  # b*: blue is not known


def test_area_without_pixels_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="n_px"):
        lab_with_doubt(np.ones(3), np.eye(3), 0, made_fit(), np.zeros(2))


def test_mismatch_turns_with_the_hue() -> None:
    term = Mismatch(
        chroma=np.array([0.0, 50.0]), lab_u=np.array([[1, 2, 2], [1, 6, 2]]), de00_p95=5
    )
    along_a, along_b = (
        term.covariance_at(np.array([50, 50, 0])),
        term.covariance_at(np.array([50, 0, 50])),
    )
    np.testing.assert_allclose(np.diag(along_a), [1, 36, 4])
    np.testing.assert_allclose(np.diag(along_b), [1, 4, 36], atol=1e-12)
    assert term.covariance_at(np.array([50, 35, 35]))[1, 2] > 0


ROWS = [
    {
        "fit": "affine", "left_out_de00": str(left), "chroma": str(chroma),
        "lightness_u": str(left),
        "along_u": str(2 * left), "across_u": "1", "de00_p95": str(3 * left),
    }
    for left in (1.0, 4.0)
    for chroma in (0, 40)
]  # fmt: skip


def test_mismatch_is_interpolated_and_grows_beyond_the_last_knot() -> None:
    table = parse_mismatch_table(ROWS)
    between = mismatch_of("affine", 2.0, table, greys_only=False)
    assert between.de00_p95 == pytest.approx(7.5)  # halfway on a logarithmic scale
    beyond = mismatch_of("affine", 8.0, table, greys_only=False)
    assert beyond.de00_p95 == pytest.approx(24.0)
    unknown = mismatch_of("affine", None, table, greys_only=False)
    assert unknown.de00_p95 == pytest.approx(12.0)
    assert mismatch_of("gain_veil", 1.0, table, greys_only=True).de00_p95 == 15.0


@pytest.mark.parametrize("rows", [ROWS[:3], [{**ROWS[0], "chroma": "x"}], [{"fit": "affine"}]])
def test_broken_mismatch_table_is_reported(rows) -> None:
    with pytest.raises(InputError) as caught:
        parse_mismatch_table(rows)
    assert caught.value.slug == "colour-table-unreadable"


def test_broken_prior_table_is_reported() -> None:
    with pytest.raises(InputError) as caught:
        parse_matrix_prior(
            [{"n_terms": "3", "part": "mean", "row": "0", "column": "99", "value": "1"}]
        )
    assert caught.value.slug == "colour-table-unreadable"


def test_correction_of_values_without_places_is_reported() -> None:
    with pytest.raises(InputError) as caught:
        correct_linear(np.ones((3, 3)), np.ones((2, 2)), made_fit().correction)
    assert caught.value.slug == "colour-values-shape"


def test_derivatives_agree_with_small_steps() -> None:
    rng = np.random.default_rng(4)
    seen = Observations(
        encoded=linear_to_srgb(rng.uniform(0.1, 0.8, (5, 3))),
        place=rng.normal(size=(5, 2)),
        reference=np.zeros((5, 3)),
        whitener=np.tile(np.eye(3), (5, 1, 1)),
        gain=np.array([1.5, 1.0, 0.8]),
    )
    for n_terms in (3, 6):
        theta = rng.normal(0, 0.05, (1, 3 * n_terms + N_REST))
        theta[0, : 3 * n_terms] += np.eye(3, n_terms).ravel()
        _, jacobian = predict(theta, seen, n_terms)
        for j in range(theta.shape[1]):
            step = np.zeros_like(theta)
            step[0, j] = 1e-6
            ahead, behind = (
                predict(theta + step, seen, n_terms)[0],
                predict(theta - step, seen, n_terms)[0],
            )
            np.testing.assert_allclose(jacobian[..., j], (ahead - behind) / 2e-6, atol=1e-6)


@pytest.mark.parametrize("linear", [[0.5, 0.2, 0.1], [0.001, 0.002, 0.003]])
def test_lab_derivative_agrees_with_small_steps(linear) -> None:
    steps = np.eye(3) * 1e-7
    ahead = linear_srgb_to_lab(np.array(linear) + steps) - linear_srgb_to_lab(
        np.array(linear) - steps
    )
    np.testing.assert_allclose(lab_jacobian(linear), ahead.T / 2e-7, rtol=1e-4, atol=1e-3)


def test_white_point_makes_its_place_white() -> None:
    seen = np.array([0.2, 0.5, 0.6])
    fit = fit_one_point(seen, "white", np.eye(3) * 1e-6, 200, np.eye(3))
    assert fit.usable
    assert fit.flags == (Flag.ONE_POINT,)
    lab = linear_srgb_to_lab(correct_linear(seen[None], [[0, 0]], fit.correction))[0]
    np.testing.assert_allclose(lab, linear_srgb_to_lab([0.9] * 3), atol=1e-9)
    given = lab_with_doubt(seen, np.eye(3) * 1e-6, 200, fit, np.zeros(2))
    # Lightness of a white taken as 90 % with 10 % of doubt: dL*/dY · 0.09 (CIE 15 by hand).
    expected = 116 / 3 * 0.9 ** (-2 / 3) * 0.09
    assert given.parts["fit"][0] == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(
    ("seen", "noise", "slug"),
    [
        ([0.01, 0.5, 0.6], 1e-3, "colour-no-red-signal"),
        ([0.5, 0.5, 0.02], 1e-3, "colour-no-signal"),
        ([0.05, 0.5, 0.6], 0.05, "colour-no-red-signal"),
        ([0.2, 0.5, 0.6], 0.05, "colour-point-uneven"),
        ([0.3, 0.6, 0.999], 1e-3, "colour-point-clipped"),
        ([0.05, 0.5, 0.55], 1e-3, "colour-red-weak"),
        ([0.5, 0.5, 0.05], 1e-3, "colour-channel-weak"),
    ],
)
def test_poor_point_is_named(seen, noise, slug) -> None:
    fit = fit_one_point(np.array(seen), "white", np.eye(3) * noise**2, 200, np.eye(3))
    assert slug in {problem.slug for problem in fit.problems}
    assert fit.usable == slug.endswith("weak")


def test_uneven_point_in_good_light_is_not_called_weak() -> None:
    """Texture under the point is no lack of light: each channel has a gain of 2 here."""
    fit = fit_one_point(np.full(3, 0.45), "white", np.eye(3) * 0.035**2, 200, np.eye(3))
    assert [(p.slug, p.severity) for p in fit.problems] == [("colour-point-uneven", "warning")]
    assert fit.usable


def test_point_must_be_white_or_grey() -> None:
    with pytest.raises(ValueError, match="white"):
        fit_one_point(np.ones(3) * 0.5, "blue", np.eye(3), 1, np.eye(3))


def test_lab_and_linear_agree_for_a_grey() -> None:
    np.testing.assert_allclose(lab_to_linear_srgb([50, 0, 0]), [0.184187] * 3, atol=1e-4)
