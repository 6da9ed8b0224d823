"""Greys, weights and the prior: what each says on its own."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.colour.correction import expand_terms, is_monotone_tone
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.neutrals import GreyFit, GreyRamp, fit_greys, proportional_gain
from dryslate.core.colour.prior import (
    MatrixPrior,
    gain_belief,
    gain_features,
    matrix_belief,
    parse_matrix_prior,
)
from dryslate.core.colour.signal import check_expected
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb, srgb_to_linear
from dryslate.core.colour.weights import decode_slope, difference_jacobian, whiten

LEVELS = np.array([0.9, 0.55, 0.35, 0.19, 0.19, 0.1, 0.05, 0.03, 0.9, 0.03])
RNG = np.random.default_rng(11)
PLACE = RNG.uniform(-0.7, 0.7, (22, 2))
PLACE[[0, 8]], PLACE[[3, 4]] = [[-0.7, -0.6], [0.7, 0.6]], [[0.7, -0.6], [-0.7, 0.6]]


def ramp_of(slope: tuple[float, float], bend: float, veil: float = 0.0) -> GreyRamp:
    """Ten greys and twelve pieces of ground under a slope, a veil and a contrast curve."""
    truth = np.concatenate([LEVELS, np.full(12, 0.25)])[:, None] * np.ones(3)
    light = np.exp(PLACE @ np.array(slope))[:, None]
    y = linear_to_srgb((truth * light + veil) * np.array([0.3, 0.8, 0.7]))
    seen = srgb_to_linear(y + bend * y * (1 - y) * (2 * y - 1))
    lab = np.column_stack([116 * np.cbrt(truth[:, 0]) - 16, np.zeros((22, 2))])
    none = np.zeros((22, 3, 3))
    reference, whitener = whiten(lab, np.ones((22, 3)), seen, none, np.diag([3.3, 1.25, 1.4]))
    return GreyRamp(
        mean_linear=seen, place=PLACE, target=reference, whitener=whitener, n_grey=len(LEVELS)
    )


def test_slope_of_the_light_is_not_taken_for_a_tone_curve() -> None:
    found = fit_greys(ramp_of((0.2, -0.1), 0.0), is_encoded=True)
    np.testing.assert_allclose(found.slope, [0.2, -0.1], atol=0.02)
    np.testing.assert_allclose(found.tone, (0.0, 0.0), atol=0.06)


def test_tone_curve_is_not_taken_for_a_slope_or_a_veil() -> None:
    found = fit_greys(ramp_of((0.0, 0.0), 0.25), is_encoded=True)
    np.testing.assert_allclose(found.slope, [0.0, 0.0], atol=0.01)
    assert found.tone[1] > 0.12
    assert np.all(np.abs(found.veil * found.gain) < 0.02)


def test_veil_is_told_from_both() -> None:
    found = fit_greys(ramp_of((0.1, 0.1), 0.1, veil=0.05), is_encoded=True)
    np.testing.assert_allclose(found.veil * found.gain, [0.05] * 3, atol=0.02)
    np.testing.assert_allclose(found.gain, 1 / np.array([0.3, 0.8, 0.7]), rtol=0.12)


def test_one_shaded_piece_of_ground_does_not_turn_the_light() -> None:
    ramp = ramp_of((0.0, 0.0), 0.0)
    seen = ramp.mean_linear.copy()
    seen[15] *= 0.4
    shaded = GreyRamp(
        mean_linear=seen, place=PLACE, target=ramp.target, whitener=ramp.whitener, n_grey=10
    )
    assert np.all(np.abs(fit_greys(shaded, is_encoded=True).slope) < 0.06)


def test_veiled_dark_grey_steers_the_first_gain_less_than_a_mean_of_ratios() -> None:
    target = np.array([[0.9] * 3, [0.2] * 3, [0.03] * 3])
    seen = target / 2.0
    seen[2] += 0.02  # veil
    mean_of_ratios = (target / seen).mean(axis=0)
    off = np.abs(proportional_gain(seen, target) - 2.0)
    assert np.all(off < 0.5 * np.abs(mean_of_ratios - 2.0))


def even_greys(gain: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> GreyFit:
    return GreyFit(
        gain=np.array(gain), veil=np.zeros(3), tone=(0.0, 0.0), slope=np.zeros(2),
        slope_cov=np.eye(2) * 1e-4, corrected=np.zeros((0, 3)), has_slope=True,
    )  # fmt: skip


def test_gain_fit_may_change_by_a_factor_per_channel_and_no_more() -> None:
    spread = np.sqrt(
        np.diag(
            np.linalg.inv(
                gain_belief(even_greys(), np.eye(3), has_veil=False, has_tone=False).precision
            )
        )
    )
    np.testing.assert_allclose(spread[[0, 4, 8]], 1.0, rtol=1e-6)
    assert spread[[1, 2, 3, 5, 6, 7]].max() < 1e-4
    assert spread[9:14].max() < 1e-4


def test_prior_follows_the_gains_and_its_table() -> None:
    rows = [
        {"n_terms": "3", "part": "mean", "row": "0", "column": str(3 * i + i), "value": "1"}
        for i in range(3)
    ]
    rows.append({"n_terms": "3", "part": "mean", "row": "1", "column": "1", "value": "-0.2"})
    rows += [
        {"n_terms": "3", "part": "covariance", "row": str(i), "column": str(i), "value": "0.04"}
        for i in range(9)
    ]
    prior = parse_matrix_prior(rows)
    assert isinstance(prior, MatrixPrior)
    belief = matrix_belief(3, even_greys((np.e, 1.0, 1.0)), np.eye(3), prior, has_tone=True)
    assert belief.mean[1] == pytest.approx(-0.2)
    assert belief.precision[1, 1] == pytest.approx(25.0)


def test_gain_features_are_clipped_where_nothing_was_simulated() -> None:
    np.testing.assert_allclose(gain_features(np.array([1e9, 1.0, 1e-9]))[1:3], [3.0, -1.2])


def test_whitened_residual_is_about_the_colour_difference() -> None:
    lab = np.array([[50.0, 20.0, 10.0], [70.0, -10.0, 30.0], [30.0, 5.0, -25.0]])
    moved = lab + np.array([[0.3, 0.1, -0.2], [0.2, -0.3, 0.2], [-0.2, 0.2, 0.1]])
    step = lab_to_linear_srgb(moved) - lab_to_linear_srgb(lab)
    size = np.linalg.norm((difference_jacobian(lab) @ step[..., None])[..., 0], axis=1)
    # T of the hue and the blue rotation are left out on purpose, hence a quarter of slack.
    np.testing.assert_allclose(size, ciede2000(lab, moved), rtol=0.25)


def test_noisy_patch_counts_less() -> None:
    lab, one = np.array([[50.0, 0, 0], [50.0, 0, 0]]), np.ones((2, 3))
    noise = np.stack([np.eye(3) * 1e-8, np.eye(3) * 1e-3])
    _, whitener = whiten(lab, one, one * 0.18, noise, np.eye(3))
    assert np.linalg.norm(whitener[1]) < 0.5 * np.linalg.norm(whitener[0])


def test_slope_of_the_transfer_curve_agrees_with_small_steps() -> None:
    y = np.array([0.01, 0.2, 0.5, 0.9])
    steps = (srgb_to_linear(y + 1e-6) - srgb_to_linear(y - 1e-6)) / 2e-6
    np.testing.assert_allclose(decode_slope(y), steps, rtol=1e-6)


def test_only_three_or_six_terms_are_known() -> None:
    with pytest.raises(ValueError, match="3 or 6"):
        expand_terms([1.0, 1.0, 1.0], 4)


@pytest.mark.parametrize(("tone", "rises"), [((0.5, 0.0), True), ((0.0, 1.9), False)])
def test_curves_that_turn_back_are_known(tone, rises) -> None:
    assert is_monotone_tone(tone) == rises


def test_colours_that_may_be_anything_are_refused_with_the_number() -> None:
    assert check_expected(11.9) == []
    (problem,) = check_expected(31.4)
    assert problem.slug == "colour-too-uncertain"
    assert problem.severity == "error"
    assert "31" in problem.message
