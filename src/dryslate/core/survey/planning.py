"""How many units a survey needs, and which change it could see: by t, from a stated spread."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, nctdtr, stdtrit

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]

FEWEST_UNITS = 3
"""No plan goes below this: with two units t is 12.7, and nothing shows an odd one."""
POWER = 0.80
ALPHA = 0.05
"""Two-sided."""
_MOST_UNITS = 1e7
_FAR = 7.0
"""Centre of t from where the wrong tail holds under 2e-12; scipy's gives NaN farther out."""
_SURE = 30.0
"""Centre from where a NaN of scipy's right tail stands for a power of 1."""


class Design(StrEnum):
    """Units looked at again, or drawn anew; two groups of `n` units each."""

    PAIRED = "paired"
    TWO_GROUPS = "two_groups"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedUnits:
    """
    Units that a plan asks for.

    Parameters
    ----------
    units : int
        Of each group, never under `FEWEST_UNITS`.
    exact : float
        Before rounding up; NaN where the fewest already do.
    lo95, hi95 : int
        The same from the ends of the spread's own interval.
    """

    units: int
    exact: float
    lo95: int
    hi95: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallestChange:
    """
    Smallest change that a design sees with the stated power.

    Parameters
    ----------
    change, lo95, hi95 : float
        In the unit of the values; the interval is that of the spread.
    units : int
    power : float
    """

    change: float
    lo95: float
    hi95: float
    units: int
    power: float = POWER


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """
    One row of the table of fixed and random units.

    Parameters
    ----------
    units : int
        At each visit.
    fixed : SmallestChange
        The same units at both visits: a change of these plots.
    random : SmallestChange
        Units drawn anew: a change of the area.
    """

    units: int
    fixed: SmallestChange
    random: SmallestChange


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
    require_plan(df > 0 and squares > 0)
    return Spread(sd=math.sqrt(squares / df), df=df)


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


def power_to_see(
    design: Design, units: ArrayLike, change: ArrayLike, sd: float, alpha: float = ALPHA
) -> FloatArray:
    r"""
    Return the power of a two-sided t test; arrays make a curve.

    Parameters
    ----------
    design : Design
    units : array_like of float
        Pairs, or units of each group; above 1.
    change : array_like of float
    sd : float
        Of differences (paired), or of units (two groups).
    alpha : float

    Returns
    -------
    ndarray of float

    Notes
    -----
    Non-central t with :math:`n-1` degrees of freedom and centre :math:`\sqrt n\,\delta/s` (paired),
    or :math:`2(n-1)` and :math:`\sqrt{n/2}\,\delta/s`; both tails [1]_. For a change that
    was wished beforehand: put an observed change in, and it only repeats p.

    References
    ----------
    .. [1] Cohen, J. (1988). Statistical Power Analysis for the Behavioral Sciences, 2nd ed.

    Examples
    --------
    >>> print(f"{power_to_see(Design.PAIRED, 20, 0.05, 0.10):.3f}")
    0.565
    """
    n = np.asarray(units, dtype=np.float64)
    is_paired = design is Design.PAIRED
    df = n - 1 if is_paired else 2 * (n - 1)
    centre = np.abs(np.asarray(change, dtype=np.float64)) / sd * np.sqrt(n if is_paired else n / 2)
    t = stdtrit(df, 1 - alpha / 2)
    near = nctdtr(df, np.minimum(centre, _FAR), -t)
    below = nctdtr(df, centre, t)
    below = np.where(np.isnan(below) & (centre > _SURE), 0.0, below)
    return np.asarray(1 - below + np.where(centre < _FAR, near, 0.0))


def units_to_see(
    design: Design, change: float, spread: Spread, power: float = POWER
) -> PlannedUnits:
    """
    Return the units that a wished smallest change needs.

    Parameters
    ----------
    design : Design
    change : float
    spread : Spread
    power : float

    Returns
    -------
    PlannedUnits

    Raises
    ------
    InputError
        ``plan-impossible``.

    Examples
    --------
    >>> plan = units_to_see(Design.PAIRED, 0.05, stated_spread(0.10, 0.02))
    >>> print(plan.units, plan.lo95, plan.hi95)
    34 19 86
    """
    size = abs(change)
    require_plan(0 < size < math.inf and ALPHA < power < 1 and spread.sd > 0)
    return _plan(lambda n, sd: float(power_to_see(design, n, size, sd)) - power, spread)


def units_for_interval(half_width: float, spread: Spread) -> PlannedUnits:
    r"""
    Return the units that a wished 95 % interval of a mean needs.

    Parameters
    ----------
    half_width : float
        From the mean to either end.
    spread : Spread
        Of units.

    Returns
    -------
    PlannedUnits

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    Smallest :math:`n` with :math:`t_{n-1,\,0.975}\,s/\sqrt n` at most the half width [1]_. That
    is the width to expect: about half of such surveys come out wider.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., section 4.6.

    Examples
    --------
    >>> units_for_interval(0.05, stated_spread(0.10)).units
    18
    """
    require_plan(0 < half_width < math.inf and spread.sd > 0)
    return _plan(
        lambda n, sd: half_width - float(stdtrit(n - 1, 1 - ALPHA / 2)) * sd / math.sqrt(n), spread
    )


def smallest_change(
    design: Design, units: int, spread: Spread, power: float = POWER
) -> SmallestChange:
    """
    Return the smallest change that so many units see.

    Parameters
    ----------
    design : Design
    units : int
        Pairs, or units of each group; 2 or more.
    spread : Spread
    power : float

    Returns
    -------
    SmallestChange

    Raises
    ------
    InputError
        ``plan-impossible``.

    Examples
    --------
    >>> seen = smallest_change(Design.PAIRED, 10, Spread(sd=0.10, df=9))
    >>> print(f"{seen.change:.3f} ({seen.lo95:.3f} to {seen.hi95:.3f})")
    0.100 (0.069 to 0.182)
    """
    from scipy.optimize import brentq

    require_plan(units >= 2 and ALPHA < power < 1 and spread.sd > 0)
    top = 1.0
    while power_to_see(design, units, top, 1.0) < power:
        top *= 2
    in_sd = float(brentq(lambda d: float(power_to_see(design, units, d, 1.0)) - power, 0, top))
    lo, hi = spread.ends()
    return SmallestChange(
        change=in_sd * spread.sd, lo95=in_sd * lo, hi95=in_sd * hi, units=units, power=power
    )


def tabulate_changes(
    units: Sequence[int], fixed: Spread, random: Spread, power: float = POWER
) -> tuple[PlanRow, ...]:
    """
    Return the table of fixed and random units between two visits.

    Parameters
    ----------
    units : sequence of int
        At each visit, `FEWEST_UNITS` or more.
    fixed : Spread
        Of differences within a unit.
    random : Spread
        Of units.
    power : float

    Returns
    -------
    tuple of PlanRow

    Raises
    ------
    InputError
        ``plan-impossible``.
    """
    require_plan(min(units, default=0) >= FEWEST_UNITS)
    return tuple(
        PlanRow(
            units=n,
            fixed=smallest_change(Design.PAIRED, n, fixed, power),
            random=smallest_change(Design.TWO_GROUPS, n, random, power),
        )
        for n in units
    )


def _plan(short: Callable[[float, float], float], spread: Spread) -> PlannedUnits:
    """Find where the goal is met (`short` reaches 0), at the spread and at its ends."""
    from scipy.optimize import brentq

    def solve(sd: float) -> float:
        """Return the units, not rounded; NaN where the fewest do."""
        if short(FEWEST_UNITS, sd) >= 0:
            return math.nan
        top = 2.0 * FEWEST_UNITS
        while short(top, sd) < 0:
            top *= 2
            require_plan(top < _MOST_UNITS)
        return float(brentq(short, FEWEST_UNITS, top, args=(sd,), xtol=1e-9))

    exact, lo, hi = (solve(sd) for sd in (spread.sd, *spread.ends()))
    return PlannedUnits(units=_whole(exact), exact=exact, lo95=_whole(lo), hi95=_whole(hi))


def _whole(exact: float) -> int:
    """Round up, not under the fewest."""
    return FEWEST_UNITS if math.isnan(exact) else math.ceil(exact - 1e-9)


def require_plan(is_possible: bool) -> None:
    """Refuse a plan that cannot be."""
    if not is_possible:
        raise InputError(
            "plan-impossible",
            "No plan can be made of these figures.",
            "A spread, a wished width and a wished change are above 0, shares lie between 0 and 1 "
            "and differ, power lies between 0.05 and 1, and units number 3 or more.",
        )
