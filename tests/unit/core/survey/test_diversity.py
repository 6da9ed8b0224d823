"""Diversity at equal effort: exact where it can be reckoned by hand, refused where it misleads."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.survey.diversity import (
    Counted,
    Sample,
    measure_indices,
    read_counts,
    read_units,
    sample_coverage,
)
from dryslate.core.survey.rarefaction import (
    _hill,
    _hill_many,
    _tables,
    expected_coverage,
    hill_curve,
    rarefied_richness,
    size_for_coverage,
)
from dryslate.core.survey.richness import (
    abundance_coverage,
    asymptotic_hill,
    bootstrap_richness,
    chao1,
    chao2,
    jackknife_richness,
)

RNG = np.random.default_rng(8)
SEEN = (RNG.random((7, 12)) < RNG.beta(0.7, 2, 12)).astype(float)
UNITS = read_units(SEEN)
REEF = np.random.default_rng(3).dirichlet(np.full(30, 0.6))


def test_accumulation_is_the_mean_over_all_subsets_of_units() -> None:
    assert UNITS.seen is not None
    for t in (1, 3, 6, 7):
        found = [
            float((UNITS.seen[list(some)].sum(axis=0) > 0).sum())
            for some in combinations(range(7), t)
        ]
        expected, sd = rarefied_richness(UNITS, t)
        assert expected == pytest.approx(np.mean(found), abs=1e-10)
        assert sd == pytest.approx(np.std(found), abs=1e-6)
        assert hill_curve(UNITS, [t])[0].estimate == pytest.approx(expected, abs=1e-10)


def test_orders_one_and_two_from_the_mean_of_frequencies_over_all_subsets() -> None:
    assert UNITS.seen is not None
    t = 3
    pooled = [UNITS.seen[list(some)].sum(axis=0) for some in combinations(range(7), t)]
    u_t = UNITS.total * t / UNITS.n
    entropy = np.mean([-(k[k > 0] / u_t * np.log(k[k > 0] / u_t)).sum() for k in pooled])
    squares = np.mean([((k / u_t) ** 2).sum() for k in pooled])
    points = hill_curve(UNITS, [t])
    assert points[1].estimate == pytest.approx(np.exp(entropy), abs=1e-10)
    assert points[2].estimate == pytest.approx(1 / squares, abs=1e-10)


@pytest.mark.parametrize("sample", [UNITS, read_counts([30, 12, 5, 2, 2, 1, 1], Counted.COLONIES)])
def test_the_curve_passes_through_the_sample_and_rises(sample: Sample) -> None:
    sizes = list(range(1, 2 * sample.n + 1))
    points = hill_curve(sample, sizes)
    observed = measure_indices(sample).hill
    for order in (0, 1, 2):
        values = np.array([p.estimate for p in points if p.order == order])
        assert values[sample.n - 1] == pytest.approx(observed[order], rel=1e-9)
        assert (np.diff(values) > -1e-9).all()
        assert values[-1] <= asymptotic_hill(sample)[order] + 1e-9
    coverage = expected_coverage(sample, sizes)
    assert (np.diff(coverage) > -1e-12).all()
    assert coverage[sample.n - 1] == pytest.approx(sample_coverage(sample), abs=1e-12)


def test_asymptotic_entropy_joins_where_its_two_ways_meet() -> None:
    few = asymptotic_hill(read_counts([40, 20, 9, 2, 2, 2, 1, 1, 1], Counted.COLONIES))[1]
    # The published sum, written out as it stands.
    x = np.array([40, 20, 9, 2, 2, 2, 1, 1, 1])
    n, f1, f2 = int(x.sum()), 3, 3
    a = 2 * f2 / ((n - 1) * f1 + 2 * f2)
    r = np.arange(1, n)
    tail = (1 - a) ** (1 - n) * (-np.log(a) - ((1 - a) ** r / r).sum())
    want = sum(k / n * (1 / np.arange(k, n)).sum() for k in x) + f1 / n * tail
    assert few == pytest.approx(np.exp(want), rel=1e-9)


def test_bounds_say_so_and_read_low() -> None:
    rng = np.random.default_rng(4)
    found = [
        chao1(read_counts(rng.multinomial(200, REEF), Counted.COLONIES), is_bias_corrected=True)
        for _ in range(300)
    ]
    assert np.mean([f.estimate for f in found]) < len(REEF)
    assert all(f.is_lower_bound and "lower bound" in f.estimand for f in found)
    assert not jackknife_richness(UNITS, 1).is_lower_bound


def test_coverage_estimate_is_near_the_true_share() -> None:
    rng = np.random.default_rng(6)
    gaps = []
    for _ in range(400):
        x = rng.multinomial(60, REEF)
        gaps.append(sample_coverage(read_counts(x, Counted.COLONIES)) - REEF[x > 0].sum())
    assert abs(np.mean(gaps)) < 0.01


def test_same_seed_same_interval_and_none_without_units() -> None:
    first, second = (hill_curve(UNITS, [4, 10], np.random.default_rng(1)) for _ in range(2))
    assert first == second
    assert all(p.lo95 is not None and p.lo95 < p.estimate < (p.hi95 or 0) for p in first)
    colonies = read_counts([30, 12, 5, 1], Counted.COLONIES)
    assert all(p.lo95 is None for p in hill_curve(colonies, [10], np.random.default_rng(1)))
    assert first[0].estimand == "effective number of genera of order 0 in 4 units"


def test_intervals_hold_the_expected_richness_often_enough() -> None:
    rng = np.random.default_rng(11)
    p = rng.beta(0.4, 3.0, 30)
    truth = {m: float((1 - (1 - p) ** m).sum()) for m in (10, 20)}
    held = []
    for _ in range(150):
        sample = read_units(rng.random((10, 30)) < p)
        for point in hill_curve(sample, list(truth), rng, n_resamples=60)[:2]:
            assert point.lo95 is not None
            assert point.hi95 is not None
            held.append(point.lo95 <= truth[point.size] <= point.hi95)
    assert np.mean(held) > 0.93  # without the unseen genera about 0.90


def test_one_genus_and_nothing_rare() -> None:
    one = read_counts([9], Counted.COLONIES)
    found = measure_indices(one)
    assert (found.shannon, found.pielou) == (0.0, None)
    assert asymptotic_hill(one) == pytest.approx((1.0, 1.0, 1.0))
    assert sample_coverage(one) == 1.0
    singles = read_counts([1, 1, 1], Counted.COLONIES)
    assert measure_indices(singles).fisher_alpha is None
    assert asymptotic_hill(singles)[2] == np.inf


@pytest.mark.parametrize(
    ("attempt", "slug"),
    [
        (lambda: read_counts([5, 3], Counted.POINTS), "diversity-not-from-points"),
        (lambda: read_counts([5, -1], Counted.COLONIES), "diversity-counts-impossible"),
        (lambda: read_counts([5, 1.5], Counted.COLONIES), "diversity-counts-impossible"),
        (lambda: read_counts([5, 1], Counted.UNITS), "diversity-counts-impossible"),
        (lambda: read_units([1, 0, 1]), "diversity-counts-impossible"),
        (lambda: chao1(UNITS, is_bias_corrected=True), "diversity-counts-impossible"),
        (lambda: chao2(read_counts([5, 1], Counted.COLONIES)), "diversity-counts-impossible"),
        (lambda: abundance_coverage(UNITS), "diversity-counts-impossible"),
        (
            lambda: abundance_coverage(read_counts([50, 1, 1], Counted.COLONIES)),
            "diversity-counts-impossible",
        ),
        (lambda: read_units([[0, 0], [0, 0]]), "diversity-nothing-found"),
        (lambda: read_units([[1, 1]]), "diversity-nothing-found"),
        (lambda: hill_curve(UNITS, [15]), "diversity-beyond-reach"),
        (lambda: hill_curve(UNITS, [0]), "diversity-beyond-reach"),
        (lambda: size_for_coverage(UNITS, 1.0), "diversity-beyond-reach"),
        (lambda: rarefied_richness(UNITS, 8), "diversity-beyond-reach"),
    ],
)
def test_what_misleads_is_refused(attempt: object, slug: str) -> None:
    with pytest.raises(InputError, match=slug):
        attempt()  # type: ignore[operator]


def test_closed_bootstrap_by_hand() -> None:
    # Three units; genera in 3, 1 and 1 of them: 3 + 2 (2/3)^3.
    found = bootstrap_richness(read_units([[1, 1, 0], [1, 0, 1], [1, 0, 0]]))
    assert found.estimate == pytest.approx(3 + 2 * (2 / 3) ** 3)


def test_many_resamples_at_once_are_what_each_is_alone() -> None:
    rng = np.random.default_rng(4)
    n, m = 7, np.array([3, 7, 11, 14])
    tables = _tables(np.arange(1.0, n + 1), m[m <= n], n)
    samples = [read_units(rng.random((n, 12)) < rng.random(12) * 0.5) for _ in range(60)]
    times = [np.bincount(s.counts.astype(int), minlength=n + 1)[1:] * 1.0 for s in samples]
    with np.errstate(divide="ignore"):
        together = _hill_many(np.array(times), m, tables)
        alone = [_hill(s, m, t, tables) for s, t in zip(samples, times, strict=True)]
    np.testing.assert_allclose(together, alone, rtol=1e-12)


def test_without_rare_genera_abundance_coverage_is_what_was_found() -> None:
    found = abundance_coverage(read_counts([50, 30, 11], Counted.COLONIES))
    assert (found.estimate, found.u, found.is_lower_bound) == (3.0, None, False)
