"""How far observers agree on lengths, areas and other measured values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
Z95 = 1.959963984540054


class Form(StrEnum):
    """Six intraclass correlations: who measured, and whether one value or the mean of k counts."""

    ONE_WAY_SINGLE = "one_way_single"
    TWO_WAY_RANDOM_SINGLE = "two_way_random_single"
    TWO_WAY_FIXED_SINGLE = "two_way_fixed_single"
    ONE_WAY_MEAN = "one_way_mean"
    TWO_WAY_RANDOM_MEAN = "two_way_random_mean"
    TWO_WAY_FIXED_MEAN = "two_way_fixed_mean"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlation:
    """
    An intraclass correlation.

    Parameters
    ----------
    form : Form
    value : float or None
        Share of the variance that lies between items; None where nothing varies.
    lo95, hi95 : float or None
        By F; None where observers never differ.
    n_items, n_observers : int
    n_left_out : int
        Items that not everybody measured.
    """

    form: Form
    value: float | None
    lo95: float | None
    hi95: float | None
    n_items: int
    n_observers: int
    n_left_out: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """
    Limits of agreement between two ways of measuring.

    Parameters
    ----------
    bias, bias_u, bias_lo95, bias_hi95 : float
        Mean of first less second.
    sd : float
        Standard deviation of the differences.
    lower, upper : float
        Bias less and plus `multiplier` standard deviations.
    limit_u : float
        One standard uncertainty of either limit.
    slope, slope_u : float or None
        Of the differences on the means of the two; far from 0, one bias does not fit all sizes.
    n : int
    """

    bias: float
    bias_u: float
    bias_lo95: float
    bias_hi95: float
    sd: float
    lower: float
    upper: float
    limit_u: float
    multiplier: float
    slope: float | None
    slope_u: float | None
    n: int


def intraclass_correlation(values: ArrayLike, form: Form) -> Correlation:
    r"""
    Return one of six intraclass correlations, with its interval.

    Parameters
    ----------
    values : array_like of float, shape (items, observers)
        NaN where not measured: such items are left out and counted.
    form : Form
        ``one_way``: each item by other observers; ``two_way_random``: the same observers, standing
        for all who might have measured (their bias counts); ``two_way_fixed``: these observers
        only (their bias does not count). Fix it beforehand.

    Returns
    -------
    Correlation

    Raises
    ------
    InputError
        ``agreement-table-impossible`` or ``agreement-nothing-to-compare``.

    Notes
    -----
    From the mean squares between items B, within items W, between observers J and of what is
    left E [1]_: :math:`(B-W)/(B+(k-1)W)`, :math:`(B-E)/(B+(k-1)E+k(J-E)/n)`,
    :math:`(B-E)/(B+(k-1)E)`; for means of k observers :math:`(B-W)/B`,
    :math:`(B-E)/(B+(J-E)/n)`, :math:`(B-E)/B`. Intervals by F, with the degrees of freedom
    of [1]_ for the second, where a value below 0 stands for 0.

    References
    ----------
    .. [1] Shrout, P.E. & Fleiss, J.L. (1979). Psychol. Bull. 86, 420-428.

    Examples
    --------
    >>> sizes = [[21, 23], [34, 33], [8, 10], [15, 15]]
    >>> print(f"{intraclass_correlation(sizes, Form.TWO_WAY_RANDOM_SINGLE).value:.3f}")
    0.990
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] < 2 or np.isinf(table).any():
        raise InputError(
            "agreement-table-impossible",
            "The measured values do not make a table of items by two or more observers.",
            "Give one row an item, one entry an observer, and leave blank what was not measured.",
        )
    whole = np.isfinite(table).all(axis=1)
    x = table[whole]
    n, k = x.shape
    if n < 2:
        raise InputError(
            "agreement-nothing-to-compare",
            "Fewer than two items were measured by all observers.",
            "Agreement on sizes needs several items that everybody measured.",
        )
    between = k * float(x.mean(axis=1).var(ddof=1))
    within = float(x.var(axis=1, ddof=1).mean())
    observers = n * float(x.mean(axis=0).var(ddof=1))
    left = max((n * (k - 1) * within - (k - 1) * observers) / ((n - 1) * (k - 1)), 0.0)
    spread = (between, within, observers, left)
    single, ends = _single(form, spread, n, k)
    if form in (Form.ONE_WAY_MEAN, Form.TWO_WAY_RANDOM_MEAN, Form.TWO_WAY_FIXED_MEAN):
        single = _of_mean(single, k)
        ends = (_of_mean(ends[0], k), _of_mean(ends[1], k))
    return Correlation(
        form=form,
        value=single,
        lo95=ends[0],
        hi95=ends[1],
        n_items=n,
        n_observers=k,
        n_left_out=int((~whole).sum()),
    )


def _of_mean(single: float | None, k: int) -> float | None:
    """Step from one observer up to the mean of k (Spearman and Brown)."""
    if single is None or 1.0 + (k - 1) * single <= 0:
        return None
    return k * single / (1.0 + (k - 1) * single)


def _single(
    form: Form, spread: tuple[float, float, float, float], n: int, k: int
) -> tuple[float | None, tuple[float | None, float | None]]:
    """Return the form for a single observer and its ends."""
    from scipy.special import fdtri

    between, within, observers, left = spread
    if form in (Form.TWO_WAY_RANDOM_SINGLE, Form.TWO_WAY_RANDOM_MEAN):
        below = between + (k - 1) * left + k * (observers - left) / n
        value = (between - left) / below if below > 0 else None
        return value, _random_ends(value, spread, n, k)
    is_one_way = form in (Form.ONE_WAY_SINGLE, Form.ONE_WAY_MEAN)
    error = within if is_one_way else left
    df = n * (k - 1) if is_one_way else (n - 1) * (k - 1)
    below = between + (k - 1) * error
    if below <= 0:
        return None, (None, None)
    value = (between - error) / below
    if error <= 0:
        return value, (None, None)
    ratio = between / error
    lo = ratio / float(fdtri(n - 1, df, 0.975))
    hi = ratio * float(fdtri(df, n - 1, 0.975))
    return value, ((lo - 1) / (lo + k - 1), (hi - 1) / (hi + k - 1))


def _random_ends(
    value: float | None, spread: tuple[float, float, float, float], n: int, k: int
) -> tuple[float | None, float | None]:
    """Return the ends for observers that stand for all, by Satterthwaite's degrees of freedom."""
    from scipy.special import fdtri

    between, _within, observers, left = spread
    if value is None or left <= 0:
        return None, None
    share = max(value, 0.0)  # degrees of freedom are those of a sum: no part of it is below 0
    a = k * share * observers / left
    b = n * (1 + (k - 1) * share) - k * share
    df = (k - 1) * (n - 1) * (a + b) ** 2 / ((n - 1) * a**2 + b**2)
    rest = k * observers + (k * n - k - n) * left
    upper, lower = float(fdtri(n - 1, df, 0.975)), float(fdtri(df, n - 1, 0.975))
    lo = n * (between - upper * left) / (upper * rest + n * between)
    hi = n * (lower * between - left) / (rest + n * lower * between)
    return lo, hi


def limits_of_agreement(first: ArrayLike, second: ArrayLike, multiplier: float = Z95) -> Limits:
    r"""
    Return the bias between two ways of measuring, and the limits most differences lie in.

    Parameters
    ----------
    first, second : array_like of float, shape (n)
        The same items by two observers or methods; a pair with a NaN is left out. Where
        differences grow with size, give logarithms: the limits are then factors.
    multiplier : float
        1.96 unless another was fixed beforehand.

    Returns
    -------
    Limits

    Raises
    ------
    InputError
        ``agreement-table-impossible`` or ``agreement-nothing-to-compare``.

    Notes
    -----
    :math:`\bar d \pm 1.96\,s`; the bias by t; :math:`u^2` of a limit
    :math:`s^2 (1/n + z^2/2(n-1))` [1]_. Near 95 % of differences lie within them
    only where they are about normal and do not depend on size.

    References
    ----------
    .. [1] Bland, J.M. & Altman, D.G. (1986). Lancet i, 307-310; (1999) Stat. Methods Med. Res. 8,
       135-160.

    Examples
    --------
    >>> found = limits_of_agreement([10.2, 14.9, 22.0, 31.4], [10.0, 15.5, 21.0, 31.0])
    >>> print(f"{found.bias:.2f}: {found.lower:.2f} to {found.upper:.2f}")
    0.25: -1.05 to 1.55
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1 or np.isinf(a).any() or np.isinf(b).any():
        raise InputError(
            "agreement-table-impossible",
            "The two lists of measured values are not equally long.",
            "Give the same items in the same order, and leave blank what was not measured.",
        )
    both = np.isfinite(a) & np.isfinite(b)
    d, middle = a[both] - b[both], (a[both] + b[both]) / 2.0
    n = len(d)
    if n < 2:
        raise InputError(
            "agreement-nothing-to-compare",
            "Fewer than two items were measured both times.",
            "Agreement on sizes needs several items measured twice.",
        )
    from scipy.special import stdtrit

    bias, sd = float(d.mean()), float(d.std(ddof=1))
    u = sd / math.sqrt(n)
    reach = float(stdtrit(n - 1, 0.975)) * u
    slope, slope_u = _slope(middle, d)
    return Limits(
        bias=bias,
        bias_u=u,
        bias_lo95=bias - reach,
        bias_hi95=bias + reach,
        sd=sd,
        lower=bias - multiplier * sd,
        upper=bias + multiplier * sd,
        limit_u=sd * math.sqrt(1 / n + multiplier**2 / (2 * (n - 1))),
        multiplier=multiplier,
        slope=slope,
        slope_u=slope_u,
        n=n,
    )


def _slope(x: FloatArray, y: FloatArray) -> tuple[float | None, float | None]:
    """Return the least-squares slope of y on x and its standard error."""
    squares = float(((x - x.mean()) ** 2).sum())
    if squares <= 0 or len(x) < 3:
        return None, None
    slope = float(((x - x.mean()) * y).sum()) / squares
    left = y - y.mean() - slope * (x - x.mean())
    return slope, math.sqrt(float((left**2).sum()) / (len(x) - 2) / squares)
