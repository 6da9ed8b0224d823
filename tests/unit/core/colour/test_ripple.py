"""Bright lines that wander over card and reef: seen on the card's ground, stated everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.colour.light import (
    N_RIPPLE_LEAST,
    LightDoubt,
    light_de00_p95,
    log_light_u,
    measure_ripple,
    measure_tint,
)
from dryslate.demo.noise import caustic_pattern

GROUND_MM = np.stack(np.meshgrid(np.linspace(-55, 55, 4), np.linspace(-32, 32, 4)), -1).reshape(
    -1, 2
)


def test_a_straight_slope_is_no_ripple_and_scatter_is() -> None:
    slope = GROUND_MM @ [0.004, -0.002]
    assert measure_ripple(GROUND_MM, slope) == pytest.approx(0.0, abs=1e-12)
    rng = np.random.default_rng(1)
    found = [measure_ripple(GROUND_MM, slope + rng.normal(0, 0.06, 16)) for _ in range(300)]
    assert np.mean(np.square(found)) == pytest.approx(0.06**2, rel=0.1)  # unbiased variance


def test_too_few_pieces_of_ground_tell_no_ripple() -> None:
    few = GROUND_MM[: N_RIPPLE_LEAST - 1]
    assert measure_ripple(few, np.arange(len(few)) ** 2.0) == 0.0


def test_ripple_adds_doubt_at_every_distance_and_to_the_expected_difference() -> None:
    apart = np.linspace(0.0, 5.0, 11)
    still, rippled = log_light_u(apart, 0.06), log_light_u(apart, 0.06, 0.08)
    np.testing.assert_allclose(rippled**2 - still**2, rippled[0] ** 2)
    assert rippled[0] > 0.08
    assert light_de00_p95(0.06, 0.08) > light_de00_p95(0.06)
    doubt = LightDoubt(centre_px=(0.0, 0.0), half_px=10.0, slope=0.06, ripple=0.08)
    assert doubt.log_light_u([[0.0, 0.0]])[0] == pytest.approx(rippled[0])
    assert doubt.as_dict()["ripple"] == 0.08


def test_doubt_holds_a_chip_beside_the_card_in_the_renderers_play_of_light() -> None:
    """The factor was found on another made play of light (tools/light_beyond_card.py)."""
    rng = np.random.default_rng(3)
    px_per_mm, held, held_without = 0.4, [], []
    for _ in range(60):
        pattern = np.log(caustic_pattern(rng, 512, rng.uniform(6, 16), rng.uniform(0.05, 0.3)))

        def light(xy_mm: np.ndarray, pattern: np.ndarray = pattern) -> np.ndarray:
            i = np.round(xy_mm * px_per_mm).astype(int) % 512
            return pattern[i[:, 1], i[:, 0]]

        for _place in range(8):
            centre, angle = rng.uniform(0, 1280, 2), rng.uniform(0, 2 * np.pi)
            on_card = light(centre + GROUND_MM)
            ripple = measure_ripple(GROUND_MM, on_card + rng.normal(0, 0.01, 16))
            chip = centre + 92.0 * np.array([np.cos(angle), np.sin(angle)])
            spots = np.stack(np.meshgrid([-6, 0, 6], [-6, 0, 6]), -1).reshape(-1, 2)
            gap = np.log(np.exp(light(chip + spots)).mean()) - on_card.mean()
            held.append(abs(gap) <= 1.96 * log_light_u([1.02], 0.06, ripple)[0])
            held_without.append(abs(gap) <= 1.96 * log_light_u([1.02], 0.06)[0])
    assert 0.93 <= np.mean(held) <= 0.99
    assert np.mean(held_without) < 0.8


def test_flash_on_daylight_that_changes_colour_over_the_card_is_doubt_of_colour() -> None:
    place = GROUND_MM / 64.0
    linear = 0.25 * np.exp(place[:, :1] * [0.06, 0.0, -0.02])
    tint = measure_tint(place, linear)
    assert tint == pytest.approx((0.06, 0.02))
    assert measure_tint(place[:5], linear[:5]) == (0.0, 0.0)
    doubt = LightDoubt(centre_px=(0.0, 0.0), half_px=10.0, slope=0.06, tint=tint)
    np.testing.assert_allclose(
        doubt.tint_u([[0.0, 0.0], [0.0, 20.0]]), [[0, 0, 0], [0.12, 0, 0.04]]
    )
    assert doubt.as_dict()["tint"] == [pytest.approx(0.06), pytest.approx(0.02)]
