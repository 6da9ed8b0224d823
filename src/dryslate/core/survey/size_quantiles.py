"""Quantiles of size, with intervals over units."""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import P_HI, fraction_interval
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.resampling import FloatArray, ratio_jackknife
from dryslate.core.survey.sizes import ColonySizes, flag_weighted
from dryslate.core.survey.statement import SurveySettings, common_flags

SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Quantiles that results give."""
LOW_FROM, LOW_UNDER_UNITS = 0.9, 20
"""Quantiles and units whose intervals held the truth in 92 to 93 % of simulated surveys."""


def estimate_quantile(sizes: ColonySizes, share: float, settings: SurveySettings) -> Estimate:
    r"""
    Estimate the size that a share of colonies does not exceed.

    Parameters
    ----------
    sizes : ColonySizes
        With a colony at least.
    share : float
        Above 0 and below 1: 0.5 for the median.
    settings : SurveySettings

    Returns
    -------
    Estimate
        Without interval under 3 units for the median and under 10 for others, where no colony
        lies beyond an end, and, flagged ``no_spread``, where both ends fall on colonies of one
        size: sizes are rounded too much to tell.

    Notes
    -----
    The interval of the share of colonies up to the estimated quantile (ratio of sums over units,
    jackknife of units, t on the logit), read back as sizes [1]_; u is the interval's length over
    :math:`2t`. An end that lies beyond the smallest or largest colony is not stated. A jackknife
    of the quantile itself would fail, since it jumps. Sizes rounded to whole centimetres make the
    ends jump too. Under 10 units the tails could be stated in some surveys only, and held the truth
    in 63 to 94 % of these: so they have no interval at all there.

    References
    ----------
    .. [1] Woodruff, R.S. (1952). Confidence intervals for medians and other position measures.
       J. Am. Stat. Assoc. 47, 635-646.

    Examples
    --------
    >>> from dryslate.core.survey.sizes import require_sizes
    >>> sizes = require_sizes([[4, 6, 9, 7], [12, 20, 5, 8], [7, 6, 11, 3], [9, 14, 8, 5]])
    >>> found = estimate_quantile(sizes, 0.5, SurveySettings())
    >>> print(f"{found.estimate:g} cm ({found.lo95:g} to {found.hi95:g})")
    7.5 cm (5 to 12)
    """
    order = np.argsort(sizes.size_cm, kind="stable")
    size, weight = sizes.size_cm[order], sizes.weight[order]
    grown = np.cumsum(weight) / weight.sum()
    totals = sizes.unit_sums(np.ones_like(sizes.size_cm))
    n = int((totals > 0).sum())
    what = f"size_q{round(100 * share):02d}_cm"
    value = _at(size, grown, share)
    flags = common_flags(settings, n, 0)
    is_median = share == 0.5
    method = require_method(Figure.SIZE_MEDIAN if is_median else Figure.SIZE_QUANTILE, n)
    up_to = sizes.unit_sums(sizes.size_cm <= value)
    _, u = ratio_jackknife(up_to, totals)
    lo, hi = fraction_interval(share, u, n, len(size))
    if method is Method.NONE:
        more = flags if n == 1 else (*flags, Flag.FEW_UNITS)
        return Estimate(what=what, estimate=value, n_units=n, flags=more)
    if not np.isfinite(lo):
        return Estimate(what=what, estimate=value, n_units=n, flags=flags)
    if lo < grown[0] or hi > grown[-2 if len(grown) > 1 else -1]:
        more = (*flags, Flag.FEW_COLONIES)
        return Estimate(what=what, estimate=value, n_units=n, flags=more)
    if share >= LOW_FROM and n < LOW_UNDER_UNITS:
        flags = (*flags, Flag.COVERAGE_LOW)
    lo95, hi95 = _at(size, grown, float(lo)), _at(size, grown, float(hi))
    if not lo95 < hi95:
        return Estimate(what=what, estimate=value, n_units=n, flags=(*flags, Flag.NO_SPREAD))
    found = Estimate(
        what=what,
        estimate=value,
        u=(hi95 - lo95) / (2 * float(stdtrit(n - 1, P_HI))),
        lo95=lo95,
        hi95=hi95,
        method=method,
        n_units=n,
        df=float(n - 1),
        flags=flags,
    )
    return flag_weighted(found, sizes)


def _at(size: FloatArray, grown: FloatArray, share: float) -> float:
    """Return the size at a share of the weights: halfway where it falls between two colonies."""
    k = int(np.searchsorted(grown, share - 1e-12))
    if k + 1 < len(size) and abs(grown[k] - share) < 1e-9:
        return float((size[k] + size[k + 1]) / 2)
    return float(size[min(k, len(size) - 1)])
