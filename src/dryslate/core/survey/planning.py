"""How many units a survey needs, and which change it could see: by t, from a stated spread."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import nctdtr, stdtrit

from dryslate.core.survey.spread import ALPHA, Spread, require_plan

FloatArray = NDArray[np.float64]

FEWEST_UNITS = 3
"""No plan goes below this: with two units t is 12.7, and nothing shows an odd one."""
POWER = 0.80
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
        Pairs, or units of the smaller group.
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
    fixed : SmallestChange or None
        The same units at both visits: a change of these plots.
    random : SmallestChange
        Units drawn anew: a change of the area.
    """

    units: int
    fixed: SmallestChange | None
    random: SmallestChange


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
    return _power_of_t(df, centre, alpha)


def units_to_see(
    design: Design, change: float, spread: Spread, power: float = POWER, alpha: float = ALPHA
) -> PlannedUnits:
    """
    Return the units that a wished smallest change needs.

    Parameters
    ----------
    design : Design
    change : float
    spread : Spread
    power, alpha : float
        Alpha is two-sided.

    Returns
    -------
    PlannedUnits

    Raises
    ------
    InputError
        ``plan-impossible``.

    Examples
    --------
    >>> from dryslate.core.survey.spread import stated_spread
    >>> plan = units_to_see(Design.PAIRED, 0.05, stated_spread(0.10, 0.02))
    >>> print(plan.units, plan.lo95, plan.hi95)
    34 19 86
    """
    size = abs(change)
    require_plan(0 < size < math.inf and 0 < alpha < power < 1 and spread.sd > 0)
    return _plan(lambda n, sd: float(power_to_see(design, n, size, sd, alpha)) - power, spread)


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
    >>> from dryslate.core.survey.spread import stated_spread
    >>> units_for_interval(0.05, stated_spread(0.10)).units
    18
    """
    require_plan(0 < half_width < math.inf and spread.sd > 0)
    return _plan(
        lambda n, sd: half_width - float(stdtrit(n - 1, 1 - ALPHA / 2)) * sd / math.sqrt(n), spread
    )


def smallest_change(
    design: Design, units: int, spread: Spread, power: float = POWER, alpha: float = ALPHA
) -> SmallestChange:
    """
    Return the smallest change that so many units see.

    Parameters
    ----------
    design : Design
    units : int
        Pairs, or units of each group; 2 or more.
    spread : Spread
    power, alpha : float

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
    require_plan(units >= 2 and 0 < alpha < power < 1 and spread.sd > 0)
    is_paired = design is Design.PAIRED
    df = units - 1 if is_paired else 2 * (units - 1)
    scale = math.sqrt((1 if is_paired else 2) / units)
    return change_seen(spread, scale, df, units, power, alpha)


def change_seen(
    spread: Spread,
    scale: float,
    df: float,
    units: int,
    power: float = POWER,
    alpha: float = ALPHA,
) -> SmallestChange:
    """
    Return the smallest change that a t test sees, from what makes its standard error.

    Parameters
    ----------
    spread : Spread
    scale : float
        Standard error of the change over the spread.
    df : float
        Degrees of freedom of the test.
    units : int
        To be stated.
    power, alpha : float

    Returns
    -------
    SmallestChange
    """
    from scipy.optimize import brentq

    top = 4.0
    while _power_of_t(df, np.asarray(top), alpha) < power:
        top *= 2
    centre = brentq(lambda c: float(_power_of_t(df, np.asarray(c), alpha)) - power, 0, top)
    size = float(centre) * scale
    lo, hi = spread.ends()
    return SmallestChange(
        change=size * spread.sd, lo95=size * lo, hi95=size * hi, units=units, power=power
    )


def tabulate_changes(
    units: Sequence[int],
    fixed: Spread | None,
    random: Spread,
    power: float = POWER,
    alpha: float = ALPHA,
) -> tuple[PlanRow, ...]:
    """
    Return the table of fixed and random units between two visits.

    Parameters
    ----------
    units : sequence of int
        At each visit, `FEWEST_UNITS` or more.
    fixed : Spread or None
        Of differences within a unit; None where nothing tells of it.
    random : Spread
        Of units.
    power, alpha : float

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
            fixed=None if fixed is None else smallest_change(Design.PAIRED, n, fixed, power, alpha),
            random=smallest_change(Design.TWO_GROUPS, n, random, power, alpha),
        )
        for n in units
    )


def _power_of_t(df: FloatArray | float, centre: FloatArray, alpha: float) -> FloatArray:
    """Both tails of non-central t beyond the critical value."""
    t = stdtrit(df, 1 - alpha / 2)
    near = nctdtr(df, np.minimum(centre, _FAR), -t)
    below = nctdtr(df, centre, t)
    below = np.where(np.isnan(below) & (centre > _SURE), 0.0, below)
    return np.asarray(1 - below + np.where(centre < _FAR, near, 0.0))


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
