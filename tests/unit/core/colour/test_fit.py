"""The fit of a whole card: what it recovers, chooses, refuses and flags."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.correction import correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.fit import ColourSettings, fit_colour, fit_from_dict, fit_to_dict
from dryslate.core.colour.spaces import (
    lab_to_linear_srgb,
    linear_srgb_to_lab,
    linear_to_srgb,
    srgb_to_linear,
)

GREYS = (96, 82, 66, 51, 51, 38, 28, 20, 20, 96)
TWINS = {"g0": "g9", "g9": "g0", "g3": "g4", "g4": "g3", "g7": "g8", "g8": "g7"}
COLOURS = (
    (45, 15, 20), (62, 20, 35), (70, 5, 50), (50, -20, 25), (40, -15, 5), (60, -25, -5),
    (50, -5, -25), (40, 15, -30), (50, 35, 10), (45, 40, 25), (60, 30, -10), (75, 15, 25),
)  # fmt: skip
RNG = np.random.default_rng(5)
PLACES = RNG.uniform([100, 100], [900, 600], size=(len(GREYS) + len(COLOURS), 2))
PLACES[[0, 9, 3, 4, 7, 8]] = [
    [110, 110],
    [890, 590],
    [110, 590],
    [890, 110],
    [300, 120],
    [700, 580],
]


def made_card(status: str = "measured", medium: str = "water") -> CardDefinition:
    def patch(name: str, role: str, lab: tuple[float, float, float]) -> Patch:
        return Patch(
            patch_id=name, x_mm=0, y_mm=0, width_mm=12, height_mm=12, role=role, lab_d65=lab,
            twin_of=TWINS.get(name, ""), lab_u=(0.5, 0.5, 0.5),
        )  # fmt: skip

    greys = [patch(f"g{i}", "neutral", (level, 0.0, 0.0)) for i, level in enumerate(GREYS)]
    colours = [patch(f"c{i}", "colour", lab) for i, lab in enumerate(COLOURS)]
    return CardDefinition(
        name="made", title="made", width_mm=150, height_mm=100, ground_lab_d65=(57.0, 0.0, 0.0),
        markers=(), patches=(*greys, *colours), status=status, medium=medium,
    )  # fmt: skip


def made_samples(
    card: CardDefinition,
    *,
    gain=(2.0, 1.0, 1.3),
    veil=(0.0, 0.0, 0.0),
    slope=(0.0, 0.0),
    noise=0.002,
    bend=None,
    mixing=None,
) -> CardSamples:
    """Samples of a card under coloured light, with veil, gradient, mixing and a tone curve."""

    def sample(name: str, role: str, lab: object, xy: np.ndarray) -> PatchSample:
        light = np.exp((xy - [500, 350]) @ np.array(slope))
        linear = lab_to_linear_srgb(lab) * light
        linear = (mixing @ linear if mixing is not None else linear) / np.array(gain) + veil
        if bend is not None:
            linear = srgb_to_linear(bend(linear_to_srgb(linear)))
        return PatchSample(
            patch_id=name, role=role, centre_px=xy, centre_mm=xy, mean_linear=linear,
            cov_linear=np.eye(3) * noise**2, n_px=400, clipped_frac=0.0,
        )  # fmt: skip

    patches = [
        sample(p.patch_id, p.role, p.lab_d65, xy)
        for p, xy in zip(card.patches, PLACES, strict=True)
    ]
    spots = np.random.default_rng(8).uniform([90, 90], [910, 610], size=(10, 2))
    ground = [sample(f"ground:{i}", "ground", (57, 0, 0), xy) for i, xy in enumerate(spots)]
    return CardSamples(patches=tuple(patches), ground=tuple(ground))


def left_after(fit, card: CardDefinition, samples: CardSamples) -> np.ndarray:
    """CIEDE2000 of every patch after the correction."""
    seen = np.array([s.mean_linear for s in samples.patches])
    xy = np.array([s.centre_px for s in samples.patches])
    out = linear_srgb_to_lab(correct_linear(seen, xy, fit.correction))
    return ciede2000(out, np.array([p.lab_d65 for p in card.patches]))


def slugs(fit) -> set[str]:
    return {problem.slug for problem in fit.problems}


def test_plain_cast_is_undone_with_the_simplest_fit() -> None:
    card = made_card()
    samples = made_samples(card)
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert fit.usable
    assert fit.fit == "neutral_gain"
    np.testing.assert_allclose(fit.gain, [2.0, 1.0, 1.3], rtol=0.01)
    assert left_after(fit, card, samples).max() < 0.3


def test_veil_of_the_water_is_found_and_taken_off() -> None:
    card = made_card()
    samples = made_samples(card, gain=(4.0, 1.3, 1.5), veil=(0.005, 0.03, 0.05))
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    np.testing.assert_allclose(fit.veil, [0.005, 0.03, 0.05], atol=0.004)
    assert np.median(left_after(fit, card, samples)) < 0.5


def test_light_gradient_is_told_from_a_tone_curve() -> None:
    card = made_card()
    samples = made_samples(
        card,
        gain=(2.0, 1.2, 1.5),
        slope=(5e-4, -3e-4),
        bend=lambda y: y + 0.2 * y * (1 - y) * (2 * y - 1),
    )
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert fit.correction.field is not None
    np.testing.assert_allclose(fit.correction.field.log_per_px, [5e-4, -3e-4], atol=6e-5)
    assert fit.correction.tone[1] > 0.08
    assert np.median(left_after(fit, card, samples)) < 1.0


def test_mixed_channels_need_a_matrix_and_get_one() -> None:
    card = made_card()
    mixing = np.array([[0.7, 0.25, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]])
    samples = made_samples(card, mixing=mixing)
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert fit.fit in ("affine", "root_polynomial_2")
    assert np.median(left_after(fit, card, samples)) < 1.0
    assert fit.candidates["neutral_gain"][0] > 2 * fit.candidates[fit.fit][0]


def test_nominal_card_gives_greys_only_unless_it_is_trusted() -> None:
    card = made_card("nominal")
    mixing = np.array([[0.7, 0.25, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]])
    samples = made_samples(card, mixing=mixing)
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert fit.fit in ("neutral_gain", "gain_veil")
    assert Flag.NOMINAL_VALUES in fit.flags
    assert fit.n_patches == len(GREYS)
    trusted = fit_colour(samples, card, ColourSettings(nominal_as_measured=True), np.eye(3))
    assert trusted.fit in ("affine", "root_polynomial_2")
    assert Flag.NOMINAL_VALUES not in trusted.flags


def test_raw_photos_get_no_tone_curve() -> None:
    card = made_card()
    fit = fit_colour(made_samples(card), card, ColourSettings(is_encoded=False), np.eye(3))
    assert fit.correction.tone == (0.0, 0.0)


def test_air_values_under_water_widen_the_doubt_and_are_flagged() -> None:
    dry, wet = made_card(medium="air"), made_card()
    in_air = fit_colour(made_samples(dry), dry, ColourSettings(), np.eye(3))
    in_water = fit_colour(made_samples(wet), wet, ColourSettings(), np.eye(3))
    on_deck = fit_colour(made_samples(dry), dry, ColourSettings(under_water=False), np.eye(3))
    assert Flag.AIR_VALUES in in_air.flags
    assert Flag.AIR_VALUES not in on_deck.flags
    assert np.all(in_air.common_u > in_water.common_u)
    assert in_air.off_card_de00_p95 > in_water.off_card_de00_p95


def test_wide_gamut_file_is_honoured() -> None:
    card = made_card()
    to_srgb = np.array([[1.3, -0.25, -0.05], [-0.05, 1.1, -0.05], [-0.02, -0.08, 1.1]])
    plain = made_samples(card, gain=(1.0, 1.0, 1.0))
    from_srgb = np.linalg.inv(to_srgb)
    turned = tuple(
        replace(s, mean_linear=from_srgb @ s.mean_linear / [2, 1, 1.5]) for s in plain.patches
    )
    fit = fit_colour(CardSamples(patches=turned, ground=()), card, ColourSettings(), to_srgb)
    assert left_after(fit, card, CardSamples(patches=turned, ground=())).max() < 0.6
    np.testing.assert_allclose(fit.gain, [2, 1, 1.5], rtol=0.02)


@pytest.mark.parametrize(
    ("changes", "slug"),
    [
        ({"gain": (20.0, 1.0, 1.2)}, "colour-no-red-signal"),
        ({"gain": (1.0, 1.0, 1.0), "noise": 0.15}, "colour-no-red-signal"),
        ({"gain": (1.0, 1.2, 24.0)}, "colour-no-signal"),
    ],
)
def test_channel_without_signal_is_refused_with_the_number(changes, slug) -> None:
    card = made_card()
    fit = fit_colour(made_samples(card, **changes), card, ColourSettings(), np.eye(3))
    assert not fit.usable
    assert slug in slugs(fit)
    problem = next(p for p in fit.problems if p.slug == slug)
    assert any(ch.isdigit() for ch in problem.message)


@pytest.mark.parametrize(
    ("gain", "slug"),
    [((11.0, 1.0, 1.2), "colour-red-weak"), ((1.0, 1.0, 11.0), "colour-channel-weak")],
)
def test_weak_channel_is_a_warning(gain, slug) -> None:
    card = made_card()
    fit = fit_colour(made_samples(card, gain=gain), card, ColourSettings(), np.eye(3))
    assert fit.usable
    assert slug in slugs(fit)
    strong = fit_colour(made_samples(card, gain=(2.0, 1.0, 1.2)), card, ColourSettings(), np.eye(3))
    assert np.all(fit.mismatch.lab_u > strong.mismatch.lab_u)
    assert (Flag.RED_WEAK in fit.flags) == (slug == "colour-red-weak")


def test_too_few_greys_are_refused() -> None:
    card = made_card()
    samples = made_samples(card)
    kept = tuple(
        replace(s, dropped="clipped") if s.patch_id in {"g1", "g2", "g5", "g6", "g7", "g8"} else s
        for s in samples.patches
    )
    fit = fit_colour(replace(samples, patches=kept[:9]), card, ColourSettings(), np.eye(3))
    assert not fit.usable
    assert slugs(fit) == {"colour-too-few-patches"}
    assert len(fit.dropped) == 6


def _with(samples: CardSamples, name: str, factor: float) -> CardSamples:
    return replace(
        samples,
        patches=tuple(
            replace(s, mean_linear=s.mean_linear * factor) if s.patch_id == name else s
            for s in samples.patches
        ),
    )


def test_greys_out_of_order_are_refused() -> None:
    card = made_card()
    samples = _with(made_samples(card), "g2", 0.3)
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert not fit.usable
    assert "colour-ramp-not-monotone" in slugs(fit)


def test_shaded_twin_is_refused_and_named() -> None:
    card = made_card()
    samples = _with(made_samples(card), "g4", 0.6)
    fit = fit_colour(samples, card, ColourSettings(), np.eye(3))
    assert not fit.usable
    problem = next(p for p in fit.problems if p.slug == "colour-twins-differ")
    assert "g4" in problem.place


def test_one_dirty_colour_does_not_steer_the_fit() -> None:
    card = made_card()
    mixing = np.array([[0.7, 0.25, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]])
    clean = made_samples(card, mixing=mixing)
    dirty = _with(clean, "c3", 0.4)
    fit = fit_colour(dirty, card, ColourSettings(), np.eye(3))
    rest = np.array([s.patch_id != "c3" for s in clean.patches])
    assert np.median(left_after(fit, card, clean)[rest]) < 1.5


def test_fit_survives_json_without_loss() -> None:
    card = made_card()
    fit = fit_colour(made_samples(card, slope=(4e-4, 0.0)), card, ColourSettings(), np.eye(3))
    again = fit_from_dict(json.loads(json.dumps(fit_to_dict(fit))))
    assert fit_to_dict(again) == fit_to_dict(fit)
    np.testing.assert_array_equal(again.covariance, fit.covariance)


@pytest.mark.parametrize("spoil", ["correction", "mismatch", "covariance"])
def test_damaged_stored_fit_is_reported(spoil) -> None:
    card = made_card()
    values = fit_to_dict(fit_colour(made_samples(card), card, ColourSettings(), np.eye(3)))
    del values[spoil]
    with pytest.raises(InputError) as caught:
        fit_from_dict(values)
    assert caught.value.slug == "colour-fit-unreadable"
