"""How sure colours are away from the card: light that is not known there, and when to refuse."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.problems import has_error
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourSettings, fit_colour
from dryslate.core.colour.light import (
    HOLD_BRIGHT,
    HOLD_DIM,
    N_RIPPLE_LEAST,
    UNSEEN_CURVATURE,
    UNSEEN_SLOPE,
    LightDoubt,
    light_de00_p95,
    log_light_u,
    measure_bend,
)
from dryslate.core.colour.mismatch import Mismatch
from dryslate.core.colour.neutrals import proportional_gain
from dryslate.core.colour.outcome import ColourFit, fit_from_dict, fit_to_dict
from dryslate.core.colour.signal import check_expected
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab
from dryslate.core.measure.colour_area import require_measurable


def fit_with_light(slope: float) -> ColourFit:
    return ColourFit(
        usable=True,
        fit="neutral_gain",
        correction=Correction(
            fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.diag([3.0, 1.2, 1.0])
        ),
        gain=np.array([3.0, 1.2, 1.0]),
        noise_after_gain=np.zeros(3),
        veil=np.zeros(3),
        left_out_de00_median=1.0,
        left_out_de00_p95=3.0,
        off_card_de00_p95=6.0,
        n_patches=9,
        covariance=np.zeros((16, 16)),
        mismatch=Mismatch(chroma=np.zeros(1), lab_u=np.zeros((1, 3)), de00_p95=0.0),
        common_u=np.zeros(3),
        light=LightDoubt(centre_px=(100.0, 200.0), half_px=50.0, slope=slope),
    )


def test_light_is_surest_on_the_card_and_less_sure_the_farther_and_the_steeper() -> None:
    apart = np.linspace(0.0, 9.0, 40)
    gentle, steep = (log_light_u(apart, slope, curvature=0.03) for slope in (0.02, 0.25))
    assert gentle[0] == steep[0] == 0.0
    assert np.all(np.diff(gentle) >= 0)
    assert np.all(np.diff(steep) > 0)
    assert np.all(steep[apart > 0.6] > gentle[apart > 0.6])


def test_light_that_bends_on_the_card_is_less_sure_beyond_it() -> None:
    near = np.linspace(1.0, 3.0, 20)
    straight, bent = (log_light_u(near, 0.12, curvature=c) for c in (0.015, 0.12))
    assert np.all(bent > straight)
    assert light_de00_p95(0.12, 0.0, 0.12) > light_de00_p95(0.12, 0.0, 0.015)


GROUND = np.array([(x, y) for x in (-0.78, -0.3, 0.3, 0.78) for y in (-0.5, 0.0, 0.5)])


def test_bend_of_a_lamp_is_found_and_its_light_beyond_the_card_meant_better() -> None:
    """A point lamp 0.4 m above the middle of a card of 90 mm half diagonal."""
    half, height = 0.090, 0.4

    def log_light(place: np.ndarray) -> np.ndarray:  # cosine over square: 1 / d^3
        return -1.5 * np.log1p((place**2).sum(axis=-1) * (half / height) ** 2)

    rng = np.random.default_rng(4)
    bend, curvature = measure_bend(GROUND, log_light(GROUND) + rng.normal(0, 0.005, 12))
    assert bend == pytest.approx(-1.5 * (half / height) ** 2, rel=0.35)
    assert curvature == pytest.approx(-bend, rel=0.4)
    beyond = np.array([(1.5, 0.0), (0.0, -1.5), (-1.2, 1.2)])
    left = log_light(beyond) - bend * (beyond**2).sum(axis=1)
    assert np.all(np.abs(left) < 0.5 * np.abs(log_light(beyond)))


def test_even_light_has_no_bend_and_few_pieces_tell_of_none() -> None:
    rng = np.random.default_rng(5)
    bend, curvature = measure_bend(GROUND, GROUND @ [0.2, -0.1] + rng.normal(0, 0.003, 12))
    assert abs(bend) < 0.01
    assert curvature < 0.03
    few = N_RIPPLE_LEAST - 1
    assert measure_bend(GROUND[:few], np.zeros(few)) == (0.0, UNSEEN_CURVATURE)


def test_what_a_narrow_card_cannot_tell_counts_as_not_known() -> None:
    strip = GROUND * [1.2, 0.05]
    assert measure_bend(strip, np.zeros(12))[1] > 2.0 * measure_bend(GROUND, np.zeros(12))[1]


def test_inverse_square_lamp_stays_within_two_of_the_stated_doubts() -> None:
    """A point lamp at 0.7 m above the axis, a card of 90 mm half diagonal 0.15 m off it."""
    half, height, centre = 0.090, 0.7, np.array([0.15, 0.0])
    rng = np.random.default_rng(1)

    def log_light(xy: np.ndarray) -> np.ndarray:  # cosine over square: 1 / d^3
        return -1.5 * np.log((xy**2).sum(axis=-1) + height**2)

    slope = -3.0 * centre[0] / (centre @ centre + height**2) * half  # the derivative at the card
    angle, apart = rng.uniform(0, 2 * np.pi, 400), rng.uniform(1.0, 4.0, 400)
    place = apart[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    held = np.clip(place[:, 0] * slope, -HOLD_DIM * abs(slope), HOLD_BRIGHT * abs(slope))
    gap = log_light(centre + half * place) - log_light(centre) - held
    assert np.all(np.abs(gap) < 2.0 * log_light_u(apart, abs(slope)))


def test_doubt_of_the_light_moves_a_colour_along_its_own_line_to_black() -> None:
    fit = fit_with_light(0.12)
    mean, point = np.array([0.05, 0.2, 0.1]), np.array([250.0, 200.0])  # 3 half diagonals away
    given = lab_with_doubt(mean, np.zeros((3, 3)), 1, fit, point)
    u = float(log_light_u([3.0], 0.12)[0])
    linear = mean * [3.0, 1.2, 1.0]
    step = linear_srgb_to_lab(linear * np.exp(0.01 * u)) - linear_srgb_to_lab(linear)
    np.testing.assert_allclose(given.parts["light"], np.abs(step) * 100.0, rtol=0.01)
    assert np.linalg.matrix_rank(given.lab_cov, tol=1e-6) == 1
    on_card = lab_with_doubt(mean, np.zeros((3, 3)), 1, fit, np.array([100.0, 200.0]))
    assert max(on_card.parts["light"]) == 0.0


def test_expected_difference_from_light_agrees_with_drawn_light() -> None:
    rng = np.random.default_rng(2)
    apart = 2.5 * np.sqrt(rng.random(4000))
    factor = np.exp(rng.normal(size=4000) * log_light_u(apart, 0.12))
    lab = np.array([55.0, 15.0, 20.0])
    moved = linear_srgb_to_lab(lab_to_linear_srgb(lab) * factor[:, None])
    drawn = np.quantile(ciede2000(moved, np.broadcast_to(lab, moved.shape)), 0.95)
    assert light_de00_p95(0.12) == pytest.approx(drawn, rel=0.2)


def test_doubt_of_the_light_survives_json() -> None:
    fit = fit_with_light(0.07)
    assert fit_from_dict(fit_to_dict(fit)).light is not None
    np.testing.assert_allclose(
        fit_from_dict(fit_to_dict(fit)).light.log_light_u([[160.0, 200.0]]),  # type: ignore[union-attr]  # just asserted
        fit.light.log_light_u([[160.0, 200.0]]),  # type: ignore[union-attr]  # given above
    )
    older = {k: v for k, v in fit_to_dict(fit).items() if k != "light"}
    assert fit_from_dict(older).light is None
    before = fit_to_dict(fit)
    del before["light"]["curvature"]
    assert fit_from_dict(before).light.curvature == UNSEEN_CURVATURE  # type: ignore[union-attr]  # has one


@pytest.mark.parametrize(
    ("p95", "slugs"),
    [
        (11.9, []),
        (12.1, ["colour-looking-only"]),
        (24.9, ["colour-looking-only"]),
        (25.1, ["colour-too-uncertain"]),
    ],
)
def test_colours_that_may_be_anything_are_refused(p95: float, slugs: list[str]) -> None:
    problems = check_expected(p95)
    assert [p.slug for p in problems] == slugs
    assert has_error(problems) == bool(slugs)
    assert all(f"{p95} CIEDE2000" in p.message for p in problems)


def test_channel_of_zeros_gets_a_huge_gain_and_not_none() -> None:
    gain = proportional_gain(np.array([[0.0, 0.2, 0.3], [0.0, 0.5, 0.7]]), np.full((2, 3), 0.4))
    assert gain[0] > 16.0 * gain[1:].max()


def test_card_that_cannot_show_a_slope_is_less_sure_of_the_light() -> None:
    def fitted(twin_of: dict[int, str]) -> ColourFit:
        levels = (90.0, 90.0, 70.0, 50.0, 50.0, 30.0)
        patches = tuple(
            Patch(
                patch_id=f"g{i}",
                x_mm=20.0 * i,
                y_mm=0.0,
                width_mm=12.0,
                height_mm=12.0,
                role="neutral",
                lab_d65=(level, 0.0, 0.0),
                twin_of=twin_of.get(i, ""),
            )
            for i, level in enumerate(levels)
        )
        card = CardDefinition(
            name="strip",
            title="strip",
            width_mm=120.0,
            height_mm=12.0,
            ground_lab_d65=(57.0, 0.0, 0.0),
            markers=(),
            patches=patches,
        )
        linear = lab_to_linear_srgb(np.array([p.lab_d65 for p in patches])) / [3.0, 1.5, 1.0]
        seen = tuple(
            PatchSample(
                patch_id=p.patch_id,
                role="neutral",
                centre_px=np.array([20.0 * i, 0.0]),
                centre_mm=np.array([20.0 * i, 0.0]),
                mean_linear=mean,
                cov_linear=np.eye(3) * 1e-6,
                n_px=400,
                clipped_frac=0.0,
            )
            for i, (p, mean) in enumerate(zip(patches, linear, strict=True))
        )
        samples = CardSamples(patches=seen, ground=())
        return fit_colour(samples, card, ColourSettings(), np.eye(3))

    with_twins = fitted({0: "g1", 1: "g0", 3: "g4", 4: "g3"})
    without = fitted({})
    assert with_twins.light is not None
    assert without.light is not None
    assert without.light.slope == UNSEEN_SLOPE > with_twins.light.slope
    assert without.off_card_de00_p95 > with_twins.off_card_de00_p95


def test_photo_for_looking_only_is_shown_and_not_measured() -> None:
    kept_back = replace(fit_with_light(0.1), usable=False, problems=tuple(check_expected(14.0)))
    refused = replace(kept_back, problems=tuple(check_expected(40.0)))
    assert kept_back.is_looking_only
    assert kept_back.can_be_shown
    assert not refused.can_be_shown
    assert fit_from_dict(fit_to_dict(kept_back)).is_looking_only
    with pytest.raises(InputError, match="looking only"):
        require_measurable(kept_back)
    with pytest.raises(InputError, match="no colour correction that can be used"):
        require_measurable(refused)
    require_measurable(fit_with_light(0.1))
