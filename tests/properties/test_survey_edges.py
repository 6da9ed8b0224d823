"""Figures at the edge of what a survey can be: ends hold their estimate and stay in range."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import betabinom

from dryslate.base.errors import InputError
from dryslate.core.health.heat import heating_weeks
from dryslate.core.identify.hit_rate import wilson_interval
from dryslate.core.survey.agreement import Coefficient, read_ratings
from dryslate.core.survey.agreement_many import agree
from dryslate.core.survey.change import paired_change, unpaired_change
from dryslate.core.survey.change_interval import Scale
from dryslate.core.survey.change_rates import rates_of_change, trend_of_visits
from dryslate.core.survey.cover import estimate_cover, estimate_line_cover, estimate_point_cover
from dryslate.core.survey.density import estimate_density, variance_to_mean
from dryslate.core.survey.dissimilarity import Dissimilarity, measure_dissimilarity
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Method
from dryslate.core.survey.mixed import VisitedUnits, fit_visits
from dryslate.core.survey.named_amounts import amount_interval
from dryslate.core.survey.observer_sizes import Form, intraclass_correlation
from dryslate.core.survey.outside_table import (
    correct_by_table,
    correct_prevalence_by_table,
    prepare_table,
)
from dryslate.core.survey.overdispersion import fit_beta_binomial, measure_clustering
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.proportions import compare_shares
from dryslate.core.survey.size_comparison import compare_sizes
from dryslate.core.survey.size_frequency import describe_sizes, geometric_mean
from dryslate.core.survey.size_quantiles import SHARES, estimate_quantile
from dryslate.core.survey.sizes import require_sizes
from dryslate.core.survey.spread import spread_of_pairs, spread_of_units
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.zones import estimate_site

AREA = SurveySettings()
NEAR = st.one_of(
    st.floats(0, 1),
    st.sampled_from([0.0, 1.0, 1e-9, 1 - 1e-9, 1 - 2**-53, 0.5, 0.5 + 1e-12, 1 + 1e-10]),
)
SIZES = st.lists(
    st.lists(st.one_of(st.sampled_from([7.0, 8.0]), st.floats(0.5, 900)), max_size=5),
    min_size=1,
    max_size=12,
)
TENTHS = st.lists(st.integers(0, 10).map(lambda k: k / 10), min_size=2, max_size=5)


def drawn(method: Method | None = None) -> SurveySettings:
    return SurveySettings(method=method, rng=np.random.default_rng(1))


def sound(found: Estimate, least: float = 0.0, most: float = math.inf) -> None:
    """Each end is a number on its side of the estimate; two ends have a doubt between them."""
    numbers = (found.estimate, found.u, found.lo95, found.hi95, found.df)
    assert all(one is None or math.isfinite(one) for one in numbers), found
    if found.estimate is None:
        return
    assert least <= found.estimate <= most, found
    assert found.lo95 is None or least <= found.lo95 <= found.estimate, found
    assert found.hi95 is None or found.estimate <= found.hi95 <= most, found
    if found.lo95 is not None and found.hi95 is not None:
        assert found.lo95 < found.hi95, found
        assert found.u is not None, found
        assert found.u > 0, found


@given(st.lists(st.tuples(NEAR, st.floats(0.5, 100)), min_size=1, max_size=8))
@example([(1.0000000001, 20.0), (1.0, 20.0)])
@example([(1 - 2**-53, 1.0), (1 - 2**-53, 33.0)])
def test_a_tape_full_but_for_rounding_is_full(lines) -> None:
    over, tapes = [share * tape for share, tape in lines], [tape for _, tape in lines]
    for found in (
        estimate_line_cover(over, tapes, AREA),
        estimate_line_cover(over, tapes, SurveySettings(weighting="effort")),
        estimate_cover([share for share, _ in lines], AREA),
    ):
        sound(found, most=1.0)
        if all(share >= 1 - 1e-10 for share, _ in lines):
            assert found.estimate == 1.0
            assert found.lo95 is None or found.hi95 is None


@given(TENTHS, TENTHS, st.sampled_from([100.0, math.nan, math.inf]), st.sampled_from(Scale))
@example([0.0, 0.0], [0.0, 1.0], math.nan, Scale.FRACTION)
@example([0.0, 0.0], [0.0, 0.5], 30.0, Scale.PREVALENCE)
def test_a_change_of_shares_is_never_more_than_all(first, second, counted, scale) -> None:
    if scale in (Scale.RATE, Scale.PREVALENCE) and math.isinf(counted):
        counted = 30.0
    found = unpaired_change("x", first, second, scale=scale, counted=(counted, counted))
    most = 1.0 if scale in (Scale.FRACTION, Scale.PREVALENCE) else math.inf
    sound(found.change, -most, most)


@given(st.data(), st.sampled_from(Scale))
def test_visits_of_one_mean_are_alike_either_way_round(data, scale) -> None:
    first = data.draw(st.lists(st.integers(0, 10), min_size=3, max_size=6))
    second = data.draw(st.permutations(first))
    a, b = np.array(first) / 10, np.array(second) / 10
    one = paired_change("x", a, b, scale=scale, counted=(50.0, 50.0)).change
    other = paired_change("x", b, a, scale=scale, counted=(50.0, 50.0)).change
    if one.lo95 is not None:
        assert one.lo95 == pytest.approx(-other.hi95, rel=1e-9)
        assert one.hi95 == pytest.approx(-other.lo95, rel=1e-9)


def test_a_great_rise_within_a_day_has_no_annual_rate() -> None:
    found = rates_of_change(1.0, 10.0, 1 / 365.25)
    assert found.annual_rate is None
    assert found.relative == pytest.approx(9.0)


def test_visits_alike_but_for_rounding_make_no_trend() -> None:
    found = trend_of_visits("x", [2020, 2021, 2022, 2023], [0.3, 0.1 + 0.2, 0.3, 0.3])
    assert found.p is None
    assert found.change.lo95 is None


@settings(deadline=None)
@given(SIZES, st.sampled_from(SHARES))
@example([[7.0], [7.0], [7.0, 8.0]], 0.5)
def test_sizes_state_sound_intervals(units, share) -> None:
    sizes = require_sizes(units)
    if not len(sizes.size_cm):
        return
    sound(estimate_quantile(sizes, share, AREA))
    sound(geometric_mean(sizes, AREA))
    sound(compare_sizes(sizes, require_sizes([[7.0], [8.0], [7.0, 7.0]]), AREA).ratio)


def test_sizes_all_alike_have_no_spread_though_logarithms_round() -> None:
    weights = [[0.1, 0.3], [0.7], [1 / 3]]
    sizes = require_sizes([[7.3, 7.3], [7.3], [7.3]], weights)
    assert geometric_mean(sizes, AREA).lo95 is None
    assert compare_sizes(sizes, sizes, AREA).ratio.lo95 is None
    nearly = require_sizes([[1.0], [1.0 + 2**-52]])  # about 1 cm logarithms are next to 0
    assert geometric_mean(nearly, AREA).lo95 is None
    assert compare_sizes(nearly, nearly, AREA).ratio.lo95 is None


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "units",
    [
        [[7.0]] * 14 + [[9.0]],
        [[7.0]] * 15,
        [[]] * 13 + [[7.0], [9.0]],
        [[7.0, 8.0]] * 14 + [[900.0] * 50],
        [[7.0, 8.0, 90.0]] * 14 + [list(np.geomspace(1, 900, 300))],
    ],
)
def test_odd_sizes_drawn_again_state_sound_figures(units) -> None:
    found = describe_sizes(require_sizes(units), drawn())
    for one in found.figures:
        sound(one, least=-math.inf)
    for size_class in found.classes:
        sound(size_class.share, most=1.0)
        assert not (size_class.count == 0 and size_class.share.hi95 == 0.0)


def test_a_class_without_a_colony_has_the_limit_of_none_found() -> None:
    found = describe_sizes(require_sizes([[7.0, 8.0]] * 15), drawn())
    none, every = found.classes[0].share, found.classes[1].share
    assert (none.estimate, none.lo95, none.method) == (0.0, None, Method.LIMIT_FRACTION)
    # 30 colonies of 15 units, correlation 0.1: 1 - 0.05^(1/(30/1.1))
    assert none.hi95 == pytest.approx(1 - 0.05 ** (1.1 / 30))
    assert every.lo95 == pytest.approx(1 - none.hi95)
    assert every.hi95 is None


def test_shape_rests_on_units_that_hold_colonies() -> None:
    found = describe_sizes(require_sizes([[]] * 10 + [[5.0, 9.0], [7.0, 30.0]] * 5), drawn())
    assert {one.n_units for one in found.figures if one.what.startswith("log_")} == {10}
    assert all(one.lo95 is None for one in found.figures if one.what.startswith("log_"))


@pytest.mark.filterwarnings("error")
def test_units_all_alike_have_no_bootstrap() -> None:
    asked = drawn(Method.BCA)
    for found in (
        estimate_point_cover([5] * 15, [100] * 15, asked),
        estimate_prevalence([5] * 15, [100] * 15, asked),
        estimate_density([5] * 15, [10.0] * 15, asked, edge_rule="centre_inside"),
    ):
        sound(found)
        assert "no_spread" in found.flags
        assert found.hi95 is not None
        assert found.hi95 > found.estimate


@pytest.mark.parametrize(
    ("hits", "points"),
    [
        ([1] + [0] * 7, [10] + [10**6] * 7),
        ([1] + [0] * 7, [1] + [200] * 7),
        ([9, 0, 0, 1, 30, 0, 0, 2], [10, 500, 500, 500, 500, 500, 500, 500]),
    ],
)
def test_a_beta_binomial_fit_finds_the_best_mean_however_unlike_units_are(hits, points) -> None:
    """Best of a search by scipy over its own beta-binomial distribution."""

    def lack(at: np.ndarray) -> float:
        mean, rho = 1 / (1 + np.exp(-at))
        both = 1 / min(rho, 0.95) - 1  # as far as the fit goes
        return float(-betabinom.logpmf(hits, points, mean * both, (1 - mean) * both).sum())

    tries = [
        minimize(lack, [m, r], method="Nelder-Mead", options={"fatol": 1e-10, "maxiter": 2000})
        for m in (-6.0, -2.0)
        for r in (-3.0, 0.0)
    ]
    best = min(tries, key=lambda one: one.fun)
    fit = fit_beta_binomial(hits, points)
    assert fit.mean == pytest.approx(1 / (1 + math.exp(-best.x[0])), rel=1e-2)
    assert fit.lo95 < fit.mean < fit.hi95


@given(st.lists(st.lists(st.integers(0, 9), min_size=3, max_size=3), min_size=2, max_size=5))
@example([[0, 0, 6], [0, 3, 3]])
@example([[0, 0, 0, 0, 6], [0, 0, 0, 3, 3]])
@example([[0, 0, 0, 0, 6], [0, 0, 0, 3, 2]])
def test_an_intraclass_correlation_lies_within_its_interval(table) -> None:
    for form in Form:
        found = intraclass_correlation(table, form)
        if found.lo95 is not None and found.hi95 is not None:
            assert found.lo95 - 1e-9 <= found.value <= found.hi95 + 1e-9 <= 1 + 2e-9


def test_observers_more_apart_than_chance_have_an_interval_that_holds_it() -> None:
    rows = [["a", "a", "a", "a"], ["a", None, None, "b"], ["b", None, None, "a"]]
    found = agree(read_ratings(rows), Coefficient.CONGER)
    assert found.value < -1.0
    assert found.lo95 <= found.value <= found.hi95


@given(st.floats(0, 1), st.floats(0.5, 1e12))
@example(0.0, 0.75)
@example(1.0, 50.0)
def test_a_score_interval_holds_its_share(rate, n) -> None:
    lo, hi = wilson_interval(rate, n)
    assert 0 <= lo <= rate <= hi <= 1


@pytest.mark.filterwarnings("error")
def test_what_says_nothing_is_no_number() -> None:
    assert math.isnan(variance_to_mean([]))
    assert math.isnan(variance_to_mean([0, 0]))
    assert math.isnan(measure_clustering([1, 0, 1], [1, 1, 1]).rho)
    assert not len(heating_weeks([], 29.0))
    with pytest.raises(ValueError, match="two units"):
        measure_clustering([1, 0], [2, 0])


@pytest.mark.parametrize("factor", [1.0, 1e-10, 1e6])
def test_no_plan_is_made_of_rounding_and_any_unit_of_measure_will_do(factor) -> None:
    with pytest.raises(InputError, match="No plan"):
        spread_of_units(np.array([0.1 + 0.2, 0.3, 0.3]) * factor)
    with pytest.raises(InputError, match="No plan"):
        spread_of_pairs(np.array([[0.1, 0.2], [0.3, 0.4]]) * factor)
    found = spread_of_pairs(np.array([[0.1, 0.2], [0.3, 0.5]]) * factor)
    assert found.sd == pytest.approx(math.sqrt(0.005) * factor)


def test_units_of_the_smallest_amounts_have_a_chord() -> None:
    far = measure_dissimilarity([[0.0, 1.0], [0.0, 1e-292], [1e-300, 0.0]], Dissimilarity.CHORD)
    assert far[0, 1] == pytest.approx(0.0)
    assert far[0, 2] == pytest.approx(math.sqrt(2))


def test_the_order_of_rows_does_not_move_a_drawn_interval() -> None:
    rows = [
        (site, visit, unit, 0.1 * unit + (0.2 + (unit**2 + site) % 5 / 30) * (visit == "b"))
        for site in range(2)
        for unit in range(4)
        for visit in "ab"
    ]

    def change(rows: list[tuple[int, str, int, float]]) -> Estimate:
        sites, visits, units, values = zip(*rows, strict=True)
        fit = fit_visits(VisitedUnits(values=values, sites=sites, visits=visits, units=units))
        return fit.contrast("x", fit.weights_of_change("a", "b")).change

    one, other = change(rows), change(rows[::-1])
    assert one.method is Method.BOOTSTRAP_MIXED
    assert (one.lo95, one.hi95) == pytest.approx((other.lo95, other.hi95), rel=1e-6)


def test_shares_as_far_apart_as_can_be_stay_in_range() -> None:
    assert compare_shares(0, 1, 25, 25)[1] == -1.0


@given(st.floats(1e-9, 0.9), st.floats(1e-6, 0.5), st.floats(2.0, 40.0), st.booleans())
def test_a_corrected_amount_next_to_nothing_has_nearly_the_interval_of_nothing(
    value, u, df, is_share
) -> None:
    lo, hi = amount_interval(value, u, 8, df, is_share=is_share)
    assert 0 <= lo <= value <= hi <= (1.0 if is_share else math.inf)
    _, of_nothing = amount_interval(0.0, u, 8, df, is_share=is_share)
    _, near = amount_interval(1e-12, u, 8, df, is_share=is_share)
    assert near == pytest.approx(min(of_nothing, 1.0 if is_share else math.inf), rel=1e-4)


def test_draws_hold_the_corrected_figure_of_a_class_that_nobody_read() -> None:
    table = prepare_table([[1.0, 0.0], [0.0, 1.0]], [5, 5])
    found = correct_by_table([[0.0, 0.0], [0.0, 0.5]], table)
    assert (found.lo95 <= found.estimate).all()
    assert (found.estimate <= found.hi95).all()


def test_a_class_of_which_rounding_alone_is_left_has_no_prevalence() -> None:
    p = np.array([[48.0, 0, 0, 0], [5, 48, 0, 1], [0, 0, 48, 0], [0, 4, 1, 48]])
    table = prepare_table(p / p.sum(axis=1, keepdims=True), p.sum(axis=1), n_draws=200)
    cases = [[0.0, 0.0, 0.0, 3.0], [0.0, 0.0, 0.0, 0.0]]
    found = correct_prevalence_by_table(cases, [[0, 0, 0, 1], [0, 1, 0, 8]], table)
    assert np.nanmax(np.abs(found.estimate)) < 10


def test_zones_that_are_all_full_are_full_whatever_their_weights() -> None:
    zone = estimate_point_cover([50, 50], [50, 50], AREA)
    weights = {"a": 0.1, "b": 0.7, "c": 0.3}
    site = estimate_site(dict.fromkeys(weights, zone), weights, is_fraction=True, what="x")
    sound(site, most=1.0)
    assert site.estimate == 1.0


def test_a_zone_without_end_has_no_weight() -> None:
    zone = estimate_point_cover([20, 30], [50, 50], AREA)
    with pytest.raises(InputError, match="cannot be used"):
        estimate_site({"a": zone, "b": zone}, {"a": math.inf, "b": 1.0}, is_fraction=True, what="x")
