"""Intervals: what they cover, where they are limits, where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import nbinom, t

from dryslate.core.survey.intervals import (
    fraction_interval,
    rate_interval,
    zero_fraction_limit,
    zero_rate_limit,
)
from dryslate.core.survey.resampling import ratio_jackknife

N = 5


def ends(pair) -> list[float]:
    return [float(v) for v in pair]


def test_fraction_interval_is_the_formula_of_its_docstring() -> None:
    mean, u, n = 0.2, 0.03, 6
    a = u / (mean * (1 - mean))
    s = a * np.sqrt(1 + (1 - 2 * mean) ** 2 * a**2)
    centre = logit(mean) + (1 - 2 * mean) * s**2 / 2
    want = [float(expit(centre + k * t.ppf(0.975, n - 1) * s)) for k in (-1, 1)]
    assert ends(fraction_interval(mean, u, n)) == pytest.approx(want, rel=1e-9)


def test_fraction_and_its_complement_mirror_each_other() -> None:
    lo, hi = ends(fraction_interval(0.15, 0.04, 5))
    other_lo, other_hi = ends(fraction_interval(0.85, 0.04, 5))
    assert (1 - other_hi, 1 - other_lo) == pytest.approx((lo, hi))


@pytest.mark.parametrize(("p", "rho"), [(0.1, 0.1), (0.3, 0.05), (0.6, 0.1)])
def test_interval_covers_the_mean_of_units_and_a_mean_of_logits_does_not(p, rho) -> None:
    rng = np.random.default_rng(1)
    both = (1 - rho) / rho
    values = rng.binomial(100, rng.beta(p * both, (1 - p) * both, (6000, 20))) / 100
    mean, u = values.mean(axis=1), values.std(axis=1, ddof=1) / np.sqrt(20)
    lo, hi = fraction_interval(mean, u, 20)
    assert 0.93 < np.mean((lo <= p) & (p <= hi)) < 0.97
    if p == 0.1:
        logits = logit((values * 100 + 0.5) / 101)
        reach = t.ppf(0.975, 19) * logits.std(axis=1, ddof=1) / np.sqrt(20)
        low, high = logits.mean(axis=1) - reach, logits.mean(axis=1) + reach
        assert np.mean((expit(low) <= p) & (p <= expit(high))) < 0.85


@pytest.mark.parametrize("k", [1.0, 5.0])
def test_interval_of_a_density_covers(k) -> None:
    rng = np.random.default_rng(2)
    counts = rng.poisson(rng.gamma(k, 20 / k, (6000, N)))
    mean, u = counts.mean(axis=1), counts.std(axis=1, ddof=1) / np.sqrt(N)
    lo, hi = rate_interval(mean, u, N, float(N))
    assert 0.93 < np.mean((lo <= 20) & (hi >= 20)) < 0.97


def test_interval_of_a_prevalence_covers() -> None:
    rng = np.random.default_rng(3)
    colonies = rng.poisson(rng.gamma(4.0, 5.0, (6000, N)))
    cases = rng.binomial(colonies, rng.beta(0.3 * 19, 0.7 * 19, (6000, N)))
    ratio, u = ratio_jackknife(cases, colonies)
    lo, hi = fraction_interval(ratio, u, N, colonies.sum(axis=1))
    assert 0.93 < np.mean((lo <= 0.3) & (hi >= 0.3)) < 0.97


def test_nothing_found_gives_an_upper_limit_alone() -> None:
    lo, hi = fraction_interval(0.0, 0.0, 5, 500)
    assert np.isnan(lo)
    assert hi == pytest.approx(1 - 0.05 ** (1 / (500 / (1 + 99 * 0.1))))
    lo, hi = rate_interval(0.0, 0.0, 5, 50.0)
    assert np.isnan(lo)
    # At the limit itself five negative binomial counts (k = 1) are all zero once in twenty.
    assert nbinom.pmf(0, 1.0, 1 / (1 + float(hi) * 10)) ** 5 == pytest.approx(0.05)


def test_everything_full_gives_a_lower_limit_alone() -> None:
    lo, hi = fraction_interval(1.0, 0.0, 5, 500)
    assert lo == pytest.approx(1 - zero_fraction_limit(5, 500))
    assert np.isnan(hi)


def test_limits_tighten_with_more_units_and_points() -> None:
    assert zero_fraction_limit(10, 1000) < zero_fraction_limit(5, 500) < zero_fraction_limit(5, 100)
    assert zero_rate_limit(10, 100.0) < zero_rate_limit(5, 50.0) < zero_rate_limit(5, 25.0)


def test_one_unit_gives_none_and_units_all_alike_the_doubt_of_counting() -> None:
    assert np.isnan(fraction_interval(0.3, np.nan, 1, 100)).all()
    assert np.isnan(fraction_interval(0.0, np.nan, 1, 100)).all()
    assert np.isnan(rate_interval(3.0, np.nan, 1, 1.0)).all()
    want = ends(fraction_interval(0.3, np.sqrt(0.21 / 400), 4))
    assert ends(fraction_interval(0.3, 0.0, 4, 400)) == pytest.approx(want)
    assert np.isnan(fraction_interval(0.3, 0.0, 4)).all()
    want = ends(rate_interval(3.0, np.sqrt(3 / 16), 4))
    assert ends(rate_interval(3.0, 0.0, 4, 16.0)) == pytest.approx(want)
    assert np.isnan(rate_interval(3.0, 0.0, 4)).all()


def test_interval_holds_its_own_estimate_even_where_one_unit_holds_all() -> None:
    for n in range(2, 40):
        values = np.zeros(n)
        values[0] = 1.0
        mean, u = values.mean(), values.std(ddof=1) / np.sqrt(n)
        for lo, hi in (fraction_interval(mean, u, n), rate_interval(mean, u, n)):
            assert lo < mean < hi
