"""Corrected amounts as figures: their intervals, and what is said where they cannot be."""

from __future__ import annotations

import math

from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate, or_none
from dryslate.core.survey.intervals import P_HI, fraction_interval, rate_interval
from dryslate.core.survey.methods import Method


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
        the correction came out below 0, or a share above 1.

    Examples
    --------
    >>> found = state_amount(("cover_adjusted_frac", Method.TWICE_NAMED), (0.12, 0.03, 7.0), 8)
    >>> print(f"{found.lo95:.3f} {found.hi95:.3f}")
    0.066 0.219
    """
    (figure, method), (estimate, u, df) = what, amount
    flags = [Flag.OF_THESE_PLOTS] if is_plots else []
    is_share = figure.endswith("_frac")
    if 0 < estimate < (1.0 if is_share else math.inf) and u > 0:
        interval = fraction_interval if is_share else rate_interval
        lo, hi = (float(end) for end in interval(estimate, u, n_units, math.inf, df))
    else:
        reach = float(stdtrit(df, P_HI)) * u if u > 0 else math.nan
        lo, hi = estimate - reach, estimate + reach
        flags.append(Flag.NO_SPREAD if not u > 0 else Flag.ADJUSTED_OUTSIDE)
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
