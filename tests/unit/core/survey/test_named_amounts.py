"""Amounts by name corrected for misnaming, in arrays: what they come down to, and their doubt."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.intervals import fraction_interval, rate_interval
from dryslate.core.survey.methods import Method
from dryslate.core.survey.misnaming import correct_share, correct_shares
from dryslate.core.survey.named_amounts import amount_interval, state_amount, state_drawn
from dryslate.core.survey.outside_table import (
    correct_by_table,
    correct_prevalence_by_table,
    prepare_table,
)
from dryslate.core.survey.second_looks import (
    SecondLook,
    correct_by_second_looks,
    correct_by_tallies,
)

TABLE = np.array([[0.8, 0.2], [0.1, 0.9]])
COVERS = np.array([[0.30, 0.20], [0.24, 0.18], [0.35, 0.14], [0.28, 0.25], [0.31, 0.21]])


def test_without_errors_the_interval_by_a_table_is_that_of_the_figure_as_read() -> None:
    sure = prepare_table(np.eye(2))
    for values, is_share, interval in (
        (COVERS, True, fraction_interval),
        (COVERS * 40, False, rate_interval),
    ):
        found = correct_by_table(values, sure, is_share=is_share)
        u = values.std(axis=0, ddof=1) / np.sqrt(len(values))
        lo, hi = interval(values.mean(axis=0), u, len(values))
        np.testing.assert_allclose(found.estimate, values.mean(axis=0))
        # the ends of 4,000 draws are known to 2 % of the width, one standard deviation
        np.testing.assert_allclose(found.lo95, lo, atol=0.08 * (hi - lo).max())
        np.testing.assert_allclose(found.hi95, hi, atol=0.08 * (hi - lo).max())


def test_a_table_checked_on_many_corals_comes_to_one_taken_as_exact() -> None:
    many = correct_by_table(COVERS, prepare_table(TABLE, [1e7, 1e7]))
    exact = correct_by_table(COVERS, prepare_table(TABLE))
    np.testing.assert_allclose(many.estimate, exact.estimate)
    np.testing.assert_allclose(many.u, exact.u, rtol=0.05)
    few = correct_by_table(COVERS, prepare_table(TABLE, [20, 20]))
    assert (few.u > 1.2 * exact.u).all()


def test_with_many_units_and_corals_the_doubt_is_rogan_and_gladens() -> None:
    # readings of one point a unit are binomial: the variance of 1978 is then the whole of it
    rng = np.random.default_rng(7)
    reads = rng.random(20_000) < 0.38
    values = np.stack([reads, ~reads], axis=1).astype(float)
    found = correct_by_table(values, prepare_table(TABLE, [2_000, 1_000]))
    want = correct_share(reads.mean(), len(reads), 0.8, 0.9, (2_000, 1_000))
    assert found.estimate[0] == pytest.approx(want.estimate[0])
    assert found.u[0] == pytest.approx(want.u[0], rel=0.05)


def test_the_same_survey_and_table_give_the_same_interval() -> None:
    first, second = (correct_by_table(COVERS, prepare_table(TABLE, [50, 50])) for _ in range(2))
    np.testing.assert_array_equal(first.lo95, second.lo95)
    np.testing.assert_array_equal(first.hi95, second.hi95)


def test_a_class_that_no_unit_read_stays_unread() -> None:
    values = np.column_stack([COVERS[:, 0], np.zeros(5)])
    found = correct_by_table(values, prepare_table([[0.99, 0.01], [0.01, 0.99]], [500, 500]))
    assert np.isfinite([*found.lo95, *found.hi95]).all()
    assert found.estimate[1] < 0
    assert found.lo95[1] < found.estimate[1]


def test_two_units_far_apart_give_a_wide_interval_that_is_a_number() -> None:
    for is_share in (True, False):
        found = correct_by_table(
            [[0.30, 0.02], [0.01, 0.20]], prepare_table(TABLE, [30, 30]), is_share=is_share
        )
        assert np.isfinite([found.estimate, found.u, found.lo95, found.hi95]).all()
        assert (found.hi95 - found.lo95 > 4 * found.estimate).all()


def test_what_cannot_be_corrected_is_refused() -> None:
    ready = prepare_table(TABLE)
    for values in (np.zeros((4, 2)), COVERS[:1]):
        with pytest.raises(InputError, match="nothing to correct"):
            correct_by_table(values, ready)
    with pytest.raises(InputError, match="too poorly"):
        prepare_table([[0.52, 0.48], [0.49, 0.51]])
    with pytest.raises(InputError, match="no checked items"):
        prepare_table(TABLE, [10, 0])
    with pytest.raises(InputError, match="do not add up"):
        correct_shares([0.5, 0.4], 10, TABLE)


@pytest.mark.parametrize("checked", [None, [40.0, 40.0]])
def test_every_figure_by_a_table_says_that_rates_are_from_elsewhere(checked) -> None:
    ready = prepare_table(TABLE, checked)
    found = correct_by_table(COVERS, ready)
    stated = state_drawn("cover_adjusted_frac", ready, found, 0, 5, is_plots=True)
    assert Flag.RATES_FROM_ELSEWHERE in stated.flags
    assert Flag.OF_THESE_PLOTS in stated.flags
    assert (Flag.RATES_TAKEN_AS_EXACT in stated.flags) == (checked is None)
    assert stated.method is Method.OUTSIDE_TABLE
    assert stated.lo95 < stated.estimate < stated.hi95


@pytest.mark.parametrize(
    ("table", "checked", "is_wide"),
    [
        (TABLE, 100, False),
        (TABLE, 10, True),  # few checked
        ([[0.6, 0.4], [0.4, 0.6]], 50, True),  # five times magnified, over the root of 50
        ([[0.6, 0.4], [0.4, 0.6]], 400, False),
    ],
)
def test_a_table_that_is_roughly_known_makes_wide_intervals_and_says_so(
    table, checked: int, is_wide: bool
) -> None:
    ready = prepare_table(table, [checked, checked])
    stated = state_drawn("cover_adjusted_frac", ready, correct_by_table(COVERS, ready), 0, 5)
    assert (Flag.COVERAGE_HIGH in stated.flags) == is_wide
    assert Flag.COVERAGE_LOW not in stated.flags


def test_units_all_alike_and_rates_taken_as_exact_leave_no_doubt_to_state() -> None:
    ready = prepare_table(TABLE)
    found = correct_by_table(np.tile([0.3, 0.2], (4, 1)), ready)
    stated = state_drawn("cover_adjusted_frac", ready, found, 0, 4)
    assert (stated.u, stated.lo95, stated.method) == (None, None, Method.NONE)
    assert Flag.NO_SPREAD in stated.flags


def test_surveys_tallied_at_once_come_out_as_one_by_one() -> None:
    rng = np.random.default_rng(11)
    units = [f"T{k}" for k in range(6)]
    values = rng.uniform(0.05, 0.3, (3, 6, 2))
    weights, numbers, alone = np.zeros((3, 9, 2, 2)), np.zeros((3, 2, 2)), []
    for s in range(3):
        looks = [
            SecondLook(
                unit=f"T{rng.integers(9)}",
                first="AB"[rng.integers(2)],
                settled="AB"[rng.integers(2)],
                p_drawn=float(rng.choice([0.1, 1.0])),
            )
            for _ in range(40)
        ]
        for one in looks:
            at = (s, int(one.unit[1]), "AB".index(one.first), "AB".index(one.settled))
            weights[at] += 1 / one.p_drawn
            numbers[s, at[2], at[3]] += 1
        alone.append(correct_by_second_looks(values[s], units, looks, ["A", "B"]))
    together = correct_by_tallies(values, weights, numbers)
    for what in ("raw", "estimate", "u", "df"):
        want = np.array([getattr(one, what) for one in alone])
        np.testing.assert_allclose(getattr(together, what), want, err_msg=what)


def test_leaving_out_each_unit_by_hand_gives_the_same_doubt() -> None:
    values = np.array([[0.2, 0.1], [0.3, 0.1], [0.25, 0.2]])
    weights = np.array(
        [[[8.0, 2.0], [1.0, 9.0]], [[9.0, 1.0], [2.0, 8.0]], [[7.0, 3.0], [1.0, 9.0]]]
    )

    def corrected(kept: list[int]) -> np.ndarray:
        table = weights[kept].sum(axis=0)
        return values[kept].mean(axis=0) @ (table / table.sum(axis=1, keepdims=True))

    left = np.array([corrected([k for k in range(3) if k != out]) for out in range(3)])
    want = np.sqrt(2 / 3 * ((left - left.mean(axis=0)) ** 2).sum(axis=0))
    found = correct_by_tallies(values, weights, weights.sum(axis=0))
    np.testing.assert_allclose(found.estimate, corrected([0, 1, 2]))
    np.testing.assert_allclose(found.u, want)  # no confusion is left that was never met


def test_amounts_beyond_what_can_be_are_stated_on_the_plain_scale() -> None:
    lo, hi = amount_interval([-0.02, 0.1], [0.01, 0.02], 9, [8.0, 8.0], is_share=True)
    assert (lo[0] + hi[0]) / 2 == pytest.approx(-0.02)
    assert 0 < lo[1] < 0.1 < hi[1]
    stated = state_amount(("cover_adjusted_frac", Method.TWICE_NAMED), (-0.02, 0.01, 8.0), 9)
    assert Flag.ADJUSTED_OUTSIDE in stated.flags
    none = state_amount(("cover_adjusted_frac", Method.TWICE_NAMED), (0.2, 0.0, 8.0), 9)
    assert (none.lo95, none.method) == (None, Method.NONE)


def test_second_looks_of_two_units_say_that_their_interval_is_narrow() -> None:
    what, amount = ("cover_adjusted_frac", Method.TWICE_NAMED), (0.12, 0.03, 1.0)
    assert state_amount(what, amount, 2).flags == (Flag.COVERAGE_LOW,)
    assert state_amount(what, amount, 3).flags == ()
    raw = state_amount(("cover_frac", Method.T_LOGIT), amount, 2)
    assert raw.flags == ()


ILL = np.array([[5, 2], [3, 1], [6, 2], [4, 3]])
WELL = np.array([[5, 9], [8, 12], [4, 8], [7, 9]])


def test_prevalence_of_genera_that_bleach_alike_is_not_moved() -> None:
    ready = prepare_table(TABLE, [100, 100])
    found = correct_prevalence_by_table(WELL, 3 * WELL, ready)
    np.testing.assert_allclose(found.raw, 0.25)
    np.testing.assert_allclose(found.estimate, 0.25)


def test_prevalence_that_names_mixed_is_told_apart_again() -> None:
    true_ill, true_well = np.array([[40, 5]] * 4), np.array([[60, 95]] * 4)
    found = correct_prevalence_by_table(true_ill @ TABLE, true_well @ TABLE, prepare_table(TABLE))
    np.testing.assert_allclose(found.estimate, [0.40, 0.05])
    assert found.raw[0] < 0.40
    assert found.raw[1] > 0.05


def test_prevalence_with_a_sure_table_has_the_width_of_the_jackknife() -> None:
    from dryslate.core.survey.prevalence import estimate_prevalence
    from dryslate.core.survey.statement import SurveySettings

    rng = np.random.default_rng(5)
    n = rng.poisson(20, (30, 2))
    ill = rng.binomial(n, [0.4, 0.2])
    found = correct_prevalence_by_table(ill, n - ill, prepare_table(np.eye(2)))
    for k in range(2):
        want = estimate_prevalence(ill[:, k], n[:, k], SurveySettings())
        assert found.estimate[k] == pytest.approx(want.estimate)
        assert found.u[k] == pytest.approx(want.u, rel=0.1)


def test_a_class_of_which_nothing_is_left_has_no_prevalence() -> None:
    ready = prepare_table([[0.6, 0.4], [0.05, 0.95]], [100, 100])
    found = correct_prevalence_by_table([[5, 1], [4, 0]], [[30, 3], [25, 4]], ready)
    assert np.isnan(found.estimate[1])


def test_prevalence_of_few_units_by_a_table_says_that_its_interval_is_wide() -> None:
    ready = prepare_table(TABLE, [100, 100])
    found = correct_prevalence_by_table(ILL, WELL, ready)
    figure = "prevalence_bleached_adjusted_frac"
    assert Flag.COVERAGE_HIGH in state_drawn(figure, ready, found, 0, 8).flags
    assert Flag.COVERAGE_HIGH not in state_drawn(figure, ready, found, 0, 9).flags
    assert Flag.COVERAGE_HIGH not in state_drawn("cover_adjusted_frac", ready, found, 0, 4).flags
    exact = prepare_table(TABLE)
    sure = state_drawn(figure, exact, correct_prevalence_by_table(ILL, WELL, exact), 0, 4)
    assert Flag.COVERAGE_LOW in sure.flags
    assert Flag.COVERAGE_HIGH not in sure.flags
