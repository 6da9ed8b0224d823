"""A fit that is lent to another photo: exact in exposure, honest in its wider doubt."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.colour.correction import Correction, LightField, correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.loan import gain_doubt_de00_p95, lend_fit, water_log_gain_cov
from dryslate.core.colour.mismatch import mismatch_of
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab

ROOT = np.array(
    [
        [2.9, -0.3, 0.1, -0.5, 0.2, 0.1],
        [-0.2, 1.3, 0.1, 0.2, -0.1, 0.1],
        [0.1, -0.4, 1.2, 0.1, 0.3, -0.2],
    ]
)


def root_fit() -> ColourFit:
    rng = np.random.default_rng(3)
    half = rng.normal(0, 1e-3, (23, 23))
    field = LightField(
        centre_px=np.zeros(2), log_per_px=np.array([1e-4, 0.0]), log_lo=-0.1, log_hi=0.1
    )
    return ColourFit(
        usable=True,
        fit="root_polynomial_2",
        correction=Correction(
            fit="root_polynomial_2",
            tone=(0.0, 0.0),
            veil=np.array([0.01, 0.02, 0.03]),
            matrix=ROOT,
            field=field,
        ),
        gain=np.ones(3),
        noise_after_gain=np.ones(3),
        veil=np.array([0.01, 0.02, 0.03]),
        left_out_de00_median=None,
        left_out_de00_p95=None,
        off_card_de00_p95=6.0,
        n_patches=20,
        covariance=half @ half.T,
        mismatch=mismatch_of("root_polynomial_2", 2.0, None, greys_only=False),
        common_u=np.zeros(3),
    )


def test_root_polynomial_is_exact_under_a_change_of_exposure() -> None:
    lent = lend_fit(root_fit(), 0.5, np.zeros((3, 3)))
    light = np.array([[0.2, 0.3, 0.4], [0.05, 0.5, 0.1]])
    plain = Correction(
        fit="root_polynomial_2",
        tone=(0.0, 0.0),
        veil=np.array([0.01, 0.02, 0.03]),
        matrix=ROOT,
    )
    at = np.zeros((2, 2))
    assert np.allclose(
        correct_linear(0.5 * light, at, lent.correction), correct_linear(light, at, plain)
    )


def test_a_light_field_is_not_lent_since_it_is_about_the_other_card() -> None:
    assert lend_fit(root_fit(), 1.0, np.zeros((3, 3))).correction.field is None


def test_matrix_covariance_matches_draws_of_the_gains() -> None:
    """Monte Carlo after JCGM 101:2008: the spread of M diag(g) itself, to first order in g."""
    cov = np.diag([0.02, 0.01, 0.015]) ** 2
    fit = root_fit()
    lent = lend_fit(fit, 1.0, cov)
    rng = np.random.default_rng(11)
    g = np.exp(rng.multivariate_normal(np.zeros(3), cov, 20_000))
    terms = np.column_stack(
        [g, np.sqrt(g[:, 0] * g[:, 1]), np.sqrt(g[:, 1] * g[:, 2]), np.sqrt(g[:, 0] * g[:, 2])]
    )
    drawn = (ROOT[None, :, :] * terms[:, None, :]).reshape(len(g), -1)
    added = lent.covariance[:18, :18] - fit.covariance[:18, :18]
    scale = np.sqrt(np.outer(np.diag(np.cov(drawn.T)), np.diag(np.cov(drawn.T))))
    assert np.abs(np.cov(drawn.T) - added).max() < 0.05 * scale.max()


def test_gain_doubt_matches_random_draws() -> None:
    cov = water_log_gain_cov(0.5, 0.1)
    rng = np.random.default_rng(5)
    hues = np.deg2rad(np.arange(8) * 45.0)
    around = [(0.0, 0.0), *zip(25 * np.cos(hues), 25 * np.sin(hues), strict=True)]
    lab = np.array([(L, a, b) for L in (30.0, 50.0, 70.0) for a, b in around])
    g = np.exp(rng.multivariate_normal(np.zeros(3), cov, 3000))
    moved = linear_srgb_to_lab(lab_to_linear_srgb(lab)[None] * g[:, None, :])
    drawn = np.quantile(ciede2000(moved, np.broadcast_to(lab, moved.shape)), 0.95)
    assert gain_doubt_de00_p95(cov) == pytest.approx(drawn, rel=0.1)


def test_red_errs_most_for_an_unknown_stretch_of_water() -> None:
    u = np.sqrt(np.diag(water_log_gain_cov(1.0)))
    assert u[0] > 3 * u[1] > 3 * u[2]


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("nan")])
def test_an_impossible_exposure_is_refused(ratio: float) -> None:
    with pytest.raises(ValueError, match="exposure_ratio"):
        lend_fit(root_fit(), ratio, np.zeros((3, 3)))
