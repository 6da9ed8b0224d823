"""Change between visits: what simulated surveys show, and what is never said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import ttest_ind

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change import (
    Reading,
    SiteVisits,
    contrast_of_sites,
    paired_change,
    unpaired_change,
)
from dryslate.core.survey.change_rates import adjust_many, fit_trend, rates_of_change
from dryslate.core.survey.methods import Method
from dryslate.core.survey.planning import Design, smallest_change
from dryslate.core.survey.spread import spread_of_units
from dryslate.core.survey.statement import SurveySettings

NAN = math.nan


@pytest.mark.parametrize("is_paired", [True, False])
@pytest.mark.parametrize("n", [3, 4, 5, 10])
def test_intervals_of_change_hold_the_truth(n: int, is_paired: bool) -> None:
    """Units of 100 points, intra-unit correlation 0.09, cover falling by a quarter from 40 %."""
    rng, runs = np.random.default_rng(100 + n), 4000
    place = rng.beta(4, 6, (runs, n))
    again = place if is_paired else rng.beta(4, 6, (runs, n))
    first, second = rng.binomial(100, place) / 100, rng.binomial(100, 0.75 * again) / 100
    compare = paired_change if is_paired else unpaired_change
    held = without = 0
    for a, b in zip(first, second, strict=True):
        found = compare("cover_frac", a, b).change
        if found.lo95 is None or found.hi95 is None:
            assert Flag.NO_SPREAD in found.flags  # all differences the same: no interval
            without += 1
        else:
            held += found.lo95 <= -0.1 <= found.hi95
    assert without <= runs // 100
    assert 0.93 <= held / (runs - without) <= 0.97


def test_unpaired_change_is_welchs() -> None:
    a, b = [0.40, 0.35, 0.52, NAN], [0.21, 0.30, 0.26, 0.19]
    found, want = unpaired_change("cover_frac", a, b), ttest_ind(b, a[:3], equal_var=False)
    assert (found.t, found.p) == pytest.approx((want.statistic, want.pvalue))
    interval = want.confidence_interval()
    assert found.change.lo95 == pytest.approx(interval.low)
    assert found.change.df == pytest.approx(want.df)
    assert found.change.n_blank == 1
    assert Flag.BLANK_UNITS in found.change.flags


def test_a_change_not_shown_comes_with_what_was_seen() -> None:
    a, b = np.array([0.3, 0.5, 0.4, 0.2]), np.array([0.35, 0.42, 0.45, 0.2])
    found = paired_change("cover_frac", a, b)
    assert found.reading() is Reading.NOT_SHOWN
    assert found.sees == smallest_change(Design.PAIRED, 4, spread_of_units(b - a))
    shifted = paired_change("cover_frac", a, b + 0.01)  # not of the change that was observed
    assert shifted.sees is not None
    assert found.sees is not None
    assert shifted.sees.change == pytest.approx(found.sees.change)
    assert found.sees.lo95 < found.sees.change < found.sees.hi95
    even = unpaired_change("cover_frac", a, a + 0.01)
    want = smallest_change(Design.TWO_GROUPS, 4, spread_of_units(a, a))
    assert even.sees is not None
    assert even.sees.change == pytest.approx(want.change)
    assert even.sees.units == want.units == 4


def test_without_spread_nothing_is_known() -> None:
    one = paired_change("cover_frac", [0.3, NAN], [0.2, 0.4])
    alike = paired_change("cover_frac", [0.3, 0.4], [0.2, 0.3])
    lone = unpaired_change("cover_frac", [0.3], [0.2, 0.4])
    same = unpaired_change("cover_frac", [0.3, 0.3], [0.2, 0.2])
    for found, flag in (
        (one, Flag.ONE_UNIT),
        (alike, Flag.NO_SPREAD),
        (lone, Flag.ONE_UNIT),
        (same, Flag.NO_SPREAD),
    ):
        assert flag in found.change.flags
        assert found.change.method is Method.NONE
        assert found.change.u is found.change.lo95 is found.p is found.sees is None
        assert found.reading() is Reading.NOT_KNOWN


def test_plots_are_flagged() -> None:
    found = paired_change("x", [1, 2, 4], [2, 2, 3], SurveySettings(scope="plots"))
    assert Flag.OF_THESE_PLOTS in found.change.flags


def site(before: float, after: float) -> SiteVisits:
    """Two units a visit, around a mean."""
    return SiteVisits(before=[before - 0.1, before + 0.1], after=[after, NAN])


def test_one_site_of_a_kind_is_no_inference() -> None:
    control = [site(0.4, 0.35), site(0.5, 0.52), site(0.3, 0.26)]
    impact = [site(0.4, 0.2), site(0.5, 0.27)]
    for c, i in ((control[:1], impact[:1]), (control, impact[:1]), (control[:1], impact)):
        found = contrast_of_sites("cover_frac", c, i)
        assert Flag.ONE_SITE_EACH in found.change.flags
        assert found.change.lo95 is found.change.u is found.p is None
    found = contrast_of_sites("cover_frac", control, impact)
    want = ttest_ind([-0.2, -0.23], [-0.05, 0.02, -0.04], equal_var=False)
    assert found.p == pytest.approx(want.pvalue)
    assert found.change.n_units == 5
    assert not found.change.flags


def test_many_tests_stand_beside_raw() -> None:
    found = adjust_many([0.2, None, 0.001])
    assert found.n_tests == 2
    assert found.raw == (0.2, None, 0.001)
    assert found.adjusted == (0.2, None, 0.002)
    assert adjust_many([None]).n_tests == 0


def test_nothing_to_compare() -> None:
    for ask in (
        lambda: paired_change("x", [NAN, 1], [1, NAN]),
        lambda: unpaired_change("x", [], [1.0]),
        lambda: contrast_of_sites("x", [], [site(0.1, 0.2)]),
        lambda: rates_of_change(0, 0.2, 1),
        lambda: fit_trend([1, 2], [3, 4]),
    ):
        with pytest.raises(InputError) as caught:
            ask()
        assert caught.value.slug == "change-nothing-to-compare"
    with pytest.raises(ValueError, match="one value a unit"):
        paired_change("x", [1, 2], [1])
