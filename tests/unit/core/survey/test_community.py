"""Community analysis: exchange, terms, spread, ordination, against what is known beforehand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.dispersion import compare_dispersion
from dryslate.core.survey.dissimilarity import (
    Dissimilarity,
    Transform,
    apply_transform,
    measure_dissimilarity,
    require_dissimilarities,
)
from dryslate.core.survey.exchange import Exchange, count_alike, deal_out
from dryslate.core.survey.ordination import fit_ordination, measure_stress
from dryslate.core.survey.permanova import Term, compare_terms, measure_anosim
from dryslate.core.survey.simper import find_contributions

SITES = tuple("aaaabbbbcccc")
ZONE = tuple("xxyy" * 3)


def rng() -> np.random.Generator:
    return np.random.default_rng(7)


def straight(values: np.ndarray) -> np.ndarray:
    return np.abs(np.subtract.outer(values, values))


def slug_of(call: object) -> str:
    with pytest.raises(InputError) as caught:
        call()  # type: ignore[operator]
    return caught.value.slug


def test_measures_by_hand() -> None:
    amounts = [[4, 0, 1], [1, 3, 1]]
    found = {m: measure_dissimilarity(amounts, m)[0, 1] for m in Dissimilarity}
    assert found[Dissimilarity.BRAY_CURTIS] == pytest.approx(6 / 10)
    assert found[Dissimilarity.JACCARD] == pytest.approx(1 / 3)
    assert found[Dissimilarity.EUCLIDEAN] == pytest.approx(math.sqrt(18))
    assert found[Dissimilarity.CANBERRA] == pytest.approx(3 / 5 + 1)
    assert found[Dissimilarity.CHORD] == pytest.approx(math.sqrt(2 - 2 * 5 / math.sqrt(17 * 11)))
    assert apply_transform(amounts, Transform.PRESENCE).tolist() == [[1, 0, 1], [1, 1, 1]]
    assert apply_transform([[9.0]], Transform.SQUARE_ROOT).tolist() == [[3.0]]


def test_faults_of_amounts_are_named() -> None:
    blank, nothing = [[1.0, math.nan], [1, 1]], [[1, 1], [0, 0]]
    assert slug_of(lambda: measure_dissimilarity(blank)) == "community-amount-impossible"
    assert slug_of(lambda: measure_dissimilarity(nothing)) == "community-unit-empty"
    with pytest.raises(ValueError, match="symmetrical"):
        require_dissimilarities([[0, 1], [2, 0]])
    with pytest.raises(ValueError, match="two or more units"):
        measure_dissimilarity([[1, 2]])


def test_all_deals_where_they_are_few_each_once() -> None:
    labels = [0, 0, 1, 0, 1, 1]
    found = deal_out(labels, Exchange(), rng())
    assert found.is_all
    assert found.n_distinct == math.comb(6, 3) == len({tuple(row) for row in found.labels})
    assert {tuple(row) for row in found.labels} == set(itertools.permutations(labels))


def test_units_stay_within_their_site() -> None:
    how = Exchange(what="units_within_sites", sites=SITES, n_permutations=500)
    labels = [0, 0, 1, 1] * 3
    found = deal_out(labels, how, rng())
    assert found.is_all
    assert found.n_distinct == 6**3
    for k in range(3):
        assert (found.labels[:, 4 * k : 4 * k + 4].sum(axis=1) == 2).all()
    drawn = deal_out(
        labels, Exchange(what="units_within_sites", sites=SITES, n_permutations=9), rng()
    )
    assert not drawn.is_all
    assert (drawn.labels[:, :4].sum(axis=1) == 2).all()
    again = deal_out(
        labels, Exchange(what="units_within_sites", sites=SITES, n_permutations=9), rng()
    )
    np.testing.assert_array_equal(drawn.labels, again.labels)


def test_whole_sites_keep_their_units_together() -> None:
    how = Exchange(what="whole_sites", sites=SITES)
    found = deal_out([0] * 8 + [1] * 4, how, rng())
    assert found.n_distinct == 3
    assert all(len(set(row[4 * k : 4 * k + 4])) == 1 for row in found.labels for k in range(3))
    assert slug_of(lambda: deal_out([0, 1] * 6, how, rng())) == "community-group-within-site"


def test_three_sites_against_one_can_find_nothing_and_say_so() -> None:
    sites = tuple("aabbccdd")
    values = np.array([0, 0.1, 0.2, 0.1, 0, 0.2, 9, 9.1])
    how = Exchange(what="whole_sites", sites=sites)
    (line,) = compare_terms(
        straight(values), [Term(name="kept", values=tuple("nnnnnnyy"))], how, rng()
    ).terms
    assert (line.n_distinct, line.p, line.p_smallest) == (4, 0.25, 0.25)
    assert line.flags == (Flag.FEW_PERMUTATIONS,)


@pytest.mark.parametrize(
    ("labels", "rest", "want"),
    [([0, 0, 1, 1], [0] * 4, 2), ([0, 0, 0, 1], [0] * 4, 1), ([0, 1, 0, 1, 2, 2], [0] * 6, 6),
     ([0, 1, 1, 0, 0, 1], [0, 0, 0, 1, 1, 1], 1)],
)  # fmt: skip
def test_alike_deals(labels: list[int], rest: list[int], want: int) -> None:
    assert count_alike(labels, rest) == want


def test_smallest_p_is_reached_by_groups_far_apart() -> None:
    values = np.array([0, 0.1, 0.2, 0.05, 9, 9.1, 9.2, 9.05])
    (line,) = compare_terms(
        straight(values), [Term(name="g", values=tuple("aaaabbbb"))], Exchange(), rng()
    ).terms
    assert line.p == line.p_smallest == pytest.approx(2 / math.comb(8, 4))


def test_two_terms_in_their_order_equal_an_analysis_of_variance() -> None:
    formula = pytest.importorskip("statsmodels.formula.api")
    from statsmodels.stats.anova import anova_lm

    values = rng().normal(size=11) + np.array([0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2])
    sites, zones = tuple("aaaabbbcccc"), tuple("xxyyxyyxxxy")
    depth = tuple(float(d) for d in range(11))
    terms = [
        Term(name="site", values=sites),
        Term(name="zone", values=zones),
        Term(name="depth", values=depth),
    ]
    pandas = pytest.importorskip("pandas")
    data = {"y": values, "site": list(sites), "zone": list(zones), "depth": list(depth)}
    want = anova_lm(formula.ols("y ~ site + zone + depth", pandas.DataFrame(data)).fit(), typ=1)
    how = Exchange(what="units_within_sites", sites=sites, n_permutations=99)
    found = compare_terms(straight(values), terms, how, rng())
    np.testing.assert_allclose([t.ss for t in found.terms], want["sum_sq"][:3], rtol=1e-9)
    np.testing.assert_allclose([t.f for t in found.terms], want["F"][:3], rtol=1e-9)
    assert [t.df for t in found.terms] == [2, 1, 1]
    assert found.residual_ss == pytest.approx(want["sum_sq"].iloc[3])
    # What is alike all over a site cannot be tested by exchange within sites.
    assert found.terms[0].p_smallest == 1
    assert Flag.FEW_PERMUTATIONS in found.terms[0].flags


def test_p_is_right_under_no_difference_and_exchange_within_sites_sees_through_sites() -> None:
    """Sites far apart and zones alike: p of zone spread evenly; over all units it is blind."""
    draws = np.random.default_rng(3)
    how = Exchange(what="units_within_sites", sites=SITES, n_permutations=216)
    zone = Term(name="zone", values=ZONE)
    site = Term(name="site", values=SITES)
    low = 0
    for _ in range(200):
        values = draws.normal(size=12) + np.repeat([0.0, 20.0, 40.0], 4)
        low += compare_terms(straight(values), [site, zone], how, rng()).terms[1].p <= 0.05
    assert low <= 20  # 5 % expected, 20 of 200 has a chance under 0.003
    values = draws.normal(size=12) + np.repeat([0.0, 20.0, 40.0], 4) + np.tile([0, 0, 4, 4], 3)
    within = compare_terms(straight(values), [site, zone], how, rng()).terms[1].p
    over_all = compare_terms(straight(values), [zone], Exchange(), rng()).terms[0].p
    assert within < 0.05 < over_all


def test_terms_that_cannot_be_tested_are_faults() -> None:
    values = rng().normal(size=4)

    def one(*groups: str) -> str:
        terms = [Term(name=f"g{k}", values=tuple(g)) for k, g in enumerate(groups)]
        return slug_of(lambda: compare_terms(straight(values), terms, Exchange(), rng()))

    assert one("aaaa") == one("abcd") == one("aabb", "ccdd") == "community-groups-alike"
    with pytest.raises(ValueError, match="4 values"):
        compare_terms(straight(values), [Term(name="g", values=("a",))], Exchange(), rng())
    assert (
        slug_of(lambda: measure_anosim(straight(values), list("aaaa"))) == "community-groups-alike"
    )
    assert (
        slug_of(lambda: compare_dispersion(straight(values), list("abcd"), Exchange(), rng()))
        == "community-groups-alike"
    )


@pytest.mark.parametrize("middle", ["centroid", "median"])
def test_dispersion_equals_another_library(middle: str) -> None:
    distance = pytest.importorskip("skbio.stats.distance")
    points = rng().normal(size=(12, 3)) * np.repeat([1.0, 3.0], 6)[:, None]
    far = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2))
    groups = ["a"] * 6 + ["b"] * 6
    found = compare_dispersion(far, groups, Exchange(), rng(), middle)  # type: ignore[arg-type]
    theirs = distance.permdisp(
        distance.DistanceMatrix((far + far.T) / 2), groups, test=middle, permutations=0
    )
    assert found.f == pytest.approx(theirs["test statistic"], rel=1e-4)
    assert found.n_distinct == math.comb(12, 6)
    assert (Flag.GROUPS_SPREAD_UNALIKE in found.flags) == (found.p <= 0.05)


def test_groups_without_spread_or_with_none_within() -> None:
    far = straight(np.array([0.0, 1.0, 5.0, 6.0]))
    groups = list("aabb")
    assert (
        slug_of(lambda: compare_dispersion(far, groups, Exchange(), rng()))
        == "community-groups-alike"
    )
    uneven = straight(np.array([0.0, 1.0, 5.0, 9.0]))
    found = compare_dispersion(uneven, groups, Exchange(), rng())
    assert found.f > 1e9 or np.isinf(found.f)
    assert found.p == found.p_smallest == pytest.approx(2 / 6)


def test_ordination_says_when_its_plane_shows_little() -> None:
    noise = np.triu(rng().uniform(0.5, 1.0, size=(30, 30)), 1)
    found = fit_ordination(noise + noise.T, rng(), n_starts=4)
    assert found.stress > 0.2
    assert Flag.STRESS_HIGH in found.flags
    again = fit_ordination(noise + noise.T, rng(), n_starts=4)
    np.testing.assert_array_equal(found.xy, again.xy)
    assert np.sqrt((found.xy**2).sum(axis=1).mean()) == pytest.approx(1)


def test_points_that_keep_the_ranks_have_no_stress() -> None:
    points = rng().normal(size=(12, 2))
    far = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2))
    assert measure_stress(points, far**3) == 0
    assert fit_ordination(far**3, rng(), n_starts=8).stress < 0.01
    assert measure_stress(points[:, :1], far) > 0.01


def test_units_all_alike_and_too_few_units() -> None:
    alike = fit_ordination(np.zeros((4, 4)), rng(), n_starts=2)
    assert not alike.xy.any()
    assert alike.stress == 0
    with pytest.raises(ValueError, match="more than 2 units"):
        fit_ordination(np.zeros((2, 2)), rng())


def test_contributions_add_up() -> None:
    amounts = rng().uniform(0, 5, size=(7, 4))
    groups = list("aaabbbb")
    found = find_contributions(amounts, list("wxyz"), groups, "a", "b")
    unlike = measure_dissimilarity(amounts)
    assert found.overall == pytest.approx(unlike[:3, 3:].mean())
    assert found.contributions[-1].cumulative == pytest.approx(1)
    assert sum(one.average for one in found.contributions) == pytest.approx(found.overall)
    single = find_contributions(amounts[:2], list("wxyz"), ["a", "b"], "a", "b")
    assert single.contributions[0].sd is None
    assert (
        slug_of(lambda: find_contributions(amounts, list("wxyz"), groups, "a", "q"))
        == "community-groups-alike"
    )
