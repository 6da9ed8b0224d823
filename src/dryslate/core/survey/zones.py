"""A site from its zones: weighted means with stated weights."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.coverage import CoverageTable, coverage_flags
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Figure, Method
from dryslate.core.survey.statement import (
    MeanOfUnits,
    SurveySettings,
    state_fraction,
    state_rate,
)

OWN_FLAGS = {Flag.UPPER_LIMIT_ONLY, Flag.LOWER_LIMIT_ONLY, Flag.NO_SPREAD, Flag.ONE_UNIT}
"""Flags of a zone that do not pass to the site as they are."""
SIMULATED_FLAGS = {Flag.COVERAGE_LOW, Flag.COVERAGE_HIGH, Flag.COVERAGE_NOT_SIMULATED}
"""Flags about a zone's own interval, which the site's does not use."""


def estimate_site(
    zones: Mapping[str, Estimate],
    weights: Mapping[str, float],
    *,
    is_fraction: bool,
    what: str,
    coverage: CoverageTable | None = None,
) -> Estimate:
    r"""
    Estimate a site's figure from the figures of its zones.

    Parameters
    ----------
    zones : Mapping of str to Estimate
        Each from its own units.
    weights : Mapping of str to float
        Area, or share of the site, of each zone; only their proportions count.
    is_fraction : bool
        A fraction of 0 to 1 (else a density or rate).
    what : str
    coverage : CoverageTable or None
        Adds the flags of simulated coverage.

    Returns
    -------
    Estimate
        With the weights used, which sum to 1.

    Raises
    ------
    InputError
        ``survey-weights-impossible`` if a weight is missing, negative, or all are zero.

    Notes
    -----
    :math:`\sum W_h m_h` with :math:`u^2 = \sum W_h^2 u_h^2` [1]_ and
    :math:`df = u^4 / \sum (W_h^2 u_h^2)^2/df_h` [2]_, then t on the logit or logarithm. Weights are
    taken as known: a wrong map makes the site wrong, with no trace in the interval. A zone without
    spread adds nothing to the doubt and is flagged; a zone of one unit leaves the site without
    interval. Never the mean of all units, which would weigh zones by diver's effort.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., sections 5.3 and 5.4.
    .. [2] Satterthwaite, F.E. (1946). An approximate distribution of estimates of variance
       components. Biometrics Bull. 2, 110-114.

    Examples
    --------
    >>> from dryslate.core.survey.cover import estimate_cover
    >>> crest = estimate_cover([0.4, 0.5, 0.35], SurveySettings())
    >>> slope = estimate_cover([0.2, 0.15, 0.3, 0.25], SurveySettings())
    >>> site = estimate_site(
    ...     {"crest": crest, "slope": slope},
    ...     {"crest": 1200.0, "slope": 3600.0},
    ...     is_fraction=True,
    ...     what="cover_frac",
    ... )
    >>> print(f"{site.estimate:.3f} ± {site.u:.3f}, df {site.df:.1f}")
    0.273 ± 0.027, df 4.1
    """
    share = _shares(zones, weights)
    figure = Figure.SITE_FRACTION if is_fraction else Figure.SITE_DENSITY
    stated = tuple(share.items())
    n_units = sum(z.n_units for z in zones.values())
    n_blank = sum(z.n_blank for z in zones.values())
    flags = [f for z in zones.values() for f in z.flags if f not in OWN_FLAGS | SIMULATED_FLAGS]
    means = {name: z.estimate for name, z in zones.items() if share[name] > 0}
    bare = [n for n in means if zones[n].method is Method.NONE or means[n] is None]
    if any(m is None for m in means.values()):
        mean = math.nan
    else:
        mean = sum(share[n] * m for n, m in means.items() if m is not None)
        mean = min(mean, 1.0) if is_fraction else mean  # shares add up to 1 but for rounding
    unspread = [n for n in means if zones[n].u is None]
    if unspread and not bare and mean > 0:
        flags.append(Flag.ZONE_WITHOUT_SPREAD)
    if bare:
        flags.append(Flag.ONE_UNIT if any(zones[n].n_units == 1 for n in bare) else Flag.NO_SPREAD)
        return Estimate(
            what=what,
            estimate=None if math.isnan(mean) else mean,
            n_units=n_units,
            flags=tuple(dict.fromkeys(flags)),
            n_blank=n_blank,
            weights=stated,
        )
    if len(unspread) == len(means):
        return _limit(zones, share, figure, what, flags)
    parts = [(share[n] * (zones[n].u or 0.0), zones[n].df or zones[n].n_units - 1) for n in means]
    variance = sum(u**2 for u, _ in parts)
    part = MeanOfUnits(
        what=what,
        figure=figure,
        mean=mean,
        u=math.sqrt(variance),
        n_units=n_units,
        n_blank=n_blank,
        counted=math.inf if is_fraction else math.nan,
        df=variance**2 / sum(u**4 / df for u, df in parts),
        flags=tuple(flags),
    )
    found = (state_fraction if is_fraction else state_rate)(part, SurveySettings())
    told = () if coverage is None else _simulated(coverage, part)
    return replace(found, weights=stated, flags=(*found.flags, *told))


def _simulated(coverage: CoverageTable, part: MeanOfUnits) -> tuple[Flag, ...]:
    """Say what simulated sites of three zones tell of the interval."""
    if part.figure is Figure.SITE_DENSITY:
        level, scatter = 1.0, part.mean**2
    else:
        level, scatter = min(part.mean, 1 - part.mean), part.mean * (1 - part.mean)
    spread = part.n_units * part.u**2 / scatter if scatter > 0 else math.inf
    return coverage_flags(coverage, part.figure, part.n_units, level, 0.0, spread)


def _shares(zones: Mapping[str, Estimate], weights: Mapping[str, float]) -> dict[str, float]:
    """Weights that sum to 1, in the order of the zones."""
    total = sum(weights.get(name, math.nan) for name in zones)
    if not zones or not 0 < total < math.inf or any(not weights[name] >= 0 for name in zones):
        raise InputError(
            "survey-weights-impossible",
            f"The weights of the zones ({', '.join(zones) or 'none'}) cannot be used: each zone "
            "needs one of 0 or more, and one must be above 0.",
            "Give the area of each zone, or its share of the site.",
        )
    return {name: weights[name] / total for name in zones}


def _limit(
    zones: Mapping[str, Estimate],
    share: Mapping[str, float],
    figure: Figure,
    what: str,
    flags: list[Flag],
) -> Estimate:
    """Nothing found in any zone, or all of them full: the weighted limits, which reads wide."""
    is_zero = all(z.estimate == 0 for n, z in zones.items() if share[n] > 0)
    is_full = all(z.estimate == 1 for n, z in zones.items() if share[n] > 0)
    hi = lo = None
    if is_zero:
        hi = sum(share[n] * (zones[n].hi95 or 0.0) for n in zones if share[n] > 0)
        flags = [*flags, Flag.UPPER_LIMIT_ONLY]
    elif is_full:
        lo = sum(share[n] * (zones[n].lo95 or 0.0) for n in zones if share[n] > 0)
        flags = [*flags, Flag.LOWER_LIMIT_ONLY]
    limit = Method.LIMIT_FRACTION if figure is Figure.SITE_FRACTION else Method.LIMIT_COUNT
    return Estimate(
        what=what,
        estimate=1.0 if is_full else sum(share[n] * (zones[n].estimate or 0.0) for n in zones),
        lo95=lo,
        hi95=hi,
        method=limit if is_zero or is_full else Method.NONE,
        n_units=sum(z.n_units for z in zones.values()),
        flags=tuple(dict.fromkeys(flags)),
        n_blank=sum(z.n_blank for z in zones.values()),
        weights=tuple(share.items()),
    )
