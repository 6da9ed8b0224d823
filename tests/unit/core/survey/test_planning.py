"""Plans: what they ask for is what simulated surveys need."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import t as t_of
from scipy.stats import ttest_ind, ttest_rel

from dryslate.base.errors import InputError
from dryslate.core.survey.planning import (
    FEWEST_UNITS,
    Design,
    power_to_see,
    smallest_change,
    tabulate_changes,
    units_for_interval,
    units_to_see,
)
from dryslate.core.survey.planning_shares import (
    best_points_per_photo,
    colonies_for_change,
    photos_for_points,
    points_for_interval,
)
from dryslate.core.survey.spread import (
    Spread,
    spread_of_differences,
    spread_of_units,
    stated_spread,
)


@pytest.mark.parametrize("design", list(Design))
def test_simulated_surveys_see_the_smallest_change_in_four_of_five(design: Design) -> None:
    rng, n, runs = np.random.default_rng(5), 6, 4000
    change = smallest_change(design, n, stated_spread(0.1)).change
    if design is Design.PAIRED:
        first = rng.normal(0.3, 0.2, (runs, n))
        p = ttest_rel(first, first + rng.normal(change, 0.1, (runs, n)), axis=1).pvalue
    else:
        p = ttest_ind(
            rng.normal(0.3, 0.1, (runs, n)), rng.normal(0.3 + change, 0.1, (runs, n)), axis=1
        ).pvalue
    assert np.mean(p < 0.05) == pytest.approx(0.80, abs=0.02)


def test_units_and_smallest_change_are_each_others_inverse() -> None:
    spread = stated_spread(0.08)
    for design in Design:
        plan = units_to_see(design, 0.05, spread)
        assert smallest_change(design, plan.units, spread).change <= 0.05
        assert smallest_change(design, plan.units - 1, spread).change > 0.05
    plan = units_for_interval(0.04, spread)
    tried = (plan.units, plan.units - 1)
    reach = [float(t_of.ppf(0.975, n - 1)) * 0.08 / math.sqrt(n) for n in tried]
    assert reach[0] <= 0.04 < reach[1]


def test_never_under_three_units() -> None:
    known = stated_spread(0.01)
    for plan in (units_for_interval(0.5, known), units_to_see(Design.PAIRED, 0.5, known)):
        assert plan.units == plan.lo95 == plan.hi95 == FEWEST_UNITS
        assert math.isnan(plan.exact)


def test_the_spread_has_its_own_doubt() -> None:
    rng = np.random.default_rng(2)
    ends = np.array([spread_of_units(rng.normal(0, 0.1, 5)).ends() for _ in range(2000)])
    assert np.mean((ends[:, 0] < 0.1) & (ends[:, 1] > 0.1)) == pytest.approx(0.95, abs=0.015)
    loose = units_for_interval(0.05, Spread(sd=0.1, df=4))
    assert loose.lo95 < loose.units < loose.hi95
    assert spread_of_units([1.0, np.nan, 3.0], [5.0]).df == 1


def test_fixed_units_see_less_change_if_they_keep_their_order() -> None:
    random = stated_spread(0.1, 0.02)
    rows = tabulate_changes([3, 5, 10], spread_of_differences(random, 0.8), random)
    assert [row.units for row in rows] == [3, 5, 10]
    assert all(row.fixed.change < row.random.change for row in rows[1:])
    assert rows[0].random.change > rows[1].random.change > rows[2].random.change
    loose = tabulate_changes([3], spread_of_differences(random, 0.0), random)[0]
    assert loose.fixed.change > loose.random.change  # fewer degrees of freedom


def test_power_curve_runs_from_the_level_to_one() -> None:
    curve = power_to_see(Design.PAIRED, 8, np.linspace(0, 1, 21), 0.1)
    assert curve[0] == pytest.approx(0.05)
    assert np.all(np.diff(curve) >= -1e-12)
    assert curve[-1] == pytest.approx(1)


def test_best_points_give_the_smallest_variance_for_the_work() -> None:
    rho, photo, point = 0.1, 4.0, 0.1
    best = best_points_per_photo(rho, photo, point)

    def loss(m: float) -> float:
        return (1 + (m - 1) * rho) / m * (photo + m * point)

    assert loss(best) <= min(loss(m) for m in range(1, 200))
    assert best_points_per_photo(0.9, 1, 10) == 1


@pytest.mark.parametrize(
    "ask",
    [
        lambda: spread_of_units([0.3]),
        lambda: spread_of_units([0.3, 0.3]),
        lambda: stated_spread(0),
        lambda: stated_spread(math.nan),
        lambda: spread_of_differences(stated_spread(1), 1.0),
        lambda: units_to_see(Design.PAIRED, 0, stated_spread(1)),
        lambda: units_to_see(Design.PAIRED, 1, stated_spread(1), 0.01),
        lambda: units_to_see(Design.PAIRED, 1e-6, stated_spread(1)),
        lambda: units_for_interval(-1, stated_spread(1)),
        lambda: smallest_change(Design.PAIRED, 1, stated_spread(1)),
        lambda: tabulate_changes([2], stated_spread(1), stated_spread(1)),
        lambda: colonies_for_change(0.3, 0.3),
        lambda: points_for_interval(0, 0.1),
        lambda: photos_for_points(100, 0, 0.1),
        lambda: best_points_per_photo(0, 1, 1),
    ],
)
def test_no_plan_of_impossible_figures(ask: Callable[[], object]) -> None:
    with pytest.raises(InputError) as caught:
        ask()
    assert caught.value.slug == "plan-impossible"
