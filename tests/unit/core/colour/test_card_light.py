"""Light on a card's ground becomes a field: even on the card, falling off to all sides beyond."""

from __future__ import annotations

import numpy as np

from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.card_light import light_of_card
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.light import UNSEEN_CURVATURE
from dryslate.core.colour.preparation import HeldCard

HALF_PX, CENTRE_PX = 200.0, np.array([700.0, 500.0])
PLACES = np.array([(x, y) for x in (-0.8, -0.3, 0.3, 0.8) for y in (-0.55, 0.0, 0.55)])
LAMP_BEND, SLOPE = -0.08, np.array([0.1, -0.04])
GREY = np.array([0.30, 0.25, 0.20])
EVEN = Correction(
    fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.diag(0.25 / GREY)
)


def lamp(places: np.ndarray) -> np.ndarray:
    return places @ SLOPE + LAMP_BEND * (places**2).sum(axis=1)


def lit_card(n_pieces: int = len(PLACES)) -> tuple[HeldCard, CardSamples]:
    pieces = [
        PatchSample(
            patch_id=f"ground:{k}",
            role="ground",
            centre_px=CENTRE_PX + HALF_PX * place,
            centre_mm=place,
            mean_linear=GREY * np.exp(log_light),
            cov_linear=np.eye(3) * 1e-8,
            n_px=400,
            clipped_frac=0.0,
        )
        for k, (place, log_light) in enumerate(zip(PLACES, lamp(PLACES), strict=True))
    ]
    card = HeldCard(
        patches=[],
        samples=[],
        ground=pieces[:n_pieces],
        n_grey=0,
        centre_px=CENTRE_PX,
        half_px=HALF_PX,
    )
    return card, CardSamples(patches=(), ground=tuple(pieces))


def test_field_of_a_lamp_makes_the_ground_even_and_is_zero_in_the_mean_over_it() -> None:
    card, samples = lit_card()
    lit, light = light_of_card(card, samples, EVEN, SLOPE, has_slope=True)
    assert lit.field is not None
    where = CENTRE_PX + HALF_PX * PLACES
    seen = np.array([s.mean_linear for s in card.ground])
    flat = np.log(correct_linear(seen, where, lit)[:, 1])
    uneven = np.log(correct_linear(seen, where, EVEN)[:, 1])
    assert np.ptp(flat) < 0.25 * np.ptp(uneven - PLACES @ SLOPE)  # better than a slope alone
    np.testing.assert_allclose(lit.field.log_light(where).mean(), 0.0, atol=1e-9)
    np.testing.assert_allclose(light.slope, np.linalg.norm(SLOPE))
    assert light.curvature > 0.5 * -LAMP_BEND


def test_field_of_a_lamp_bends_down_beyond_the_card() -> None:
    lit, _ = light_of_card(*lit_card(), EVEN, SLOPE, has_slope=True)
    assert lit.field is not None
    away = np.array([(1.2, 0.0), (0.0, 1.2), (-1.2, 0.0), (0.0, -1.2)])
    told = lit.field.log_light(CENTRE_PX + HALF_PX * away)
    shift = lamp(PLACES).mean()  # the field is zero in the mean over the card
    assert np.all(np.abs(told - (lamp(away) - shift)) < 0.35 * np.abs(LAMP_BEND) * 1.2**2)


def test_few_pieces_of_ground_leave_the_slope_alone_and_its_curvature_unknown() -> None:
    card, samples = lit_card(n_pieces=5)
    lit, light = light_of_card(card, samples, EVEN, SLOPE, has_slope=True)
    assert lit.field is not None
    assert (lit.field.bend_per_px2, light.curvature) == (0.0, UNSEEN_CURVATURE)
