"""Corrected amounts as figures: their intervals, and what is said where they cannot be."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate, or_none
from dryslate.core.survey.intervals import P_HI, fraction_interval, rate_interval
from dryslate.core.survey.methods import Method
from dryslate.core.survey.outside_table import DrawnAmounts, OutsideTable

FloatArray = NDArray[np.float64]
FEW_CHECKED = 10
"""Checked corals of a class up to which intervals by a table were wide in simulations."""
ROUGH = 0.5
"""Condition number over the root of the corals checked above which they were, too."""
FEWEST_LOOKED = 3
"""Units under which intervals by second looks were narrow in simulations."""
FEW_OF_HEALTH = 8
"""Units up to which intervals of prevalence by a table were wide in simulations."""


def amount_interval(
    estimate: ArrayLike, u: ArrayLike, n_units: int, df: ArrayLike, *, is_share: bool
) -> tuple[FloatArray, FloatArray]:
    r"""
    Return 95 % intervals of corrected amounts.

    Parameters
    ----------
    estimate, u, df : array_like of float
    n_units : int
    is_share : bool
        Of cover; else of densities or rates.

    Returns
    -------
    lo95, hi95 : ndarray of float
        t on the logit or the logarithm; on the plain scale where the correction came out at 0 or
        less, or a share at 1 or more; NaN without a doubt.

    Notes
    -----
    The standard error of a mean of units is never more than the mean itself, nor than the rest to
    1 of shares. What goes beyond comes from names: it is of the size of other classes' amounts, not
    in proportion to this one's, so that t of it stands on the plain scale. Both distances from the
    estimate to an end are put together by :math:`\sqrt{a^2 + b^2}` [1]_: as the amount goes to
    nothing, the interval goes over into that of nothing, only cut off at what cannot be.

    References
    ----------
    .. [1] Zou, G.Y. & Donner, A. (2008). Construction of confidence limits about effect measures:
       a general approach. Stat. Med. 27, 1693-1702 (cited from memory).

    Examples
    --------
    >>> lo, hi = amount_interval([0.12, -0.01], [0.03, 0.02], 8, [7.0, 7.0], is_share=True)
    >>> print([f"{a:.3f} {b:.3f}" for a, b in zip(lo, hi)])
    ['0.066 0.219', '-0.057 0.037']
    """
    value, spread, free = (np.asarray(a, dtype=np.float64) for a in (estimate, u, df))
    is_inside = (value > 0) & (value < (1.0 if is_share else math.inf))
    interval = fraction_interval if is_share else rate_interval
    most = np.where(is_inside, np.minimum(value, 1 - value) if is_share else value, 0.0)
    own = np.minimum(spread, most)
    lo, hi = interval(np.where(is_inside, value, 0.5), own, n_units, math.inf, free)
    reach = stdtrit(free, P_HI) * np.sqrt(np.maximum(spread**2 - own**2, 0.0))
    down, up = (np.where(is_inside, gap, 0.0) for gap in (value - lo, hi - value))
    nothing = np.where(spread > 0, 0.0, math.nan)
    lo, hi = value - np.hypot(down, reach), value + np.hypot(up, reach)
    lo = np.where(is_inside, np.maximum(lo, 0.0), lo)
    hi = np.where(is_inside & is_share, np.minimum(hi, 1.0), hi)
    return lo + nothing, hi + nothing


def state_amount(
    what: tuple[str, Method],
    amount: tuple[float, float, float],
    n_units: int,
    *,
    is_plots: bool = False,
) -> Estimate:
    """
    State a corrected cover or density.

    Parameters
    ----------
    what : tuple
        The figure (``…_frac``: a share) and its method.
    amount : tuple of float
        Estimate, its standard error and degrees of freedom.
    n_units : int
    is_plots : bool

    Returns
    -------
    Estimate
        t on the logit or the logarithm; on the plain scale, flagged ``adjusted_outside``, where
        the correction came out at 0 or below, or a share at 1 or above. Corrected in two units:
        flagged ``coverage_low`` (docs/estimators/misnaming.md says how that was measured).

    Examples
    --------
    >>> found = state_amount(("cover_adjusted_frac", Method.TWICE_NAMED), (0.12, 0.03, 7.0), 8)
    >>> print(f"{found.lo95:.3f} {found.hi95:.3f}")
    0.066 0.219
    """
    (figure, method), (estimate, u, df) = what, amount
    flags = [Flag.OF_THESE_PLOTS] if is_plots else []
    is_share = figure.endswith("_frac")
    lo, hi = (float(end) for end in amount_interval(estimate, u, n_units, df, is_share=is_share))
    if not u > 0:
        flags.append(Flag.NO_SPREAD)
    elif estimate <= 0 or (is_share and estimate >= 1):
        flags.append(Flag.ADJUSTED_OUTSIDE)
    if u > 0 and method is Method.TWICE_NAMED and n_units < FEWEST_LOOKED:
        flags.append(Flag.COVERAGE_LOW)
    return Estimate(
        what=figure,
        estimate=estimate,
        u=or_none(u),
        lo95=or_none(lo),
        hi95=or_none(hi),
        method=method if u > 0 else Method.NONE,
        n_units=n_units,
        df=df if u > 0 else None,
        flags=tuple(flags),
    )


def state_drawn(
    figure: str,
    outside: OutsideTable,
    found: DrawnAmounts,
    k: int,
    n_units: int,
    *,
    is_plots: bool = False,
) -> Estimate:
    """
    State a cover or density corrected by a table from outside.

    Parameters
    ----------
    figure : str
        ``…_frac``: a share.
    outside : OutsideTable
    found : DrawnAmounts
    k : int
        The class.
    n_units : int
    is_plots : bool

    Returns
    -------
    Estimate
        Flagged ``rates_from_elsewhere`` always; ``rates_taken_as_exact`` and ``coverage_low`` where
        the table does not say how many were checked; ``coverage_high`` where it is roughly known,
        or prevalence is of few units (docs/estimators/misnaming.md says how that was measured);
        ``adjusted_outside`` where the correction came out below 0, or a share above 1.

    Examples
    --------
    >>> from dryslate.core.survey.outside_table import correct_by_table, prepare_table
    >>> table = prepare_table([[0.8, 0.2], [0.1, 0.9]], [100, 50])
    >>> found = correct_by_table([[0.30, 0.20], [0.24, 0.18], [0.35, 0.14]], table)
    >>> state_drawn("cover_adjusted_frac", table, found, 0, 3).flags
    (<Flag.RATES_FROM_ELSEWHERE: 'rates_from_elsewhere'>,)
    """
    estimate, u = float(found.estimate[k]), float(found.u[k])
    is_outside = estimate < 0 or (figure.endswith("_frac") and estimate > 1)
    is_exact = outside.fewest_checked is None
    is_wide = figure.startswith("prevalence_") and n_units <= FEW_OF_HEALTH
    said = (
        (Flag.OF_THESE_PLOTS, is_plots),
        (Flag.RATES_FROM_ELSEWHERE, True),
        (Flag.RATES_TAKEN_AS_EXACT, is_exact),
        (Flag.COVERAGE_LOW, is_exact),
        (Flag.COVERAGE_HIGH, not is_exact and (is_wide or _is_roughly_known(outside))),
        (Flag.ADJUSTED_OUTSIDE, is_outside),
        (Flag.NO_SPREAD, not u > 0),
    )
    return Estimate(
        what=figure,
        estimate=estimate,
        u=u if u > 0 else None,
        lo95=float(found.lo95[k]) if u > 0 else None,
        hi95=float(found.hi95[k]) if u > 0 else None,
        method=Method.OUTSIDE_TABLE if u > 0 else Method.NONE,
        n_units=n_units,
        flags=tuple(flag for flag, is_so in said if is_so),
    )


def _is_roughly_known(outside: OutsideTable) -> bool:
    """Whether the table is so rough that intervals came out wide in simulations."""
    if outside.fewest_checked is None:
        return False
    rough = outside.condition / math.sqrt(outside.fewest_checked)
    return outside.fewest_checked <= FEW_CHECKED or rough > ROUGH
