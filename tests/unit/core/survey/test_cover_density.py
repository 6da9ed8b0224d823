"""Cover, density and prevalence of units: blanks, zeros, single units, plots, other methods."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.cover import (
    estimate_cover,
    estimate_line_cover,
    estimate_point_cover,
    estimate_point_covers,
    line_lengths,
    read_fraction,
)
from dryslate.core.survey.density import (
    estimate_density,
    estimate_line_density,
    estimate_rate,
    flag_juveniles,
    read_count,
)
from dryslate.core.survey.methods import Method
from dryslate.core.survey.prevalence import estimate_prevalence, estimate_tissue_share
from dryslate.core.survey.statement import SurveySettings

AREA = SurveySettings()


def test_unreadable_points_leave_the_denominator() -> None:
    found = estimate_point_cover([30, 20], [100, 100], AREA, unreadable=[0, 50])
    assert found.estimate == pytest.approx((0.3 + 0.4) / 2)


def test_several_things_come_out_as_each_alone_to_the_last_digit() -> None:
    rng = np.random.default_rng(7)
    for n in (1, 2, 3, 7, 8, 9, 40):
        hits = rng.binomial(60, rng.random((25, 1)) * 0.4, (25, n)).astype(np.float64)
        hits[0], hits[1] = 0, 60
        if n > 2:
            hits[:, 1] = np.nan
        points, lost = np.full(n, 100), rng.integers(0, 40, n)
        for settings in (AREA, SurveySettings(weighting="effort", scope="plots")):
            together = estimate_point_covers(hits, points, settings, unreadable=lost)
            alone = [estimate_point_cover(h, points, settings, unreadable=lost) for h in hits]
            assert list(together) == alone


def test_things_share_their_blank_units_and_each_is_checked() -> None:
    with pytest.raises(ValueError, match="blank of some things"):
        estimate_point_covers([[1, np.nan], [1, 2]], [9, 9], AREA)
    with pytest.raises(InputError, match="Unit 2"):
        estimate_point_covers([[1, 2], [1, 10]], [9, 9], AREA)


def test_method_asked_for_is_that_of_each_thing() -> None:
    hits, asked = [[3, 5, 1, 0, 2, 4, 6, 2], [0] * 8], SurveySettings(method=Method.BETA_BINOMIAL)
    found = estimate_point_covers(hits, [25] * 8, asked)
    assert [one.method for one in found] == [Method.BETA_BINOMIAL, Method.LIMIT_FRACTION]


def test_blank_is_not_zero() -> None:
    blank = estimate_point_cover([30, np.nan, 20], [100] * 3, AREA)
    zero = estimate_point_cover([30, 0, 20], [100] * 3, AREA)
    assert blank.estimate == pytest.approx(0.25)
    assert (blank.n_units, blank.n_blank) == (2, 1)
    assert Flag.BLANK_UNITS in blank.flags
    assert zero.estimate == pytest.approx(0.5 / 3)
    assert (zero.n_units, zero.n_blank) == (3, 0)


def test_unit_with_nothing_readable_is_blank() -> None:
    found = estimate_point_cover([30, 0], [100, 40], AREA, unreadable=[0, 40])
    assert (found.estimate, found.n_units, found.n_blank) == (pytest.approx(0.3), 1, 1)


def test_all_units_blank_give_nothing() -> None:
    found = estimate_point_cover([np.nan, np.nan], [100, 100], AREA)
    assert (found.estimate, found.lo95, found.hi95, found.n_blank) == (None, None, None, 2)
    assert found.method is Method.NONE


def test_one_unit_has_an_estimate_and_no_interval() -> None:
    for found in (
        estimate_point_cover([30], [100], AREA),
        estimate_density([4], [10], AREA, edge_rule="centre_inside"),
        estimate_prevalence([2], [20], AREA),
    ):
        assert found.estimate is not None
        assert (found.u, found.lo95, found.hi95, found.df) == (None, None, None, None)
        assert found.method is Method.NONE
        assert Flag.ONE_UNIT in found.flags


def test_nothing_found_is_an_upper_limit_with_its_own_method() -> None:
    cover = estimate_point_cover([0] * 5, [100] * 5, AREA)
    assert (cover.estimate, cover.u, cover.lo95, cover.df) == (0.0, None, None, None)
    assert cover.hi95 == pytest.approx(0.0632, abs=1e-4)
    assert cover.method is Method.LIMIT_FRACTION
    assert cover.flags == (Flag.UPPER_LIMIT_ONLY,)
    density = estimate_density([0] * 5, [10] * 5, AREA, edge_rule="centre_inside")
    assert density.method is Method.LIMIT_COUNT
    assert density.hi95 == pytest.approx(0.0821, abs=1e-4)
    assert estimate_prevalence([0] * 4, [20] * 4, AREA).method is Method.LIMIT_FRACTION


def test_everything_full_is_a_lower_limit() -> None:
    found = estimate_point_cover([100] * 5, [100] * 5, AREA)
    assert (found.estimate, found.hi95) == (1.0, None)
    assert found.lo95 == pytest.approx(1 - 0.0632, abs=1e-4)
    assert found.flags == (Flag.LOWER_LIMIT_ONLY,)


def test_units_all_alike_carry_the_doubt_of_counting_and_say_so() -> None:
    counted = estimate_point_cover([30] * 4, [100] * 4, AREA)
    assert counted.u == pytest.approx(np.sqrt(0.21 / 400))
    assert counted.lo95 < 0.3 < counted.hi95
    assert Flag.NO_SPREAD in counted.flags
    tape = estimate_line_cover([300] * 4, [1000] * 4, AREA)
    assert (tape.u, tape.lo95, tape.method) == (None, None, Method.NONE)
    assert Flag.NO_SPREAD in tape.flags


def test_permanent_plots_are_labelled() -> None:
    found = estimate_cover([0.2, 0.3, 0.25], SurveySettings(scope="plots"))
    assert Flag.OF_THESE_PLOTS in found.flags
    assert found.lo95 is not None


def test_readings_are_labelled_and_say_nothing_of_units() -> None:
    assert read_fraction(0, 20).hi95 == pytest.approx(0.1611, abs=1e-4)
    assert read_fraction(0, 20).lo95 == 0.0
    assert read_fraction(0, 0).estimate is None
    count = read_count(0, 10.0, edge_rule=None)
    assert (count.lo95, count.u) == (0.0, None)
    assert count.hi95 == pytest.approx(0.369, abs=1e-3)
    assert count.flags == (Flag.READING_ONLY, Flag.EDGE_NOT_STATED)
    assert read_fraction(5, 20).flags == (Flag.READING_ONLY,)


@pytest.mark.parametrize(
    ("rule", "flag"),
    [("any_touching", Flag.EDGE_READS_HIGH), ("wholly_inside", Flag.EDGE_READS_LOW)],
)
def test_biased_edge_rules_are_flagged(rule, flag) -> None:
    assert flag in estimate_density([4, 6], [10, 10], AREA, edge_rule=rule).flags


@pytest.mark.parametrize("rule", ["centre_inside", "two_sides_in"])
def test_unbiased_edge_rules_are_not(rule) -> None:
    assert estimate_density([4, 6], [10, 10], AREA, edge_rule=rule).flags == ()


def test_line_without_a_width_gives_no_density() -> None:
    found = estimate_line_density([[0.2, np.nan], [0.3]], [20, 20], AREA)
    assert found.estimate is None
    assert found.flags == (Flag.WIDTH_MISSING,)


def test_blank_line_is_left_out_and_an_empty_one_is_a_zero() -> None:
    found = estimate_line_density([[0.2], None, []], [20, 20, 20], AREA)
    assert found.estimate == pytest.approx(5 / 20 / 2)
    assert (found.n_units, found.n_blank) == (2, 1)


def test_lines_that_cross_nothing_have_no_limit() -> None:
    found = estimate_line_density([[], []], [20, 20], AREA)
    assert (found.estimate, found.hi95, found.method) == (0.0, None, Method.NONE)
    assert Flag.UPPER_LIMIT_ONLY not in found.flags


def test_timed_swims_count_per_minute() -> None:
    found = estimate_rate([12, 6], [30, 30], AREA)
    assert found.estimate == pytest.approx(0.3)
    assert found.what == "count_per_min"


def test_juveniles_from_photos_alone_are_flagged_low() -> None:
    density = estimate_density([4, 6], [10, 10], AREA, edge_rule="centre_inside")
    low = flag_juveniles(density, largest_cm=5, is_from_photos=True)
    assert Flag.JUVENILES_READ_LOW in low.flags
    assert flag_juveniles(density, largest_cm=5, is_from_photos=False) is density
    assert flag_juveniles(density, largest_cm=20, is_from_photos=True) is density


def test_units_without_colonies_say_nothing_of_prevalence() -> None:
    found = estimate_prevalence([2, 0, 3], [20, 0, 25], AREA)
    assert found.estimate == pytest.approx(5 / 45)
    assert (found.n_units, found.df, found.n_blank) == (2, 1.0, 0)
    assert Flag.EMPTY_UNITS in found.flags
    assert estimate_prevalence([0, 0], [0, 0], AREA).estimate is None


def test_tissue_share_is_a_ratio_of_sums() -> None:
    found = estimate_tissue_share([0.4, 1.1], [2.0, 2.5], AREA, what="bleached_share_frac")
    assert found.estimate == pytest.approx(1.5 / 4.5)
    assert found.method is Method.JACKKNIFE_T_LOGIT


@pytest.mark.parametrize(
    "call",
    [
        lambda: estimate_point_cover([-1, 3], [10, 10], AREA),
        lambda: estimate_point_cover([11, 3], [10, 10], AREA),
        lambda: estimate_cover([1.2, 0.3], AREA),
        lambda: estimate_density([-2, 3], [10, 10], AREA, edge_rule="centre_inside"),
        lambda: estimate_prevalence([1, 3], [0, 10], AREA),
        lambda: estimate_line_density([[0.2, 0.0]], [20], AREA),
    ],
)
def test_impossible_amounts_are_refused(call) -> None:
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.slug == "survey-value-impossible"


def test_marks_that_do_not_rise_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        line_lengths([("sand", 120), ("Porites", 110)])
    assert caught.value.slug == "survey-marks-not-rising"


def test_intervals_on_request_need_their_units() -> None:
    values, bca = np.linspace(0.1, 0.5, 14), SurveySettings(method=Method.BCA)
    for call in (
        lambda: estimate_cover(values, bca),
        lambda: estimate_point_cover(
            [5] * 7, [50] * 7, SurveySettings(method=Method.BETA_BINOMIAL)
        ),
        lambda: estimate_cover(
            np.linspace(0.1, 0.5, 9), SurveySettings(method=Method.BETA_BINOMIAL)
        ),
        lambda: estimate_density(
            [4, 6], [9, 9], SurveySettings(method=Method.WILSON), edge_rule=None
        ),
    ):
        with pytest.raises(InputError) as caught:
            call()
        assert caught.value.slug == "survey-method-not-for-this"


def test_intervals_on_request_where_there_are_units_enough() -> None:
    values = np.linspace(0.1, 0.5, 15)
    drawn = SurveySettings(method=Method.BCA, rng=np.random.default_rng(1))
    bca = estimate_cover(values, drawn)
    own = estimate_cover(values, AREA)
    assert bca.method is Method.BCA
    assert (bca.lo95, bca.hi95) == pytest.approx((own.lo95, own.hi95), abs=0.02)
    hits = [3, 0, 9, 4, 1, 12, 5, 2]
    beta = SurveySettings(method=Method.BETA_BINOMIAL)
    for found in (
        estimate_point_cover(hits, [50] * 8, beta),
        estimate_prevalence(hits, [50] * 8, beta),
    ):
        assert found.method is Method.BETA_BINOMIAL
        assert found.lo95 < found.estimate < found.hi95
        assert 0.01 < found.u < 0.05
    density = estimate_density(hits * 2, [9.0] * 16, drawn, edge_rule="centre_inside")
    assert density.method is Method.BCA
    assert estimate_prevalence(hits * 2, [50] * 16, drawn).method is Method.BCA
    with pytest.raises(ValueError, match="seeded generator"):
        estimate_cover(values, SurveySettings(method=Method.BCA))
