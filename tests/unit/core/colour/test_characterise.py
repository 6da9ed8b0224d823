"""Values of a card: readings joined, photos joined, and the step from air to water."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.characterise import (
    INSTRUMENT_U,
    PatchValue,
    adaptation_u,
    correct_sample,
    join_photos,
    join_readings,
)
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab
from dryslate.core.colour.tray import WhitePiece, fit_water_values

GAIN = np.array([0.5, 0.8, 0.7])  # of the made camera: file value for a reflectance of one
PLAIN = Correction(fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.diag(1 / GAIN))


def made_card(status="measured") -> CardDefinition:
    rows = [
        ("white_1", "neutral", (93.0, 0.0, 1.0), "white_2"),
        ("white_2", "neutral", (93.0, 0.0, 1.0), "white_1"),
        ("mid", "neutral", (52.0, 0.3, -0.2), ""),
        ("black", "neutral", (24.0, 0.0, 0.0), ""),
        ("rust", "colour", (42.0, 28.0, 30.0), ""),
        ("moss", "colour", (45.0, -18.0, 22.0), ""),
    ]
    patches = tuple(
        Patch(
            patch_id=name,
            x_mm=5.0 + 20 * k,
            y_mm=5.0,
            width_mm=12.0,
            height_mm=12.0,
            role=role,
            lab_d65=lab,
            lab_u=(0.3, 0.3, 0.3),
            twin_of=twin,
        )
        for k, (name, role, lab, twin) in enumerate(rows)
    )
    return CardDefinition(
        name="made",
        title="made",
        width_mm=130,
        height_mm=30,
        ground_lab_d65=(57, 0, 0),
        markers=(),
        patches=patches,
        status=status,
    )


def samples_of(card, linear, noise=0.0, n_px=400) -> CardSamples:
    """Samples as the made camera sees given reflectances (linear sRGB) per patch."""
    return CardSamples(
        patches=tuple(
            PatchSample(
                patch_id=p.patch_id,
                role=p.role,
                centre_px=np.array([p.x_mm * 4, p.y_mm * 4]),
                centre_mm=np.array([p.x_mm + 6, p.y_mm + 6]),
                mean_linear=np.asarray(v) * GAIN,
                cov_linear=noise**2 * np.eye(3),
                n_px=n_px,
                clipped_frac=0.0,
            )
            for p, v in zip(card.patches, linear, strict=True)
        ),
        ground=(),
    )


def white(value, light=1.0) -> WhitePiece:
    return WhitePiece(
        mean_linear=np.full(3, value) * GAIN * light, mean_u=np.full(3, 1e-4), xy_px=(5.0, 5.0)
    )


def test_repeated_readings_share_their_spread_but_not_their_instrument() -> None:
    labs = {"a": [(50.0, 0, 0), (50.4, 0, 0)], "b": [(60.0, 1, 1)]}
    labs_u = {"a": [None, None], "b": [(0.2, 0.1, 0.1)]}
    a, b = join_readings(labs, labs_u, {})
    pooled = 0.4 / np.sqrt(2)  # two readings 0.4 apart
    assert a.lab_d65[0] == pytest.approx(50.2)
    assert a.lab_u[0] == pytest.approx(np.hypot(pooled / np.sqrt(2), INSTRUMENT_U), abs=1e-3)
    assert b.lab_u[0] == pytest.approx(np.hypot(pooled, 0.2), abs=1e-3)


def test_one_reading_keeps_at_least_the_instrument_s_doubt() -> None:
    (value,) = join_readings({"a": [(50.0, 0, 0)]}, {"a": [None]}, {"a": (0.3, 0.4, 0.0)})
    assert value.lab_u == pytest.approx(
        (np.hypot(INSTRUMENT_U, 0.3), np.hypot(INSTRUMENT_U, 0.4), INSTRUMENT_U), abs=1e-3
    )


def test_adaptation_costs_little_for_greys_and_more_for_strong_colours() -> None:
    grey, strong = adaptation_u([50, 1, 0]), adaptation_u([50, 60, 30])
    assert grey.max() < 0.3
    assert (strong > grey).all()


def test_photos_average_their_noise_but_not_the_doubt_they_share() -> None:
    one = [
        PatchValue(patch_id="a", lab_d65=(50.0 + d, 0, 0), lab_u=(0.6, 0.6, 0.6), n=1)
        for d in (-0.5, 0.5)
    ]
    (value,) = join_photos([[one[0]], [one[1]]])
    spread = np.sqrt(0.5)
    assert value.lab_d65[0] == pytest.approx(50.0)
    assert value.lab_u[0] == pytest.approx(np.hypot(0.6, spread / np.sqrt(2)), abs=1e-3)
    assert value.n == 2


def test_doubt_of_one_photo_s_own_fit_shrinks_with_more_photos() -> None:
    def seen(lightness):
        return PatchValue(
            patch_id="a",
            lab_d65=(lightness, 0, 0),
            lab_u=(np.hypot(3.0, 0.4),) * 3,
            n=1,
            own_u=(3.0,) * 3,
        )

    (value,) = join_photos([[seen(50.0)], [seen(50.2)], [seen(50.1)], [seen(49.9)]])
    assert value.lab_u[0] == pytest.approx(np.hypot(3.0 / 2, 0.4), abs=1e-3)
    (single,) = join_photos([[seen(50.0)]])
    assert single.lab_u[0] == pytest.approx(np.hypot(3.0, 0.4), abs=1e-3)


def test_water_values_are_found_back_whatever_the_light_on_the_filled_tray() -> None:
    card = made_card()
    air = np.array([lab_to_linear_srgb(p.lab_d65) for p in card.patches])
    # In water the gloss of 2 % goes, and the rest darkens by a tenth.
    water = np.maximum((air - 0.02) * 0.9, 0.001)
    for light in (0.6, 1.0, 1.3):
        found = fit_water_values(
            card,
            (samples_of(card, air), samples_of(card, water * light)),
            (white(0.9), white(0.9, light)),
            PLAIN,
            0.02,
        )
        expected = linear_srgb_to_lab(water)
        for value, lab in zip(found, expected, strict=True):
            assert value.lab_d65 == pytest.approx(tuple(lab), abs=0.02)


def test_water_doubt_covers_the_truth_in_made_trays() -> None:
    card = made_card()
    rng = np.random.default_rng(11)
    inside = []
    for _ in range(300):
        truth_air = np.array(
            [lab_to_linear_srgb(rng.normal(p.lab_d65, p.lab_u)) for p in card.patches]
        )
        truth_water = np.maximum((truth_air - 0.02) * 0.9, 0.001)
        ptfe = rng.normal(1.0, 0.02)
        light = rng.normal(1.0, 0.01, len(card.patches))[:, None]
        dry = truth_air + rng.normal(0, 0.01 / 20, truth_air.shape)
        wet = truth_water * light + rng.normal(0, 0.01 / 20, truth_air.shape)
        found = fit_water_values(
            card,
            (samples_of(card, dry, 0.01), samples_of(card, wet, 0.01)),
            (white(0.9), white(0.9 * ptfe)),
            PLAIN,
            0.02,
        )
        for value, lab in zip(found, linear_srgb_to_lab(truth_water), strict=True):
            z = (np.array(value.lab_d65) - lab) / np.array(value.lab_u)
            inside += list(np.abs(z) < 1.96)
    assert 0.92 <= np.mean(inside) <= 1.0


def test_uneven_light_between_twins_widens_the_doubt() -> None:
    card = made_card()
    air = np.array([lab_to_linear_srgb(p.lab_d65) for p in card.patches])
    even, uneven = air * 0.9, air * 0.9
    uneven[0] *= 1.15
    whites = (white(0.9), white(0.9))
    doubts = [
        fit_water_values(card, (samples_of(card, air), samples_of(card, wet)), whites, PLAIN, 0.02)
        for wet in (even, uneven)
    ]
    assert doubts[1][2].lab_u[0] > 1.5 * doubts[0][2].lab_u[0]


def test_nominal_or_wet_values_cannot_be_carried_to_water() -> None:
    air = np.array([lab_to_linear_srgb(p.lab_d65) for p in made_card().patches])
    for card in (made_card("nominal"), replace(made_card(), medium="water")):
        with pytest.raises(InputError) as caught:
            fit_water_values(
                card,
                (samples_of(card, air), samples_of(card, air)),
                (white(0.9), white(0.9)),
                PLAIN,
                0.02,
            )
        assert caught.value.slug == "card-not-characterised"


def test_overexposed_white_is_refused() -> None:
    card = made_card()
    air = np.array([lab_to_linear_srgb(p.lab_d65) for p in card.patches])
    with pytest.raises(InputError) as caught:
        fit_water_values(
            card,
            (samples_of(card, air), samples_of(card, air)),
            (white(0.9), white(1.3)),
            PLAIN,
            0.02,
        )
    assert caught.value.slug == "ptfe-clipped"


def test_noise_is_carried_through_the_correction() -> None:
    mean, cov = correct_sample(np.full(3, 0.2), np.diag([1e-6, 4e-6, 9e-6]), (0, 0), PLAIN)
    assert mean == pytest.approx(0.2 / GAIN)
    assert np.sqrt(np.diag(cov)) == pytest.approx(np.array([1e-3, 2e-3, 3e-3]) / GAIN, rel=1e-6)
