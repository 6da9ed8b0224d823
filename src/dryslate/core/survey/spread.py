"""Standard deviation that a plan builds on, from past data or stated, with its own doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from dryslate.base.errors import InputError

ALPHA = 0.05
"""Two-sided."""
ALIKE = 1e-9
"""A spread below this share of the largest value is that of the computer's digits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """
    Standard deviation that a plan builds on, with its own doubt.

    Parameters
    ----------
    sd : float
        Of unit values (two groups, intervals), or of differences within a unit (paired).
    df : float
        Degrees of freedom that it was found with; infinite: taken as known.
    """

    sd: float
    df: float = math.inf

    def ends(self) -> tuple[float, float]:
        r"""
        Return its 95 % interval.

        Returns
        -------
        lo95, hi95 : float

        Notes
        -----
        :math:`\sqrt{\nu s^2/\chi^2_\nu}`; takes unit values as normal.
        """
        if math.isinf(self.df):
            return self.sd, self.sd
        lo, hi = (
            self.sd * math.sqrt(self.df / chdtri(self.df, p)) for p in (ALPHA / 2, 1 - ALPHA / 2)
        )
        return float(lo), float(hi)


def spread_of_units(*visits: ArrayLike) -> Spread:
    """
    Return the spread of units from past data, pooled within visits or sites.

    Parameters
    ----------
    *visits : array_like of float
        Unit values of each; NaN is blank. For paired designs, the differences.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        ``plan-impossible`` if no visit has two units, or all units are alike.

    Examples
    --------
    >>> spread_of_units([0.30, 0.42, 0.36], [0.20, 0.28, 0.24]).df
    4.0
    """
    groups = [np.asarray(v, dtype=np.float64) for v in visits]
    groups = [g[np.isfinite(g)] for g in groups]
    df = float(sum(max(len(g) - 1, 0) for g in groups))
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups if len(g))
    level = max((float(np.abs(g).max()) for g in groups if len(g)), default=0.0)
    require_plan(df > 0 and squares > (ALIKE * level) ** 2)
    return Spread(sd=math.sqrt(squares / df), df=df)


def spread_of_pairs(*places: ArrayLike) -> Spread:
    r"""
    Return the spread of differences between two visits to the same units, from past data.

    Parameters
    ----------
    *places : array_like of float, shape (units, visits)
        Of each place, two visits or more; a unit with a gap is left out.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        ``plan-impossible`` if no place has two whole units at two visits, or all change alike.

    Notes
    -----
    :math:`s_d^2 = 2\,MS`, with the mean square of what units and visits leave over and its
    :math:`\sum (n-1)(k-1)` degrees of freedom; with two visits, the variance of the differences.

    Examples
    --------
    >>> found = spread_of_pairs([[0.30, 0.36], [0.42, 0.40], [0.36, 0.33]])
    >>> print(f"{found.sd:.4f} {found.df}")
    0.0493 2.0
    """
    squares = df = level = 0.0
    for place in places:
        table = np.asarray(place, dtype=np.float64)
        table = table[np.isfinite(table).all(axis=1)]
        level = max(level, float(np.abs(table).max(initial=0.0)))
        n, k = table.shape
        if n < 2 or k < 2:
            continue
        left = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
        squares, df = squares + float((left**2).sum()), df + (n - 1.0) * (k - 1.0)
    require_plan(df > 0 and squares > (ALIKE * level) ** 2)
    return Spread(sd=math.sqrt(2 * squares / df), df=df)


def stated_spread(sd: float, u_sd: float = 0.0) -> Spread:
    r"""
    Return a spread that somebody states, with the uncertainty of it.

    Parameters
    ----------
    sd, u_sd : float
        Standard deviation, and one standard uncertainty of it; 0: taken as known.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    :math:`\nu = (u/s)^{-2}/2` [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, equation (G.3).

    Examples
    --------
    >>> stated_spread(0.12, 0.03).df
    8.0
    """
    require_plan(sd > 0 and 0 <= u_sd < math.inf)
    return Spread(sd=sd, df=(sd / u_sd) ** 2 / 2 if u_sd > 0 else math.inf)


def spread_found_in(sd: float, n_units: int) -> Spread:
    """
    Return a spread that was found in so many units.

    Parameters
    ----------
    sd : float
    n_units : int
        Two or more, of one visit and site.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        ``plan-impossible``.

    Examples
    --------
    >>> print([round(end, 3) for end in spread_found_in(0.10, 6).ends()])
    [0.062, 0.245]
    """
    require_plan(0 < sd < math.inf and n_units >= 2)
    return Spread(sd=sd, df=n_units - 1.0)


def spread_within(sd: float, lo95: float, hi95: float) -> Spread:
    r"""
    Return a spread that is stated with its own 95 % interval.

    Parameters
    ----------
    sd, lo95, hi95 : float
        The interval encloses the standard deviation.

    Returns
    -------
    Spread
        With the degrees of freedom of an interval of that ratio; `Spread.ends` gives the stated
        ends only where they are those of a normal sample.

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    Solves :math:`\sqrt{\chi^2_{\nu,0.975}/\chi^2_{\nu,0.025}} = s_{hi}/s_{lo}` for :math:`\nu`.

    Examples
    --------
    >>> lo, hi = spread_found_in(0.10, 6).ends()
    >>> print(f"{spread_within(0.10, lo, hi).df:.2f}")
    5.00
    """
    from scipy.optimize import brentq

    require_plan(0 < lo95 < sd < hi95 < math.inf)
    wanted = math.log(hi95 / lo95)

    def short(log_df: float) -> float:
        """Tell by how much the interval of so many degrees of freedom is too wide."""
        df = math.exp(log_df)
        ratio = chdtri(df, ALPHA / 2) / chdtri(df, 1 - ALPHA / 2)
        return 0.5 * math.log(float(ratio)) - wanted

    least, most = math.log(0.5), math.log(1e6)
    require_plan(short(least) > 0 > short(most))
    return Spread(sd=sd, df=math.exp(float(brentq(short, least, most))))


def spread_of_differences(spread: Spread, correlation: float) -> Spread:
    r"""
    Return the spread of differences within a unit, from that of units and their correlation.

    Parameters
    ----------
    spread : Spread
        Of units, alike at both visits.
    correlation : float
        Between the two visits to a unit; its own doubt is not carried.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    :math:`s_d = s\sqrt{2(1 - r)}`.
    """
    require_plan(-1 < correlation < 1)
    return Spread(sd=spread.sd * math.sqrt(2 * (1 - correlation)), df=spread.df)


def require_plan(is_possible: bool) -> None:
    """Refuse a plan that cannot be."""
    if not is_possible:
        raise InputError(
            "plan-impossible",
            "No plan can be made of these figures.",
            "A spread, a wished width and a wished change are above 0, shares lie between 0 and 1 "
            "and differ, power lies between 0.05 and 1, and units number 3 or more.",
        )
