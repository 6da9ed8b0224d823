"""Agreement of observers: what cannot be said is not said, and doubt is what leaving out tells."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.survey.agreement import (
    Coefficient,
    Level,
    cohen_kappa,
    count_pairs,
    read_ratings,
)
from dryslate.core.survey.agreement_alpha import krippendorff_alpha
from dryslate.core.survey.agreement_many import agree, agree_counts, fleiss_by_category
from dryslate.core.survey.misnaming import correct_share, correct_shares
from dryslate.core.survey.observer_sizes import Form, intraclass_correlation, limits_of_agreement

RNG = np.random.default_rng(20)
TRUTH = RNG.integers(0, 4, 120)
NAMES = np.where(RNG.random((120, 3)) < 0.75, TRUTH[:, None], RNG.integers(0, 4, (120, 3)))
ROWS = [[None if RNG.random() < 0.1 else int(v) for v in row] for row in NAMES]
ALL_OF_ONE = [["Porites", "Porites"]] * 5


def jackknife(values: list[float]) -> float:
    x = np.array(values)
    return float(np.sqrt((len(x) - 1) / len(x) * ((x - x.mean()) ** 2).sum()))


@pytest.mark.parametrize(
    "coefficient",
    [Coefficient.FLEISS, Coefficient.CONGER, Coefficient.GWET_AC1, Coefficient.EQUAL_CHANCE],
)
def test_doubt_is_near_what_leaving_out_items_tells(coefficient: Coefficient) -> None:
    def value(rows: list[list[int | None]]) -> float:
        found = agree(read_ratings(rows, range(4)), coefficient).value
        assert found is not None
        return found

    found = agree(read_ratings(ROWS, range(4)), coefficient)
    left_out = [value(ROWS[:i] + ROWS[i + 1 :]) for i in range(len(ROWS))]
    assert found.u == pytest.approx(jackknife(left_out), rel=0.05)
    assert found.lo95 is not None
    assert found.hi95 is not None
    assert found.lo95 < value(ROWS) < found.hi95


def test_conger_is_cohen_for_two_observers() -> None:
    rows = [[int(v) for v in row[:2]] for row in NAMES]
    ratings = read_ratings(rows)
    conger, cohen = agree(ratings, Coefficient.CONGER), cohen_kappa(count_pairs(ratings))
    assert conger.value == pytest.approx(cohen.value, abs=1e-12)
    assert conger.u == pytest.approx(cohen.u, rel=0.01)


def test_alpha_doubt_leaves_out_each_item() -> None:
    whole = [row for row in ROWS if sum(v is not None for v in row) >= 2]
    found = krippendorff_alpha(whole, Level.INTERVAL)
    left_out = [
        krippendorff_alpha(whole[:i] + whole[i + 1 :], Level.INTERVAL).value
        for i in range(len(whole))
    ]
    assert found.u == pytest.approx(jackknife([v for v in left_out if v is not None]), rel=1e-9)


def test_one_category_throughout_is_no_agreement_beyond_chance() -> None:
    ratings = read_ratings(ALL_OF_ONE)
    assert cohen_kappa([[7, 0], [0, 0]]).value is None
    assert agree(ratings, Coefficient.FLEISS).value is None
    assert krippendorff_alpha(ALL_OF_ONE, Level.NOMINAL).value is None
    offered = agree(read_ratings(ALL_OF_ONE, ["Acropora", "Porites"]), Coefficient.GWET_AC1)
    assert offered.value == 1.0  # two were on offer: agreeing on one of them is agreement
    assert offered.u is None


def test_full_agreement_has_no_interval() -> None:
    found = cohen_kappa([[5, 0], [0, 7]])
    assert (found.value, found.u, found.lo95) == (1.0, None, None)


def test_items_rated_once_are_left_out_and_counted() -> None:
    rows = [["a", "a"], ["a", "b"], ["b", "b"], ["b", None], [None, None]]
    found = agree(read_ratings(rows), Coefficient.FLEISS)
    assert (found.n_items, found.n_left_out) == (3, 2)
    assert agree_counts([[2, 0], [1, 1], [0, 2]], Coefficient.FLEISS).n_left_out == 0


@pytest.mark.parametrize(
    "attempt",
    [
        lambda: read_ratings([["a", "b"], ["a"]]),
        lambda: read_ratings([["a", "b"]], ["a"]),
        lambda: cohen_kappa([[1, 2, 3], [4, 5, 6]]),
        lambda: cohen_kappa([[1, -2], [3, 4]]),
        lambda: cohen_kappa([[1, 2], [3, 4]], [[1, 1], [1, 0]]),
        lambda: agree(read_ratings(ALL_OF_ONE), Coefficient.COHEN),
        lambda: agree_counts([[1, -1]], Coefficient.FLEISS),
        lambda: fleiss_by_category([[2, 0], [1, 2]]),
        lambda: krippendorff_alpha([["Porites", "Acropora"]], Level.INTERVAL),
        lambda: krippendorff_alpha([[-1, 2]], Level.RATIO),
        lambda: intraclass_correlation([1, 2, 3], Form.ONE_WAY_SINGLE),
        lambda: limits_of_agreement([1, 2], [1, 2, 3]),
    ],
)
def test_a_table_that_cannot_be_is_refused(attempt: object) -> None:
    with pytest.raises(InputError, match="agreement-table-impossible"):
        attempt()  # type: ignore[operator]


@pytest.mark.parametrize(
    "attempt",
    [
        lambda: cohen_kappa([[0, 0], [0, 0]]),
        lambda: agree(read_ratings([["a", None], [None, "b"]]), Coefficient.FLEISS),
        lambda: krippendorff_alpha([["a", None]], Level.NOMINAL),
        lambda: intraclass_correlation([[1, np.nan], [2, 3]], Form.ONE_WAY_SINGLE),
        lambda: limits_of_agreement([1, np.nan], [1, 2]),
    ],
)
def test_nothing_rated_twice_is_refused(attempt: object) -> None:
    with pytest.raises(InputError, match="agreement-nothing-to-compare"):
        attempt()  # type: ignore[operator]


@pytest.mark.parametrize(
    "attempt",
    [
        lambda: correct_share(0.3, 100, 0.5, 0.5),
        lambda: correct_share(0.3, 100, 0.3, 0.4),
        lambda: correct_share(0.3, 0, 0.9, 0.9),
        lambda: correct_share(1.3, 100, 0.9, 0.9),
        lambda: correct_share(0.3, 100, 0.9, 0.9, (0, 10)),
        lambda: correct_shares([0.5, 0.5], 100, [[0.9, 0.2], [0.1, 0.9]]),
        lambda: correct_shares([0.5, 0.5], 100, [[1.0]]),
    ],
)
def test_a_confusion_table_that_cannot_be_used_is_refused(attempt: object) -> None:
    with pytest.raises(InputError, match="confusion-not-usable"):
        attempt()  # type: ignore[operator]


def test_corrected_doubt_is_that_of_repeated_surveys() -> None:
    rng = np.random.default_rng(5)
    table = np.array([[0.85, 0.1, 0.05], [0.08, 0.88, 0.04], [0.12, 0.08, 0.8]])
    truth, n, checked = np.array([0.5, 0.3, 0.2]), 400, 60
    estimates = []
    for _ in range(2000):
        found = np.array([rng.multinomial(checked, row) for row in table]) / checked
        read = rng.multinomial(n, truth @ table) / n
        estimates.append(np.linalg.solve(found.T, read))
    corrected = correct_shares(truth @ table, n, table, [checked] * 3)
    spread = np.array(estimates).std(axis=0)
    np.testing.assert_allclose(corrected.u, spread, rtol=0.06)


def test_sizes_measured_alike_have_no_interval() -> None:
    found = intraclass_correlation([[1, 1], [2, 2], [5, 5]], Form.TWO_WAY_FIXED_SINGLE)
    assert (found.value, found.lo95) == (1.0, None)
    assert intraclass_correlation([[2, 2], [2, 2]], Form.ONE_WAY_SINGLE).value is None
    left = intraclass_correlation([[1, 2], [2, 2], [5, np.nan], [4, 5]], Form.ONE_WAY_MEAN)
    assert (left.n_items, left.n_left_out) == (3, 1)


def test_limits_tell_when_differences_grow_with_size() -> None:
    small = np.array([5.0, 10.0, 20.0, 40.0, 80.0])
    found = limits_of_agreement(small * 1.1, small)
    assert found.slope == pytest.approx(0.1 / 1.05, abs=1e-9)
    logs = limits_of_agreement(np.log(small * 1.1), np.log(small))
    assert np.exp(logs.bias) == pytest.approx(1.1)
    assert limits_of_agreement([1.0, 1.0], [1.0, 1.0]).slope is None
