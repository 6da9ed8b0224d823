"""Photos and points against units: parts of the spread come back from simulated surveys."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.survey.allocation import photo_components, share_out
from dryslate.core.survey.planning import units_for_interval
from dryslate.core.survey.spread import (
    spread_found_in,
    spread_of_pairs,
    spread_of_units,
    spread_within,
)


def survey(rng: np.random.Generator, units: int, photos: int, points: int):
    """Cover near 0.35 that differs between units (SD 0.08) and between photos of one (SD 0.10)."""
    found = []
    for _ in range(units):
        centre = rng.normal(0.35, 0.08)
        shares = np.clip(rng.normal(centre, 0.10, photos), 0.001, 0.999)
        found.append([(int(rng.binomial(points, s)), points) for s in shares])
    return found


def test_parts_of_the_spread_come_back_and_tell_of_other_numbers_of_photos_and_points() -> None:
    rng = np.random.default_rng(7)
    found = photo_components(*(survey(rng, 10, 6, 20) for _ in range(60)))
    assert math.sqrt(found.units) == pytest.approx(0.08, rel=0.05)
    assert math.sqrt(found.photos) == pytest.approx(0.10, rel=0.05)
    assert found.points == pytest.approx(0.35 * 0.65 - 0.08**2 - 0.10**2, rel=0.02)
    other = [[np.mean([x / k for x, k in u]) for u in survey(rng, 200, 2, 50)] for _ in range(5)]
    assert found.spread(2, 50).sd == pytest.approx(spread_of_units(*other).sd, rel=0.05)
    assert found.spread(6, 20).df == pytest.approx(60 * 9, rel=0.02)


def test_spread_of_the_past_allocation_is_the_spread_of_the_past_units() -> None:
    units = survey(np.random.default_rng(3), 6, 4, 25)
    found = photo_components(units)
    own = spread_of_units([np.mean([x / k for x, k in u]) for u in units])
    assert found.spread(4, 25).sd == pytest.approx(own.sd)
    assert found.spread(4, 25).df == pytest.approx(own.df)


def test_work_of_an_allocation_is_units_photos_and_points() -> None:
    found = photo_components(survey(np.random.default_rng(3), 6, 4, 25))
    (one,) = share_out(found, 4, 25, lambda s: units_for_interval(0.05, s), (10.0, 2.0, 0.1))
    assert one.work_min == pytest.approx(one.plan.units * (10 + 4 * (2 + 25 * 0.1)))
    assert one.all_photos == one.plan.units * 4


@pytest.mark.parametrize(
    "visits",
    [
        [[[(3, 10), (4, 10)]]],  # one unit
        [[[(3, 10)], [(5, 10)]]],  # one photo each
        [[[(0, 10), (0, 10)], [(0, 10), (0, 10)]]],  # nothing found
    ],
)
def test_photos_that_tell_nothing_are_refused(visits) -> None:
    with pytest.raises(InputError, match="plan-impossible"):
        photo_components(*visits)


def test_spread_with_its_own_interval_finds_the_units_it_came_from() -> None:
    lo, hi = spread_found_in(0.2, 9).ends()
    assert spread_within(0.2, lo, hi).df == pytest.approx(8)
    with pytest.raises(InputError, match="plan-impossible"):
        spread_within(0.2, 0.25, 0.3)


def test_spread_of_pairs_over_three_visits_is_that_of_any_two() -> None:
    rng = np.random.default_rng(11)
    plots = rng.normal(0.4, 0.15, (4000, 1)) + rng.normal([0, -0.1, -0.2], 0.05, (4000, 3))
    assert spread_of_pairs(plots).sd == pytest.approx(0.05 * math.sqrt(2), rel=0.02)
    two = plots[:12, :2]
    assert spread_of_pairs(two).sd == pytest.approx(float(np.std(two[:, 1] - two[:, 0], ddof=1)))
