"""Krippendorff's alpha: agreement of any number of observers, on any level of measurement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.agreement import (
    Agreement,
    Coefficient,
    Level,
    make_agreement,
    nothing_to_compare,
    read_ratings,
)

FloatArray = NDArray[np.float64]


def krippendorff_alpha(rows: Sequence[Sequence[Any]], level: Level) -> Agreement:
    r"""
    Return Krippendorff's alpha with its jackknife interval.

    Parameters
    ----------
    rows : sequence of sequence
        One row an item, one entry an observer; None or NaN where not rated. Numbers unless nominal.
    level : Level
        ``ordinal`` takes the order of the values, ``ratio`` wants values of 0 or more.

    Returns
    -------
    Agreement
        `observed` and `expected` are 1 less the disagreement, on the scale of the level.

    Raises
    ------
    InputError
        ``agreement-table-impossible`` or ``agreement-nothing-to-compare``.

    Notes
    -----
    :math:`\alpha = 1 - D_o/D_e` with :math:`D_o = \frac1n \sum_{ck} o_{ck} \delta^2_{ck}`,
    :math:`D_e = \frac{1}{n(n-1)} \sum_{ck} n_c n_k \delta^2_{ck}`, where :math:`o_{ck}` are the
    coincidences of pairable values [1]_. The doubt is that of leaving out one item at a time.

    References
    ----------
    .. [1] Krippendorff, K. (2011). Computing Krippendorff's Alpha-Reliability.

    Examples
    --------
    >>> found = krippendorff_alpha([[1, 1], [2, 3], [3, 3], [4, None]], Level.INTERVAL)
    >>> print(f"{found.value:.3f}")
    0.828
    """
    ratings = read_ratings(rows)
    r = ratings.counts
    r = r[r.sum(axis=1) >= 2]
    used = r.sum(axis=0) > 0
    r = r[:, used]
    values = [v for v, is_used in zip(ratings.categories, used, strict=True) if is_used]
    if not len(r):
        raise nothing_to_compare()
    numbers = np.arange(len(values), dtype=np.float64)
    if level in (Level.INTERVAL, Level.RATIO):
        numbers = _numbers(values, level)
    within = _Disagreement(r, numbers, level)
    observed, expected = within(np.ones(len(r)))
    return make_agreement(
        Coefficient(f"alpha_{level.value}"),
        1.0 - observed,
        1.0 - expected,
        _jackknife_u(within, len(r)) if expected > 0 else None,
        n=len(r),
        q=len(values),
        left_out=len(ratings.codes) - len(r),
    )


class _Disagreement:
    """Observed and expected disagreement of a choice of items."""

    def __init__(self, r: FloatArray, numbers: FloatArray, level: Level) -> None:
        self.r, self.numbers, self.level = r, numbers, level
        self.m = r.sum(axis=1)
        self.fixed = None if level is Level.ORDINAL else _squares(numbers, level)

    def __call__(self, keep: FloatArray) -> tuple[float, float]:
        n_c = keep @ self.r
        n = float(n_c.sum())
        squares = _ordinal_squares(n_c) if self.fixed is None else self.fixed
        apart = np.einsum("ik,ik->i", self.r @ squares, self.r) / (self.m - 1)
        expected = float(n_c @ squares @ n_c) / (n * (n - 1)) if n > 1 else 0.0
        return float(keep @ apart) / n, expected


def _squares(numbers: FloatArray, level: Level) -> FloatArray:
    """Return squared differences between values, except for ordinal ones."""
    if level is Level.NOMINAL:
        return np.asarray(1.0 - np.eye(len(numbers)))
    gap = numbers[:, None] - numbers[None, :]
    if level is Level.INTERVAL:
        return np.asarray(gap**2)
    total = numbers[:, None] + numbers[None, :]
    return np.asarray(np.divide(gap, total, out=np.zeros_like(gap), where=total > 0) ** 2)


def _ordinal_squares(n_c: FloatArray) -> FloatArray:
    """Return squared differences in rank, by how many values lie between."""
    middle = np.cumsum(n_c) - n_c / 2.0
    return np.asarray((middle[:, None] - middle[None, :]) ** 2)


def _numbers(values: Sequence[Any], level: Level) -> FloatArray:
    """Return the values as numbers fit for the level."""
    try:
        numbers = np.array([float(v) for v in values])
    except (TypeError, ValueError):
        numbers = np.array([math.nan])
    if not np.isfinite(numbers).all() or (level is Level.RATIO and numbers.min() < 0):
        raise InputError(
            "agreement-table-impossible",
            f"Values that are not numbers, or below 0, have no {level.value} scale.",
            "Take the nominal level for names, and the interval level for values below 0.",
        )
    return numbers


def _jackknife_u(within: _Disagreement, n: int) -> float | None:
    """Return the standard error by leaving out one item at a time."""
    if n < 2:
        return None
    left_out = []
    keep = np.ones(n)
    for i in range(n):
        keep[i] = 0.0
        observed, expected = within(keep)
        left_out.append(1.0 - observed / expected if expected > 0 else math.nan)
        keep[i] = 1.0
    values = np.array(left_out)
    if not np.isfinite(values).all():
        return None
    u = math.sqrt((n - 1) / n * float(((values - values.mean()) ** 2).sum()))
    return u if u > 1e-12 else None
