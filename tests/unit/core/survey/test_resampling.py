"""Units drawn again: same seed same ends, and the ends of another implementation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap, t

from dryslate.core.survey.overdispersion import beta_binomial_log_p, fit_beta_binomial
from dryslate.core.survey.resampling import (
    Resampling,
    fit_bootstrap,
    fit_jackknife,
    ratio_jackknife,
)

VALUES = np.random.default_rng(7).gamma(1.0, 1.0, 25)


def mean(drawn):
    return drawn @ VALUES / drawn.sum(axis=1)


def test_same_seed_same_interval() -> None:
    found = [fit_bootstrap(mean, 25, np.random.default_rng(3)) for _ in range(2)]
    assert found[0] == found[1]


def test_bca_agrees_with_that_of_scipy() -> None:
    ours = fit_bootstrap(mean, 25, np.random.default_rng(3), Resampling(n_resamples=40_000))
    theirs = bootstrap(
        (VALUES,), np.mean, method="BCa", n_resamples=40_000, rng=np.random.default_rng(4)
    )
    ends = (theirs.confidence_interval.low, theirs.confidence_interval.high)
    assert (ours.lo, ours.hi) == pytest.approx(ends, abs=0.02)
    assert ours.u == pytest.approx(theirs.standard_error, rel=0.02)


def test_jackknife_of_a_mean_is_its_standard_error() -> None:
    found = fit_jackknife(mean, 25)
    assert found.u == pytest.approx(VALUES.std(ddof=1) / 5)
    assert found.bias == pytest.approx(0.0, abs=1e-12)


def test_jackknife_of_a_ratio_is_that_of_leaving_units_out() -> None:
    x, n = np.array([2.0, 5, 1, 4]), np.array([20.0, 30, 15, 28])
    ratio, u = ratio_jackknife(x, n)
    assert ratio == pytest.approx(12 / 93)
    assert u == pytest.approx(fit_jackknife(lambda c: c @ x / (c @ n), 4).u)


def test_unit_without_colonies_changes_nothing_in_a_ratio() -> None:
    with_empty = ratio_jackknife([2, 5, 0, 1], [20, 30, 0, 15])
    np.testing.assert_allclose(with_empty, ratio_jackknife([2, 5, 1], [20, 30, 15]))


def test_ratio_of_one_unit_has_no_doubt() -> None:
    ratio, u = ratio_jackknife([3, 0], [10, 0])
    assert ratio == pytest.approx(0.3)
    assert np.isnan(u)


def test_two_groups_are_drawn_apart() -> None:
    seen = []

    def statistic(drawn):
        seen.append(drawn)
        return drawn @ np.arange(5.0)

    fit_bootstrap(statistic, 5, np.random.default_rng(1), Resampling(n_first=2, n_resamples=50))
    drawn = next(d for d in seen if len(d) == 50)
    assert (drawn[:, :2].sum(axis=1) == 2).all()
    assert (drawn[:, 2:].sum(axis=1) == 3).all()


def test_beta_binomial_fit_is_the_highest_likelihood_and_its_ends_lie_as_far_below() -> None:
    hits, points = [1, 0, 4, 0, 2, 9, 0, 3, 1, 1], [50] * 10
    fit = fit_beta_binomial(hits, points)

    def best(m):
        grid = np.geomspace(1e-5, 0.9, 4000)
        terms = beta_binomial_log_p(np.array(hits)[:, None], 50, m, grid)
        return terms.sum(axis=0).max()

    peak = best(fit.mean)
    assert peak >= max(best(fit.mean * 1.02), best(fit.mean / 1.02)) - 1e-6
    fall = 2.262157**2 / 2  # t of 9 degrees of freedom
    assert peak - best(fit.lo95) == pytest.approx(fall, abs=1e-3)
    assert peak - best(fit.hi95) == pytest.approx(fall, abs=1e-3)


@pytest.mark.parametrize("hits", [[0, 0], [10, 10]])
def test_nothing_or_everything_hit_cannot_be_fitted(hits) -> None:
    from dryslate.core.survey.overdispersion import measure_clustering

    with pytest.raises(ValueError, match="some points hit"):
        fit_beta_binomial(hits, [10, 10])
    with pytest.raises(ValueError, match="some points hit"):
        measure_clustering(hits, [10, 10])


def test_widened_ends_hold_the_plain_ones_and_for_a_mean_reach_as_far_as_t() -> None:
    even = np.random.default_rng(8).normal(0.0, 1.0, 25)
    plain, wide = (
        fit_bootstrap(
            lambda c: c @ even / c.sum(axis=1),
            25,
            np.random.default_rng(3),
            Resampling(n_resamples=40_000, is_widened=is_widened),
        )
        for is_widened in (False, True)
    )
    assert wide.lo < plain.lo < plain.hi < wide.hi
    by_t = 2 * t.ppf(0.975, 24) * even.std(ddof=1) / 5
    assert wide.hi - wide.lo == pytest.approx(by_t, rel=0.03)
    assert plain.hi - plain.lo < 0.95 * by_t
