"""What must hold for any survey: order, scale, ends in range, blanks that change nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dryslate.core.survey.cover import estimate_point_cover
from dryslate.core.survey.density import estimate_density
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import fraction_interval, rate_interval
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.sizes import require_sizes
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.zones import estimate_site

AREA = SurveySettings()
UNITS = st.lists(
    st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=12,
)
COUNTS = st.lists(st.integers(0, 500), min_size=1, max_size=12)


def sound(found: Estimate, most: float = np.inf) -> None:
    """An interval holds its estimate and stays in range; one unit has none."""
    assert found.estimate is not None
    ends = [e for e in (found.lo95, found.hi95) if e is not None]
    assert all(0 <= e <= most for e in ends)
    if found.lo95 is not None:
        assert found.lo95 <= found.estimate
    if found.hi95 is not None:
        assert found.hi95 >= found.estimate
    if found.n_units == 1:
        assert not ends
    assert (found.method.value == "none") == (not ends)


@given(UNITS)
@example([(0, 11), (1, 1)])  # one large empty unit and one small full one
@example([(1, 1), (0, 200), (0, 200)])
def test_cover_and_prevalence_state_sound_intervals(units) -> None:
    hits, points = zip(*units, strict=True)
    sound(estimate_point_cover(hits, points, AREA), 1)
    sound(estimate_point_cover(hits, points, SurveySettings(weighting="effort")), 1)
    sound(estimate_prevalence(hits, points, AREA), 1)


@given(st.floats(1e-6, 1 - 1e-6), st.floats(1e-6, 1e3), st.integers(2, 40), st.floats(1.0, 1e5))
def test_an_interval_holds_its_estimate_however_large_the_doubt(mean, u, n, counted) -> None:
    for interval in (fraction_interval, rate_interval):
        lo, hi = interval(mean, u, n, counted)
        assert lo <= mean <= hi


@given(COUNTS)
def test_density_states_sound_intervals(counts) -> None:
    sound(estimate_density(counts, [10.0] * len(counts), AREA, edge_rule="centre_inside"))


@given(UNITS, st.randoms())
def test_order_of_units_and_blank_ones_change_nothing(units, random) -> None:
    hits, points = zip(*units, strict=True)
    mixed = [*units, (np.nan, 50)]
    random.shuffle(mixed)
    first = estimate_point_cover(hits, points, AREA)
    second = estimate_point_cover(*zip(*mixed, strict=True), AREA)
    assert second.n_blank == 1
    for name in ("estimate", "u", "lo95", "hi95", "n_units"):
        a, b = getattr(first, name), getattr(second, name)
        assert (a is None) == (b is None)
        assert a is None or b == pytest.approx(a, rel=1e-6, abs=1e-9)


@given(COUNTS, st.sampled_from([0.25, 4.0, 100.0]))
def test_density_goes_with_the_unit_of_area(counts, factor) -> None:
    one = estimate_density(counts, [10.0] * len(counts), AREA, edge_rule=None)
    other = estimate_density(counts, [10.0 * factor] * len(counts), AREA, edge_rule=None)
    for name in ("estimate", "u", "lo95", "hi95"):
        a, b = getattr(one, name), getattr(other, name)
        assert (a is None) == (b is None)
        assert a is None or a == pytest.approx(b * factor, rel=1e-6)


@given(UNITS, st.floats(0.1, 10))
def test_site_of_one_zone_twice_has_its_cover(units, weight) -> None:
    zone = estimate_point_cover(*zip(*units, strict=True), AREA)
    site = estimate_site(
        {"a": zone, "b": zone}, {"a": weight, "b": 1.0}, is_fraction=True, what="cover_frac"
    )
    assert site.estimate == pytest.approx(zone.estimate)
    assert sum(w for _, w in site.weights) == pytest.approx(1)


@given(st.lists(st.lists(st.floats(0.5, 300), max_size=6), min_size=1, max_size=8))
def test_no_colony_is_lost_or_made(units) -> None:
    sizes = require_sizes(units, cut_off_cm=5.0)
    assert len(sizes.size_cm) + sizes.n_below_cut_off == sum(map(len, units))
    assert sizes.unit_sums(np.ones_like(sizes.size_cm)).sum() == len(sizes.size_cm)
