"""Sizes: classes, cut-off, weights, intervals over units, comparison of two groups."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.methods import Method
from dryslate.core.survey.size_comparison import MOST_EXACT, compare_sizes
from dryslate.core.survey.size_frequency import describe_sizes, geometric_mean
from dryslate.core.survey.size_quantiles import estimate_quantile
from dryslate.core.survey.sizes import line_weights, measure_shape, point_weights, require_sizes
from dryslate.core.survey.statement import SurveySettings


def settings(seed: int = 1, **more) -> SurveySettings:
    return SurveySettings(rng=np.random.default_rng(seed), **more)


def made(seed: int, n_units: int, centre: float, each: int = 8):
    rng = np.random.default_rng(seed)
    return [np.exp(rng.normal(centre, 0.7, each)) for _ in range(n_units)]


def test_cut_off_is_stated_and_what_it_leaves_out_is_counted() -> None:
    found = describe_sizes(require_sizes([[2, 6], [4, 12]], cut_off_cm=5), settings())
    assert (found.n_colonies, found.n_below_cut_off, found.cut_off_cm) == (2, 2, 5)
    assert Flag.SIZES_CUT_OFF in found.flags
    assert all(Flag.SIZES_CUT_OFF in f.flags for f in found.figures)


def test_few_colonies_are_flagged_and_fifty_are_not() -> None:
    assert Flag.FEW_COLONIES in describe_sizes(require_sizes(made(1, 7, 2, 7)), settings()).flags
    assert (
        Flag.FEW_COLONIES not in describe_sizes(require_sizes(made(1, 5, 2, 10)), settings()).flags
    )


def test_default_classes_double_from_five_centimetres() -> None:
    found = describe_sizes(require_sizes([[4.9, 5, 39.9, 160, 400]]), settings())
    assert [c.lo_cm for c in found.classes] == [0, 5, 10, 20, 40, 80, 160]
    assert [c.count for c in found.classes] == [1, 1, 0, 1, 0, 0, 2]
    assert found.classes[-1].hi_cm == math.inf
    assert found.modal_class_cm == (160, math.inf)


def test_shape_has_no_interval_under_fifteen_units_and_bca_from_there() -> None:
    few = describe_sizes(require_sizes(made(2, 14, 2)), settings())
    many = describe_sizes(require_sizes(made(2, 15, 2)), settings())
    for found in (few, many):
        assert (found.figures[1].what, found.figures[1].lo95) == ("cv_pct", None)
        assert Flag.NO_SOUND_INTERVAL in found.figures[1].flags
    for figure in few.figures[2:]:
        assert (figure.lo95, figure.method) == (None, Method.NONE)
        assert Flag.FEW_UNITS in figure.flags
    for figure in many.figures[2:]:
        assert figure.method is Method.BCA
        assert (Flag.COVERAGE_LOW in figure.flags) == (figure.what != "log_sd")
        assert figure.lo95 < figure.estimate < figure.hi95
    assert many.figures[0].method is Method.JACKKNIFE_T_LOG
    assert sum(c.share.estimate for c in many.classes) == pytest.approx(1)


def test_statistics_of_drawn_units_are_those_of_their_colonies() -> None:
    units = made(3, 6, 2)
    found = {f.what: f.estimate for f in describe_sizes(require_sizes(units), settings()).figures}
    size = np.concatenate(units)
    shape = measure_shape(np.log(size))
    assert found["geometric_mean_cm"] == pytest.approx(np.exp(shape.mean))
    assert found["log_sd"] == pytest.approx(shape.sd)
    assert found["log_skewness"] == pytest.approx(shape.skewness)
    assert found["log_kurtosis"] == pytest.approx(shape.kurtosis)
    assert found["cv_pct"] == pytest.approx(100 * size.std(ddof=1) / size.mean())


def test_colonies_of_one_unit_are_one_witness() -> None:
    spread = geometric_mean(require_sizes(made(4, 6, 2)), settings())
    same = [np.concatenate([u, u, u]) for u in made(4, 6, 2)]
    tripled = geometric_mean(require_sizes(same), settings())
    assert (tripled.lo95, tripled.hi95) == pytest.approx((spread.lo95, spread.hi95))


def test_geometric_mean_of_one_unit_or_of_colonies_all_alike_has_no_interval() -> None:
    assert Flag.ONE_UNIT in geometric_mean(require_sizes([[4, 5], []]), settings()).flags
    alike = geometric_mean(require_sizes([[4, 4], [4]]), settings())
    assert (alike.lo95, alike.flags) == (None, (Flag.NO_SPREAD,))
    bca = geometric_mean(require_sizes(made(2, 15, 2)), settings(method=Method.BCA))
    assert bca.method is Method.BCA


def test_weights_undo_the_favour_of_lines_and_points_for_large_colonies() -> None:
    rng = np.random.default_rng(6)
    size = np.exp(rng.normal(2.0, 0.6, 40_000))
    by_line = rng.choice(size, 8000, p=size / size.sum())
    by_point = rng.choice(size, 8000, p=size**2 / (size**2).sum())
    for met, weights in (
        (by_line, line_weights([by_line])),
        (by_point, point_weights([by_point], [by_point])),
    ):
        plain = geometric_mean(require_sizes([met]), settings()).estimate
        weighed = geometric_mean(require_sizes([met], weights), settings()).estimate
        assert plain > 1.3 * math.exp(2.0)
        assert weighed == pytest.approx(math.exp(2.0), rel=0.04)


def test_impossible_sizes_are_refused() -> None:
    for sizes, weights in (([[4, 0]], None), ([[4, np.nan]], None), ([[4, 5]], [[1, -1]])):
        with pytest.raises(InputError) as caught:
            require_sizes(sizes, weights)
        assert caught.value.slug == "survey-value-impossible"
    with pytest.raises(ValueError, match="one weight"):
        require_sizes([[4, 5]], [[1]])
    with pytest.raises(ValueError, match="smaller than the first"):
        describe_sizes(require_sizes([[4, 5]]), settings(), [5, 10])
    with pytest.raises(ValueError, match="rise"):
        describe_sizes(require_sizes([[4, 5]]), settings(), [5, 5])


def test_no_colony_at_all_gives_no_figures() -> None:
    found = describe_sizes(require_sizes([[], []]), settings())
    assert (found.n_colonies, found.figures, found.modal_class_cm) == (0, (), None)


def test_groups_that_differ_are_told_apart_by_units() -> None:
    small, large = require_sizes(made(7, 8, 1.5)), require_sizes(made(8, 8, 2.5))
    found = compare_sizes(small, large, settings())
    assert found.p_units < 0.01
    assert found.p_units >= found.p_smallest
    assert found.n_distinct_permutations == math.comb(16, 8)
    assert found.ratio.lo95 > 1
    assert found.ratio.lo95 < math.e < found.ratio.hi95
    assert Flag.COLONIES_TAKEN_AS_INDEPENDENT in found.flags


def test_patches_of_like_colonies_fool_the_colonies_test_and_not_the_units() -> None:
    rng = np.random.default_rng(9)
    p_colonies, p_units = [], []
    for _ in range(60):
        groups = [
            require_sizes([np.exp(rng.normal(rng.normal(2, 0.6), 0.2, 15)) for _ in range(4)])
            for _ in range(2)
        ]
        found = compare_sizes(*groups, SurveySettings(rng=rng))
        p_colonies.append(found.p_colonies)
        p_units.append(found.p_units)
    assert np.mean(np.array(p_colonies) < 0.05) > 0.5
    assert np.mean(np.array(p_units) < 0.05) < 0.15


def test_many_colonies_are_compared_without_a_word_from_elsewhere(recwarn) -> None:
    groups = [require_sizes(made(seed, 9, 1.5, 60)) for seed in (3, 40)]
    assert sum(len(one.size_cm) for one in groups) > MOST_EXACT
    found = compare_sizes(*groups, SurveySettings())
    by_limit = stats.ks_2samp(groups[0].size_cm, groups[1].size_cm, method="asymp").pvalue
    assert found.p_colonies == pytest.approx(by_limit)
    close = [
        require_sizes([[4.0, 10, 13, 18, 23, 30, 41]]),
        require_sizes([[6.0, 12, 12, 18, 22, 30, 41]]),
    ]
    assert compare_sizes(*close, SurveySettings()).p_colonies > 0.99
    assert not recwarn.list


def test_comparison_of_weighted_sizes_has_no_p_of_colonies() -> None:
    sizes = [[10, 20], [15, 40]]
    weighed = require_sizes(sizes, line_weights(sizes))
    found = compare_sizes(weighed, weighed, SurveySettings())
    assert (found.ks_d, found.p_colonies, found.p_units) == (0.0, None, None)
    with pytest.raises(ValueError, match="a colony in each"):
        compare_sizes(weighed, require_sizes([[]]), SurveySettings())


def test_no_interval_of_weighted_sizes_goes_without_a_word_on_its_coverage() -> None:
    drawn = made(11, 15, 1.5)
    plain, weighed = require_sizes(drawn), require_sizes(drawn, line_weights(drawn))
    told = {Flag.COVERAGE_LOW, Flag.COVERAGE_NOT_SIMULATED}
    for sizes in (plain, weighed):
        found = describe_sizes(sizes, settings())
        some = [one for one in found.figures if one.what != "geometric_mean_cm"]
        some += [one.share for one in found.classes]
        some += [estimate_quantile(sizes, 0.5, settings())]
        some += [compare_sizes(plain, sizes, settings()).ratio]
        stated = [one for one in some if one.lo95 is not None]
        assert {"log_sd", "size_q50_cm", "geometric_mean_ratio"} <= {one.what for one in stated}
        flagged = [bool(told & set(one.flags)) for one in stated]
        if sizes is weighed:
            assert all(flagged)
        else:
            assert sum(flagged) == 2  # skewness and kurtosis are always
        assert not any(told & set(one.flags) for one in some if one.lo95 is None)


def test_ratio_by_bootstrap_of_units_on_request() -> None:
    small, large = require_sizes(made(7, 15, 1.5)), require_sizes(made(8, 15, 2.0))
    own = compare_sizes(small, large, SurveySettings()).ratio
    drawn = compare_sizes(small, large, settings(method=Method.BCA)).ratio
    assert drawn.method is Method.BCA
    assert (drawn.lo95, drawn.hi95) == pytest.approx((own.lo95, own.hi95), rel=0.06)
    one = compare_sizes(require_sizes([[4, 5]]), large, SurveySettings()).ratio
    assert Flag.ONE_UNIT in one.flags
