"""Relative and annual change, a line through visits, and p of many tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import ALIKE, P_HI, ROUNDING
from dryslate.core.survey.methods import Method
from dryslate.core.survey.planning import change_seen
from dryslate.core.survey.spread import Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """
    One change said in four ways; figures alone, without an interval.

    Parameters
    ----------
    absolute, relative : float
    annual_rate : float or None
        Steady relative change a year that gives the same; None where it is past all numbers, as a
        great rise within a day is.
    ln_ratio : float
    """

    absolute: float
    relative: float
    annual_rate: float | None
    ln_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """
    Straight line through the means of visits.

    Parameters
    ----------
    slope, u_slope : float
        A year, or whatever the times are in.
    intercept, r2, p : float
    n_visits : int
    """

    slope: float
    u_slope: float
    intercept: float
    r2: float
    p: float
    n_visits: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyTests:
    """
    p of many tests, raw and adjusted side by side.

    Parameters
    ----------
    n_tests : int
    raw, adjusted : tuple of (float or None)
        None where there was no test.
    """

    n_tests: int
    raw: tuple[float | None, ...]
    adjusted: tuple[float | None, ...]


def rates_of_change(first: float, second: float, years: float) -> Rates:
    r"""
    Return a change as absolute, relative, annual and as a log ratio.

    Parameters
    ----------
    first, second : float
        Above 0.
    years : float
        Above 0.

    Returns
    -------
    Rates

    Raises
    ------
    InputError
        ``change-nothing-to-compare``.

    Notes
    -----
    Annual: :math:`(x_2/x_1)^{1/T} - 1`.

    Examples
    --------
    >>> print(f"{rates_of_change(0.42, 0.30, 3).annual_rate:.3f}")
    -0.106
    """
    if not (0 < first < math.inf and 0 < second < math.inf and 0 < years < math.inf):
        raise InputError(
            "change-nothing-to-compare",
            "A relative change needs two figures above 0 and a time between them.",
            "State the absolute change instead.",
        )
    ln_ratio = math.log(second) - math.log(first)
    try:
        annual_rate = math.expm1(ln_ratio / years)
    except OverflowError:
        annual_rate = None
    return Rates(
        absolute=second - first,
        relative=second / first - 1,
        annual_rate=annual_rate,
        ln_ratio=ln_ratio,
    )


def fit_trend(times: ArrayLike, means: ArrayLike) -> Trend:
    """
    Fit a straight line to the means of visits, by least squares.

    Parameters
    ----------
    times, means : array_like of float, shape (n,)
        One value a visit, three visits or more.

    Returns
    -------
    Trend

    Raises
    ------
    InputError
        ``change-nothing-to-compare``.

    Notes
    -----
    Visits are taken as independent; those that follow each other closely are not, and p is then
    too small.

    Examples
    --------
    >>> print(f"{fit_trend([2018, 2019, 2021], [0.40, 0.36, 0.31]).slope:.3f}")
    -0.029
    """
    from scipy.stats import linregress

    x, y = (np.asarray(v, dtype=np.float64) for v in (times, means))
    if len(x) < 3 or not np.ptp(x) > 0 or not np.isfinite([x, y]).all():
        raise InputError(
            "change-nothing-to-compare",
            "A trend needs three visits or more, at different times.",
            "State the change between two visits instead.",
        )
    fit = linregress(x, y)
    return Trend(
        slope=float(fit.slope),
        u_slope=float(fit.stderr),
        intercept=float(fit.intercept),
        r2=float(fit.rvalue) ** 2,
        p=float(fit.pvalue),
        n_visits=len(x),
    )


def trend_of_visits(what: str, times: ArrayLike, means: ArrayLike) -> Change:
    r"""
    Return the slope of a straight line through visits as a change, with its interval.

    Parameters
    ----------
    what : str
    times, means : array_like of float, shape (n,)
        One value a visit, three visits or more.

    Returns
    -------
    Change
        `n_units` counts visits. Visits on one line exactly: no interval, flagged ``no_spread``.

    Raises
    ------
    InputError
        ``change-nothing-to-compare``.

    Notes
    -----
    t with :math:`n - 2` degrees of freedom on `fit_trend`; the smallest slope that is seen comes
    from the spread of visits about the line.

    Examples
    --------
    >>> found = trend_of_visits("cover_frac_per_year", [2018, 2019, 2021, 2022], [.4, .38, .3, .3])
    >>> print(f"{found.change.estimate:.3f} {found.change.lo95:.3f} {found.change.hi95:.3f}")
    -0.028 -0.049 -0.007
    """
    fit = fit_trend(times, means)
    df = fit.n_visits - 2.0
    x, y = (np.asarray(v, dtype=np.float64) for v in (times, means))
    least = ALIKE * abs(fit.slope) + ROUNDING * float(np.abs(y).max() / np.ptp(x))
    is_known = fit.u_slope > least
    reach = float(stdtrit(df, P_HI)) * fit.u_slope
    change = Estimate(
        what=what,
        estimate=fit.slope,
        u=fit.u_slope if is_known else None,
        lo95=fit.slope - reach if is_known else None,
        hi95=fit.slope + reach if is_known else None,
        method=Method.T_TREND if is_known else Method.NONE,
        n_units=fit.n_visits,
        df=df if is_known else None,
        flags=() if is_known else (Flag.NO_SPREAD,),
    )
    if not is_known:
        return Change(change=change)
    spread = Spread(sd=fit.u_slope, df=df)
    return Change(
        change=change,
        t=fit.slope / fit.u_slope,
        p=fit.p,
        sees=change_seen(spread, 1.0, df, units=fit.n_visits),
    )


def adjust_many(p_values: Sequence[float | None]) -> ManyTests:
    """
    Adjust p of many tests for the share of false finds among those called changed.

    Parameters
    ----------
    p_values : sequence of (float or None)

    Returns
    -------
    ManyTests

    Notes
    -----
    Step-up procedure [1]_: for tests that are independent or go along with each other.

    References
    ----------
    .. [1] Benjamini, Y. & Hochberg, Y. (1995). Controlling the false discovery rate. J. R. Stat.
       Soc. B 57, 289-300.

    Examples
    --------
    >>> [None if p is None else round(p, 3) for p in adjust_many([0.01, None, 0.04, 0.03]).adjusted]
    [0.03, None, 0.04, 0.04]
    """
    from scipy.stats import false_discovery_control

    tested = [p for p in p_values if p is not None]
    found = iter(false_discovery_control(tested) if tested else ())
    adjusted = tuple(None if p is None else float(next(found)) for p in p_values)
    return ManyTests(n_tests=len(tested), raw=tuple(p_values), adjusted=adjusted)
