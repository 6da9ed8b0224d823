"""How far observers agree on names and classes, beyond what chance alone would give."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class Coefficient(StrEnum):
    """Which chance is taken off the observed agreement."""

    COHEN = "cohen"
    COHEN_WEIGHTED = "cohen_weighted"
    FLEISS = "fleiss"
    CONGER = "conger"
    GWET_AC1 = "gwet_ac1"
    EQUAL_CHANCE = "equal_chance"
    ALPHA_NOMINAL = "alpha_nominal"
    ALPHA_ORDINAL = "alpha_ordinal"
    ALPHA_INTERVAL = "alpha_interval"
    ALPHA_RATIO = "alpha_ratio"


class Level(StrEnum):
    """What the values of Krippendorff's alpha are."""

    NOMINAL = "nominal"
    ORDINAL = "ordinal"
    INTERVAL = "interval"
    RATIO = "ratio"


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """
    An agreement beyond chance.

    Parameters
    ----------
    coefficient : Coefficient
    value : float or None
        1 is full agreement, 0 what chance gives; None where chance alone gives full agreement
        already, such as when everybody used one category only.
    observed, expected : float
        Share of pairs that agree (for alpha: 1 less the disagreement), and the same by chance.
    u : float or None
        One standard uncertainty over items drawn at random, the observers being these.
    lo95, hi95 : float or None
        By t on the items less one; None where no two differ, for nothing says then how items vary.
    n_items : int
        Items with two ratings or more.
    n_left_out : int
        Items with one rating or none.
    n_categories : int
        Categories on offer.
    """

    coefficient: Coefficient
    value: float | None
    observed: float
    expected: float
    u: float | None = None
    lo95: float | None = None
    hi95: float | None = None
    n_items: int
    n_left_out: int = 0
    n_categories: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratings:
    """
    Who put which item in which category.

    Parameters
    ----------
    codes : ndarray of int, shape (items, observers)
        Place of the category in `categories`; -1 where not rated.
    categories : tuple
        All that were on offer, used or not, in their order.
    """

    codes: IntArray
    categories: tuple[Any, ...]

    @property
    def counts(self) -> FloatArray:
        """Ratings of each item by category, shape (items, categories)."""
        return np.asarray(self.hits.sum(axis=1), dtype=np.float64)

    @property
    def hits(self) -> FloatArray:
        """One where an observer put an item in a category: (items, observers, categories)."""
        names = np.arange(len(self.categories))
        return np.asarray(self.codes[:, :, None] == names, dtype=np.float64)


def read_ratings(rows: Sequence[Sequence[Any]], categories: Sequence[Any] | None = None) -> Ratings:
    """
    Number the categories of a table of ratings.

    Parameters
    ----------
    rows : sequence of sequence
        One row an item, one entry an observer; None or NaN where not rated.
    categories : sequence or None
        All that were on offer, in their order; None: those that were used, sorted.

    Returns
    -------
    Ratings

    Raises
    ------
    InputError
        ``agreement-table-impossible`` if rows differ in length or hold a category not on offer.

    Examples
    --------
    >>> read_ratings([["Porites", "Porites"], ["Acropora", None]]).codes.tolist()
    [[1, 1], [0, -1]]
    """
    width = len(rows[0]) if len(rows) else 0
    used = {value for row in rows for value in row if not _is_missing(value)}
    names = tuple(sorted(used) if categories is None else categories)
    places = {name: k for k, name in enumerate(names)}
    if width == 0 or any(len(row) != width for row in rows) or used - set(places):
        raise InputError(
            "agreement-table-impossible",
            "The ratings do not make a table: a row is short, or a category is not on the list.",
            "Give one row an item, one entry an observer, and leave blank what was not rated.",
        )
    codes = [[-1 if _is_missing(value) else places[value] for value in row] for row in rows]
    return Ratings(codes=np.array(codes, dtype=np.int64), categories=names)


def _is_missing(value: Any) -> bool:
    """Tell a blank."""
    return value is None or (isinstance(value, float) and math.isnan(value))


def cohen_kappa(table: ArrayLike, disagreement: ArrayLike | None = None) -> Agreement:
    r"""
    Return Cohen's kappa of two observers, plain or weighted.

    Parameters
    ----------
    table : array_like of float, shape (q, q)
        Items by the category of the first observer (rows) and of the second (columns).
    disagreement : array_like of float, shape (q, q), or None
        How bad each confusion is, 0 on the diagonal; None: all alike. Fix them beforehand.

    Returns
    -------
    Agreement

    Raises
    ------
    InputError
        ``agreement-table-impossible`` or ``agreement-nothing-to-compare``.

    Notes
    -----
    :math:`\kappa = (p_o - p_e)/(1 - p_e)` [1]_ [2]_ with :math:`p_o = \sum w_{ij} p_{ij}`,
    :math:`p_e = \sum w_{ij} p_{i.} p_{.j}`, and agreement weights :math:`w = 1 - v/v_{max}`. Its
    variance is that of [3]_. Where nearly everything falls in one category, kappa
    is low however well two observers agree: read it beside the observed agreement.

    References
    ----------
    .. [1] Cohen, J. (1960). Educ. Psychol. Meas. 20, 37-46.
    .. [2] Cohen, J. (1968). Psychol. Bull. 70, 213-220.
    .. [3] Fleiss, J.L., Cohen, J. & Everitt, B.S. (1969). Psychol. Bull. 72, 323-327.

    Examples
    --------
    >>> found = cohen_kappa([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
    >>> print(f"{found.value:.3f} ± {found.u:.3f}")
    0.492 ± 0.051
    """
    p, w, n = _shares_and_weights(table, disagreement)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    po, pe = float((w * p).sum()), float(rows @ w @ columns)
    coefficient = Coefficient.COHEN if disagreement is None else Coefficient.COHEN_WEIGHTED
    if 1.0 - pe < 1e-12:
        return make_agreement(coefficient, po, pe, None, n=n, q=len(p))
    both = (w @ columns)[:, None] + (rows @ w)[None, :]
    inner = (p * (w * (1 - pe) - both * (1 - po)) ** 2).sum() - (po * pe - 2 * pe + po) ** 2
    u = math.sqrt(max(float(inner), 0.0) / n) / (1 - pe) ** 2
    return make_agreement(coefficient, po, pe, u, n=n, q=len(p))


def kappa_null_u(table: ArrayLike, disagreement: ArrayLike | None = None) -> float:
    r"""
    Return the standard error that Cohen's kappa would have if two observers agreed by chance only.

    Parameters
    ----------
    table, disagreement : array_like
        As in `cohen_kappa`.

    Returns
    -------
    float

    Notes
    -----
    :math:`\sigma_0^2 = \{\sum p_{i.} p_{.j} [w_{ij} - (\bar w_{i.} + \bar w_{.j})]^2 - p_e^2\} /
    n (1 - p_e)^2` [1]_; for a test of no agreement, not for an interval.

    References
    ----------
    .. [1] Fleiss, J.L., Cohen, J. & Everitt, B.S. (1969). Psychol. Bull. 72, 323-327.

    Examples
    --------
    >>> print(f"{kappa_null_u([[88, 14, 18], [10, 40, 10], [2, 6, 12]]):.4f}")
    0.0520
    """
    p, w, n = _shares_and_weights(table, disagreement)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    pe = float(rows @ w @ columns)
    both = (w @ columns)[:, None] + (rows @ w)[None, :]
    inner = float((np.outer(rows, columns) * (w - both) ** 2).sum()) - pe**2
    return math.sqrt(max(inner, 0.0) / n) / (1 - pe) if pe < 1.0 else math.nan


def _shares_and_weights(
    table: ArrayLike, disagreement: ArrayLike | None
) -> tuple[FloatArray, FloatArray, int]:
    """Return cell shares, agreement weights and the number of items."""
    counts = np.asarray(table, dtype=np.float64)
    _require_square(counts)
    n = float(counts.sum())
    if n <= 0:
        raise nothing_to_compare()
    if disagreement is None:
        return counts / n, np.eye(len(counts)), round(n)
    v = np.asarray(disagreement, dtype=np.float64)
    if v.shape != counts.shape or v.min() < 0 or v.max() <= 0 or np.diag(v).any():
        raise InputError(
            "agreement-table-impossible",
            "The weights of the confusions do not fit the table.",
            "Give one weight a cell, 0 or more, and 0 where the two observers agree.",
        )
    return counts / n, 1.0 - v / v.max(), round(n)


def _require_square(counts: FloatArray) -> None:
    """Refuse a table that no two observers can have made."""
    is_square = counts.ndim == 2 and counts.shape[0] == counts.shape[1]
    if not is_square or not np.isfinite(counts).all() or counts.min() < 0:
        raise InputError(
            "agreement-table-impossible",
            "The table of two observers is not square, or holds a count below 0.",
            "Give the same categories in rows and columns, with counts of 0 or more.",
        )


def nothing_to_compare() -> InputError:
    """
    Return the refusal of ratings that nobody gave twice.

    Returns
    -------
    InputError
    """
    return InputError(
        "agreement-nothing-to-compare",
        "No item was rated by two observers.",
        "Agreement needs items that two or more observers rated, each without the other's answer.",
    )


def count_pairs(ratings: Ratings, first: int = 0, second: int = 1) -> FloatArray:
    """
    Count items by the categories of two observers, for `cohen_kappa`.

    Parameters
    ----------
    ratings : Ratings
    first, second : int
        Columns of the two; items that either left blank are left out.

    Returns
    -------
    ndarray of float, shape (q, q)

    Examples
    --------
    >>> count_pairs(read_ratings([["a", "a"], ["a", "b"], ["b", None]])).tolist()
    [[1.0, 1.0], [0.0, 0.0]]
    """
    a, b = ratings.codes[:, first], ratings.codes[:, second]
    both = (a >= 0) & (b >= 0)
    table = np.zeros((len(ratings.categories),) * 2)
    np.add.at(table, (a[both], b[both]), 1.0)
    return table


def make_agreement(  # noqa: PLR0913 (every part of a result)
    coefficient: Coefficient,
    observed: float,
    expected: float,
    u: float | None,
    *,
    n: int,
    q: int,
    left_out: int = 0,
) -> Agreement:
    """
    Put a result together, with its interval where items vary.

    Parameters
    ----------
    coefficient : Coefficient
    observed, expected : float
    u : float or None
    n, q, left_out : int

    Returns
    -------
    Agreement
    """
    is_defined = 1.0 - expected >= 1e-12
    value = (observed - expected) / (1.0 - expected) if is_defined else None
    lo = hi = None
    if value is None or u is None or u < 1e-7 or n < 2:
        u = None
    else:
        from scipy.special import stdtrit

        reach = float(stdtrit(n - 1, 0.975)) * u
        lo, hi = max(value - reach, min(value, -1.0)), min(value + reach, 1.0)
    return Agreement(
        coefficient=coefficient,
        value=value,
        observed=observed,
        expected=expected,
        u=u,
        lo95=lo,
        hi95=hi,
        n_items=n,
        n_left_out=left_out,
        n_categories=q,
    )
