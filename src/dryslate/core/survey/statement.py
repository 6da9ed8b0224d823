"""How a survey is to be read, and the step from a mean with its spread to a stated figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.coverage import CoverageTable, coverage_flags
from dryslate.core.survey.estimate import Estimate, or_none
from dryslate.core.survey.intervals import ALIKE, fraction_interval, is_apart, rate_interval
from dryslate.core.survey.methods import Figure, Method, find_rule, require_method
from dryslate.core.survey.resampling import Bootstrap, Resampling, Statistic, fit_bootstrap

FloatArray = NDArray[np.float64]
Scope = Literal["area", "plots"]
Weighting = Literal["units", "effort"]
NEARLY = 1e-9
"""A part within this share of the whole is the whole: sums of decimals do not come out even."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurveySettings:
    """
    What is fixed before the data are seen.

    Parameters
    ----------
    scope : {"area", "plots"}
        Units drawn from an area, or permanent plots.
    weighting : {"units", "effort"}
        Units count alike (the mean of units), or by points, tape, area or minutes (a ratio).
    method : Method or None
        Another interval than the figure's own, as `methods.RULES` allows.
    rng : numpy.random.Generator or None
        For intervals that draw units again.
    coverage : CoverageTable or None
        With it, figures carry the flags of their simulated coverage.
    """

    scope: Scope = "area"
    weighting: Weighting = "units"
    method: Method | None = None
    rng: np.random.Generator | None = None
    coverage: CoverageTable | None = None

    def scope_flags(self) -> tuple[Flag, ...]:
        """Return the flag of permanent plots, where they are."""
        return (Flag.OF_THESE_PLOTS,) if self.scope == "plots" else ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnitValues:
    """
    Amounts of the units that were not blank.

    Parameters
    ----------
    found, effort : ndarray of float, shape (n,)
        What was found in each unit, and out of how much.
    n_blank : int
    """

    found: FloatArray
    effort: FloatArray
    n_blank: int

    def mean_and_u(self, weighting: Weighting) -> tuple[float, float]:
        r"""
        Return the mean of units, or the ratio of sums, with its standard error.

        Parameters
        ----------
        weighting : {"units", "effort"}

        Returns
        -------
        mean, u : float
            NaN where there are too few units.

        Notes
        -----
        Ratio: :math:`u^2 = \sum (x_i - r N_i)^2 / (n(n-1)\bar N^2)` (Cochran 1977, equation 3.34).
        """
        mean, u = _mean_and_u(self.found, self.effort, weighting)
        return float(mean), float(u)

    def statistic(self, weighting: Weighting) -> Statistic:
        """Return the mean as a statistic of how often each unit was drawn."""
        if weighting == "effort":
            return lambda drawn: np.asarray((drawn @ self.found) / (drawn @ self.effort))
        values = self.found / self.effort
        return lambda drawn: np.asarray((drawn @ values) / drawn.sum(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThingValues:
    """
    Amounts of several things in the same units.

    Parameters
    ----------
    found : ndarray of float, shape (things, n)
    effort : ndarray of float, shape (n,)
    n_blank : int
    """

    found: FloatArray
    effort: FloatArray
    n_blank: int

    def mean_and_u(self, weighting: Weighting) -> tuple[FloatArray, FloatArray]:
        """
        Return the mean of each thing with its standard error, as `UnitValues.mean_and_u`.

        Parameters
        ----------
        weighting : {"units", "effort"}

        Returns
        -------
        mean, u : ndarray of float, shape (things,)
        """
        return _mean_and_u(self.found, self.effort, weighting)

    def of(self, thing: int) -> UnitValues:
        """
        Return the amounts of one thing.

        Parameters
        ----------
        thing : int
            Which, from 0.

        Returns
        -------
        UnitValues
        """
        return UnitValues(found=self.found[thing], effort=self.effort, n_blank=self.n_blank)


def _mean_and_u(
    found: FloatArray, effort: FloatArray, weighting: Weighting
) -> tuple[FloatArray, FloatArray]:
    """Return means over units, the last axis, and their standard errors."""
    n = found.shape[-1]
    if n == 0:
        nothing = np.full(found.shape[:-1], np.nan)
        return nothing, nothing
    if weighting == "effort":
        mean = found.sum(axis=-1) / effort.sum()
        away = (found - mean[..., None] * effort) / effort.mean()
    else:
        values = found / effort
        mean = values.mean(axis=-1)
        away = values - mean[..., None]
    if n == 1:
        return mean, np.full_like(mean, np.nan)
    return mean, np.sqrt((away**2).sum(axis=-1) / (n - 1) / n)


def require_units(
    found: ArrayLike, effort: ArrayLike, *, is_share: bool = False, needs_effort: bool = True
) -> UnitValues:
    """
    Check the units' amounts, and set blank ones apart from zeros.

    Parameters
    ----------
    found, effort : array_like of float, shape (n,)
        NaN in either, or an effort of 0 where effort is needed: blank.
    is_share : bool
        What was found is a part of the effort and cannot be more.
    needs_effort : bool
        False: a unit of effort 0 is one that held nothing to examine; it stays.

    Returns
    -------
    UnitValues

    Raises
    ------
    ValueError
        If the lengths differ.
    InputError
        ``survey-value-impossible`` for a negative amount, or more found than there was.
    """
    x, big = (np.array(a, dtype=np.float64, ndmin=1) for a in (found, effort))
    if x.shape != big.shape or x.ndim != 1:
        raise ValueError(f"expected one value a unit for each, got {x.shape} and {big.shape}")
    blank = ~np.isfinite(x) | ~np.isfinite(big)
    if needs_effort:
        blank |= big == 0
    bad = ~blank & ((x < 0) | (big < 0) | (is_share & (x > big * (1 + NEARLY))))
    if bad.any():
        at = int(np.argmax(bad))
        unit, part, whole = at + 1, x[at], big[at]
        raise InputError(
            "survey-value-impossible",
            f"Unit {unit}: {part:g} found out of {whole:g} is not possible.",
            "Correct the record; a unit that was not surveyed stays blank.",
        )
    found, effort = x[~blank], big[~blank]
    if is_share:
        found = _whole_where_nearly(found, effort)
    return UnitValues(found=found, effort=effort, n_blank=int(blank.sum()))


def _whole_where_nearly(found: FloatArray, effort: FloatArray) -> FloatArray:
    """Take a part that is the whole but for rounding, such as of added-up intercepts, as it."""
    return np.where(np.abs(found - effort) <= NEARLY * effort, effort, found)


def require_things(found: ArrayLike, effort: ArrayLike, *, is_share: bool = False) -> ThingValues:
    """
    Check the amounts of several things in the same units.

    Parameters
    ----------
    found : array_like of float, shape (things, n)
        A unit that is blank of one thing is blank of all.
    effort : array_like of float, shape (n,)
    is_share : bool
        As for `require_units`.

    Returns
    -------
    ThingValues

    Raises
    ------
    ValueError
        If the shapes do not fit, or a unit is blank of some things only.
    InputError
        ``survey-value-impossible``.
    """
    x, big = np.array(found, dtype=np.float64, ndmin=2), np.array(effort, dtype=np.float64, ndmin=1)
    if x.ndim != 2 or big.ndim != 1 or x.shape[1] != len(big):
        raise ValueError(f"expected one value a unit for each, got {x.shape[1:]} and {big.shape}")
    blanks = ~np.isfinite(x)
    blank = blanks.any(axis=0) | ~np.isfinite(big) | (big == 0)
    if (blanks.any(axis=0) != blanks.all(axis=0)).any():
        raise ValueError("a unit is blank of some things only")
    # Units side by side in memory, so that sums have the digits of one thing alone.
    whole, most = np.ascontiguousarray(x[:, ~blank]), big[~blank]
    bad = (whole < 0) | (most < 0) | (is_share & (whole > most * (1 + NEARLY)))
    for thing in np.flatnonzero(bad.any(axis=1)):
        require_units(x[thing], big, is_share=is_share)
    if is_share:
        whole = _whole_where_nearly(whole, most)
    return ThingValues(found=whole, effort=most, n_blank=int(blank.sum()))


def common_flags(settings: SurveySettings, n_units: int, n_blank: int) -> tuple[Flag, ...]:
    """
    Return the flags that every figure may carry.

    Parameters
    ----------
    settings : SurveySettings
    n_units, n_blank : int

    Returns
    -------
    tuple of Flag
    """
    flags = list(settings.scope_flags())
    if n_units == 1:
        flags.append(Flag.ONE_UNIT)
    if n_blank:
        flags.append(Flag.BLANK_UNITS)
    return tuple(flags)


def state_bca(
    what: str, statistic: Statistic, n_units: int, n_blank: int, settings: SurveySettings
) -> Estimate:
    """
    State a figure with the BCa interval of a bootstrap of units.

    Parameters
    ----------
    what : str
    statistic : callable
        As in `resampling.fit_bootstrap`.
    n_units, n_blank : int
    settings : SurveySettings
        With its `rng`.

    Returns
    -------
    Estimate
        Without interval, flagged ``no_spread``, where units drawn again all give the same.

    Raises
    ------
    ValueError
        Without a generator of random numbers.
    """
    if settings.rng is None:
        raise ValueError("a bootstrap needs a seeded generator in the settings")
    found = fit_bootstrap(statistic, n_units, settings.rng, Resampling(is_widened=True))
    flags = common_flags(settings, n_units, n_blank)
    return state_bootstrap(what, found, (n_units, n_blank), flags)


def state_bootstrap(
    what: str, found: Bootstrap, numbers: tuple[int, int], flags: tuple[Flag, ...]
) -> Estimate:
    """
    State a figure from units drawn again.

    Parameters
    ----------
    what : str
    found : Bootstrap
    numbers : tuple of int
        Units, and blank ones.
    flags : tuple of Flag

    Returns
    -------
    Estimate
        Its interval goes to the estimate at least, which a large bias would leave out; there is
        none, flagged ``no_spread``, where units drawn again all give the same.
    """
    n_units, n_blank = numbers
    is_known = found.u > ALIKE * abs(found.estimate) and found.hi > found.lo
    return Estimate(
        what=what,
        estimate=found.estimate,
        u=found.u if is_known else None,
        lo95=min(found.lo, found.estimate) if is_known else None,
        hi95=max(found.hi, found.estimate) if is_known else None,
        method=Method.BCA if is_known else Method.NONE,
        n_units=n_units,
        flags=flags if is_known else (*flags, Flag.NO_SPREAD),
        n_blank=n_blank,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanOfUnits:
    """
    A mean with what its interval needs.

    Parameters
    ----------
    what : str
    figure : Figure
    mean, u : float
    n_units, n_blank : int
    counted : float
        Points, colonies, area or minutes of all units; infinite (fractions) or NaN (rates) where
        nothing was counted.
    df : float or None
        None: `n_units` - 1.
    flags : tuple of Flag
        To be carried.
    """

    what: str
    figure: Figure
    mean: float
    u: float
    n_units: int
    n_blank: int
    counted: float
    df: float | None = None
    flags: tuple[Flag, ...] = ()


def state_fraction(part: MeanOfUnits, settings: SurveySettings) -> Estimate:
    """
    State a fraction with its interval by t on the logit.

    Parameters
    ----------
    part : MeanOfUnits
    settings : SurveySettings

    Returns
    -------
    Estimate
    """
    return state_fractions((part,), settings)[0]


def state_fractions(parts: Sequence[MeanOfUnits], settings: SurveySettings) -> tuple[Estimate, ...]:
    """
    State several fractions, their intervals worked out together.

    Parameters
    ----------
    parts : sequence of MeanOfUnits
    settings : SurveySettings

    Returns
    -------
    tuple of Estimate
    """
    free = [part.n_units - 1 if part.df is None else part.df for part in parts]
    ends = fraction_interval(
        [part.mean for part in parts],
        [part.u for part in parts],
        [part.n_units for part in parts],
        [part.counted for part in parts],
        free,
    )
    return tuple(
        _state_fraction(part, settings, (float(lo), float(hi)))
        for part, lo, hi in zip(parts, *ends, strict=True)
    )


def _state_fraction(
    part: MeanOfUnits, settings: SurveySettings, ends: tuple[float, float]
) -> Estimate:
    """Put a fraction together with its interval and what simulated surveys tell of it."""
    scale = part.mean * (1 - part.mean)
    u = part.u
    if part.n_units > 1 and not is_apart(u, part.mean, scale):
        u = float(np.sqrt(scale / part.counted)) or float("nan")
    flags: tuple[Flag, ...] = ()
    if part.n_units > 1 and settings.coverage and 0 < part.mean < 1:
        level, size = min(part.mean, 1 - part.mean), part.counted / part.n_units
        spread = part.n_units * u**2 / scale
        flags = coverage_flags(
            settings.coverage, part.figure, part.n_units, level, min(size, 1e6), spread
        )
    return _stated(part, settings, ends, _Doubt(u, scale, flags))


def state_rate(part: MeanOfUnits, settings: SurveySettings) -> Estimate:
    """
    State a density or rate with its interval by t on the logarithm.

    Parameters
    ----------
    part : MeanOfUnits
    settings : SurveySettings

    Returns
    -------
    Estimate
    """
    lo, hi = rate_interval(part.mean, part.u, part.n_units, part.counted, part.df)
    u = part.u
    if part.n_units > 1 and not is_apart(u, part.mean, part.mean):
        u = float(np.sqrt(part.mean / part.counted))
    flags: tuple[Flag, ...] = ()
    if part.n_units > 1 and settings.coverage and part.mean > 0 and np.isfinite(part.counted):
        level = part.mean * part.counted / part.n_units
        spread = part.n_units * (u / part.mean) ** 2
        flags = coverage_flags(settings.coverage, part.figure, part.n_units, level, 0.0, spread)
    return _stated(part, settings, (float(lo), float(hi)), _Doubt(u, part.mean, flags))


@dataclass(frozen=True, slots=True)
class _Doubt:
    """Standard error to be stated, the scale that it is small on, and flags of coverage."""

    u: float
    scale: float
    flags: tuple[Flag, ...]


def _stated(
    part: MeanOfUnits, settings: SurveySettings, ends: tuple[float, float], doubt: _Doubt
) -> Estimate:
    """Put the figure together; a limit at nothing found or everything full."""
    lo, hi = ends
    flags = [*common_flags(settings, part.n_units, part.n_blank), *part.flags, *doubt.flags]
    method = require_method(part.figure, part.n_units)
    df = float(part.n_units - 1) if part.df is None else part.df
    spread = float("nan") if part.n_units < 2 else doubt.u
    stated_df: float | None = df
    if math.isnan(lo) != math.isnan(hi):
        flags.append(Flag.UPPER_LIMIT_ONLY if math.isnan(lo) else Flag.LOWER_LIMIT_ONLY)
        method, spread, stated_df = find_rule(part.figure).all_zero, float("nan"), None
    elif part.n_units > 1 and not is_apart(part.u, part.mean, doubt.scale):
        flags.append(Flag.NO_SPREAD)
    if math.isnan(lo) and math.isnan(hi):
        method, stated_df = Method.NONE, None
    return Estimate(
        what=part.what,
        estimate=or_none(part.mean),
        u=or_none(spread),
        lo95=or_none(lo),
        hi95=or_none(hi),
        method=method,
        n_units=part.n_units,
        df=stated_df,
        flags=tuple(dict.fromkeys(flags)),
        n_blank=part.n_blank,
    )
