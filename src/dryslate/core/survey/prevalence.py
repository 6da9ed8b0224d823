"""Prevalence and shares of tissue: ratios of sums over units, with a jackknife of units."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from dryslate.base.quality import Flag
from dryslate.core.survey.cover import state_beta_binomial
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import is_apart
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.resampling import ratio_jackknife
from dryslate.core.survey.statement import (
    MeanOfUnits,
    SurveySettings,
    UnitValues,
    require_units,
    state_bca,
    state_fraction,
)


def estimate_prevalence(
    cases: ArrayLike,
    colonies: ArrayLike,
    settings: SurveySettings,
    *,
    what: str = "prevalence_frac",
) -> Estimate:
    r"""
    Estimate prevalence: colonies with a sign, of all colonies examined.

    Parameters
    ----------
    cases : array_like of int, shape (n,)
        Colonies with the sign in each unit; NaN: blank.
    colonies : array_like of int, shape (n,)
        Colonies examined in each unit; 0: a unit that held none, which says nothing.
    settings : SurveySettings
    what : str

    Returns
    -------
    Estimate
        `n_units` counts the units that held colonies.

    Raises
    ------
    InputError
        ``survey-value-impossible`` or ``survey-method-not-for-this``.

    Notes
    -----
    :math:`p = \sum x_i / \sum N_i` with the jackknife of units [1]_ and t on the logit with one
    degree of freedom fewer than units (`intervals.fraction_interval`). It is about the colonies of
    the area: units with many colonies count for more. Colonies tagged because they were
    stressed must not be among them. Assumes that a sick colony is seen as surely as a sound one:
    colonies dead and gone make prevalence read low.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., sections 6.2 and 6.17.

    Examples
    --------
    >>> found = estimate_prevalence([2, 5, 1, 4], [20, 30, 15, 28], SurveySettings())
    >>> print(f"{found.estimate:.3f} ({found.lo95:.3f} to {found.hi95:.3f})")
    0.129 (0.077 to 0.212)
    """
    units = require_units(cases, colonies, is_share=True, needs_effort=False)
    return _state(what, Figure.PREVALENCE, units, settings, float(units.effort.sum()))


def estimate_tissue_share(
    amounts: ArrayLike, totals: ArrayLike, settings: SurveySettings, *, what: str
) -> Estimate:
    r"""
    Estimate a share of live tissue, such as bleached of normal, pale and bleached.

    Parameters
    ----------
    amounts, totals : array_like of float, shape (n,)
        Sums over the colonies of each unit, for example colony area times fraction; NaN: blank;
        a total of 0: a unit that held none.
    settings : SurveySettings
    what : str

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        ``survey-value-impossible`` or ``survey-method-not-for-this``.

    Notes
    -----
    A ratio as in `estimate_prevalence`; large colonies count for more if amounts are areas.

    Examples
    --------
    >>> found = estimate_tissue_share([0.4, 1.1, 0.9], [2.0, 2.5, 3.1], SurveySettings(), what="x")
    >>> print(f"{found.estimate:.3f} ± {found.u:.3f}")
    0.316 ± 0.062
    """
    units = require_units(amounts, totals, is_share=True, needs_effort=False)
    return _state(what, Figure.TISSUE_SHARE, units, settings, float("inf"))


def _state(
    what: str, figure: Figure, units: UnitValues, settings: SurveySettings, counted: float
) -> Estimate:
    """Ratio with its jackknife, then the interval that the table fixes or that was asked for."""
    held = units.effort > 0
    units = UnitValues(found=units.found[held], effort=units.effort[held], n_blank=units.n_blank)
    n_empty, n = int((~held).sum()), int(held.sum())
    flags: tuple[Flag, ...] = (Flag.EMPTY_UNITS,) if n_empty else ()
    if n == 0:
        return Estimate(what=what, estimate=None, flags=flags, n_blank=units.n_blank)
    method = require_method(figure, n, settings.method) if n > 1 else Method.NONE
    ratio, u = (float(np.asarray(v)) for v in ratio_jackknife(units.found, units.effort))
    if 0 < ratio < 1 and method is Method.BCA and is_apart(u, ratio, ratio * (1 - ratio)):
        found = state_bca(what, units.statistic("effort"), n, units.n_blank, settings)
        return replace(found, flags=(*found.flags, *flags))
    if 0 < ratio < 1 and method is Method.BETA_BINOMIAL:
        found = state_beta_binomial(what, units, settings)
        return replace(found, flags=(*found.flags, *flags))
    part = MeanOfUnits(
        what=what,
        figure=figure,
        mean=ratio,
        u=u,
        n_units=n,
        n_blank=units.n_blank,
        counted=counted,
        flags=flags,
    )
    return state_fraction(part, settings)
