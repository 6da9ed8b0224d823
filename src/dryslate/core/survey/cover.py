"""Cover: points, tape and areas of units to a mean with its interval."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logit, stdtrit

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.identify.hit_rate import wilson_interval
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import is_apart
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.overdispersion import fit_beta_binomial
from dryslate.core.survey.statement import (
    MeanOfUnits,
    SurveySettings,
    ThingValues,
    UnitValues,
    common_flags,
    require_things,
    require_units,
    state_bca,
    state_fractions,
)

FloatArray = NDArray[np.float64]


def estimate_point_cover(
    hits: ArrayLike,
    points: ArrayLike,
    settings: SurveySettings,
    *,
    unreadable: ArrayLike = 0,
    what: str = "cover_frac",
) -> Estimate:
    r"""
    Estimate cover from points on photos, or along a line.

    Parameters
    ----------
    hits : array_like of int, shape (n,)
        Points on the category, of each unit (all photos of a unit together); NaN: blank.
    points : array_like of int, shape (n,)
        Points laid in each unit.
    settings : SurveySettings
    unreadable : array_like of int
        Points that could not be read; they leave the denominator.
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
    Unit value :math:`n_i/(N - N_{unreadable})`; the mean of units and its standard error from
    their spread [1]_; interval as in `intervals.fraction_interval`. The unit is the replicate,
    never the point. Assumes that unreadable points lie on the same things as the readable ones:
    points lost in shade make what grows in shade read low. Seen from above, what lies under
    overhangs reads low.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., sections 2.4 and 3.12.

    Examples
    --------
    >>> found = estimate_point_cover([31, 44, 25, 38], [100] * 4, SurveySettings())
    >>> print(f"{found.estimate:.3f} ± {found.u:.3f} ({found.lo95:.3f} to {found.hi95:.3f})")
    0.345 ± 0.041 (0.228 to 0.487)
    """
    (found,) = estimate_point_covers(
        np.array(hits, dtype=np.float64, ndmin=1)[None],
        points,
        settings,
        unreadable=unreadable,
        what=what,
    )
    return found


def estimate_point_covers(
    hits: ArrayLike,
    points: ArrayLike,
    settings: SurveySettings,
    *,
    unreadable: ArrayLike = 0,
    what: str = "cover_frac",
) -> tuple[Estimate, ...]:
    """
    Estimate the cover of several things from the same points, as `estimate_point_cover` does.

    Parameters
    ----------
    hits : array_like of int, shape (things, n)
        A unit that is blank of one thing is blank of all.
    points : array_like of int, shape (n,)
    settings : SurveySettings
    unreadable : array_like of int
    what : str

    Returns
    -------
    tuple of Estimate

    Raises
    ------
    InputError
        As `estimate_point_cover`.

    Examples
    --------
    >>> found = estimate_point_covers([[31, 44], [9, 6]], [100, 100], SurveySettings())
    >>> [one.estimate for one in found]
    [0.375, 0.075]
    """
    laid = np.asarray(points, dtype=np.float64)
    readable = laid - np.asarray(unreadable, dtype=np.float64)
    units = require_things(hits, readable, is_share=True)
    return _state_covers(what, units, settings, float(units.effort.sum()))


def estimate_cover(
    fractions: ArrayLike, settings: SurveySettings, *, what: str = "cover_frac"
) -> Estimate:
    """
    Estimate cover from one fraction a unit: visual estimates, cells, tape.

    Parameters
    ----------
    fractions : array_like of float, shape (n,)
        0 to 1; NaN: blank.
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
    As `estimate_point_cover`; nothing is known of counting, so that units all alike have no
    interval, and the limit at nothing found is that of very many points a unit.

    Examples
    --------
    >>> found = estimate_cover([0.206, 0.265, 0.134, 0.305, 0.1725], SurveySettings())
    >>> print(f"{found.estimate:.4f} ± {found.u:.4f}")
    0.2165 ± 0.0309
    """
    values = np.array(fractions, dtype=np.float64, ndmin=1)
    units = require_things(values[None], np.ones_like(values), is_share=True)
    return _state_covers(what, units, settings, float("inf"))[0]


def estimate_line_cover(
    lengths: ArrayLike, tapes: ArrayLike, settings: SurveySettings, *, what: str = "cover_frac"
) -> Estimate:
    r"""
    Estimate cover from the length of tape that lies over a category.

    Parameters
    ----------
    lengths : array_like of float, shape (n,)
        Over the category on each line; NaN: blank.
    tapes : array_like of float, shape (n,)
        Length of each line, in the same unit.
    settings : SurveySettings
        `weighting` says whether longer lines count for more.
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
    :math:`\sum l_i/L` of each line [1]_. A tape that sags or sways into hollows reads what grows
    there high; the tape's own contour makes steep things read high.

    References
    ----------
    .. [1] English, S., Wilkinson, C. & Baker, V. (1997). Survey Manual for Tropical Marine
       Resources, 2nd ed. (line intercept transect; cited from memory).

    Examples
    --------
    >>> found = estimate_line_cover(
    ...     [412, 180, 268], [2000, 1000, 1500], SurveySettings(weighting="effort")
    ... )
    >>> print(f"{found.estimate:.4f} ± {found.u:.4f}")
    0.1911 ± 0.0100
    """
    values = np.array(lengths, dtype=np.float64, ndmin=1)
    units = require_things(values[None], tapes, is_share=True)
    return _state_covers(what, units, settings, float("inf"))[0]


def line_lengths(end_marks: Sequence[tuple[str, float]]) -> dict[str, tuple[float, int]]:
    """
    Turn the marks read along a tape into lengths.

    Parameters
    ----------
    end_marks : sequence of (str, float)
        What lies under the tape up to this mark, in order from 0.

    Returns
    -------
    dict
        For each category its length, and in how many intercepts.

    Raises
    ------
    InputError
        ``survey-marks-not-rising`` if a mark is not beyond the one before it.

    Examples
    --------
    >>> line_lengths([("sand", 120), ("Porites", 185), ("sand", 240)])
    {'sand': (175.0, 2), 'Porites': (65.0, 1)}
    """
    found: dict[str, tuple[float, int]] = {}
    before = 0.0
    for at, (name, mark) in enumerate(end_marks, start=1):
        if not mark > before:
            raise InputError(
                "survey-marks-not-rising",
                f"Mark {at} on the tape ({name}, {mark:g}) is not beyond the one before "
                f"({before:g}).",
                "Marks are where each stretch ends, counted from the tape's zero.",
            )
        length, n = found.get(name, (0.0, 0))
        found[name] = (length + mark - before, n + 1)
        before = float(mark)
    return found


def read_fraction(hits: int, counted: int, *, what: str = "cover_frac") -> Estimate:
    """
    State the reading of one photo, line or quadrat: a fraction of points or colonies.

    Parameters
    ----------
    hits, counted : int
    what : str

    Returns
    -------
    Estimate
        Flagged ``reading_only``.

    Raises
    ------
    InputError
        ``survey-value-impossible``.

    Notes
    -----
    Wilson's score interval [1]_. It says how well this reading is known if points fall
    independently; it says nothing of the reef. Points on a grid or close together are alike, and
    then it is too narrow.

    References
    ----------
    .. [1] Wilson, E.B. (1927). J. Am. Stat. Assoc. 22, 209-212.

    Examples
    --------
    >>> found = read_fraction(81, 263)
    >>> print(f"{found.lo95:.4f} to {found.hi95:.4f}")
    0.2553 to 0.3662
    """
    units = require_units([hits], [counted], is_share=True)
    if units.n_blank:
        return Estimate(what=what, estimate=None, n_blank=1, flags=(Flag.BLANK_UNITS,))
    share = hits / counted
    lo, hi = wilson_interval(share, counted)
    return Estimate(
        what=what,
        estimate=share,
        u=float(np.sqrt(share * (1 - share) / counted)) if 0 < hits < counted else None,
        lo95=0.0 if hits == 0 else lo,
        hi95=1.0 if hits == counted else hi,
        method=Method.WILSON,
        n_units=1,
        flags=(Flag.READING_ONLY,),
    )


def _state_covers(
    what: str, units: ThingValues, settings: SurveySettings, counted: float
) -> tuple[Estimate, ...]:
    """Mean of units, then the interval that the table fixes or that was asked for."""
    n = len(units.effort)
    method = require_method(Figure.COVER, n, settings.method) if n > 1 else Method.NONE
    means, spreads = units.mean_and_u(settings.weighting)
    parts = [
        MeanOfUnits(
            what=what,
            figure=Figure.COVER,
            mean=mean,
            u=u,
            n_units=n,
            n_blank=units.n_blank,
            counted=counted,
        )
        for mean, u in zip(means.tolist(), spreads.tolist(), strict=True)
    ]
    found = list(state_fractions(parts, settings))
    if method in (Method.BCA, Method.BETA_BINOMIAL):
        for thing, mean in enumerate(means):
            if 0 < mean < 1 and is_apart(spreads[thing], mean, mean * (1 - mean)):
                found[thing] = _state_asked(what, units.of(thing), settings, method)
    return tuple(found)


def _state_asked(
    what: str, units: UnitValues, settings: SurveySettings, method: Method
) -> Estimate:
    """State one figure with the interval that was asked for beforehand."""
    if method is Method.BETA_BINOMIAL:
        return state_beta_binomial(what, units, settings)
    statistic = units.statistic(settings.weighting)
    return state_bca(what, statistic, len(units.found), units.n_blank, settings)


def state_beta_binomial(what: str, units: UnitValues, settings: SurveySettings) -> Estimate:
    """
    State the mean of a beta-binomial fit with its profile interval.

    Parameters
    ----------
    what : str
    units : UnitValues
        Counts out of counts.
    settings : SurveySettings

    Returns
    -------
    Estimate
        Its `u` is the interval's half width on the logit scale, over t, taken back.

    Raises
    ------
    InputError
        ``survey-method-not-for-this`` if the values are not counts.
    """
    if (units.found % 1 > 0).any() or (units.effort % 1 > 0).any() or units.effort.max() <= 1:
        raise InputError(
            "survey-method-not-for-this",
            "A beta-binomial interval needs points or colonies that were counted.",
            "Leave the method out.",
        )
    fit = fit_beta_binomial(units.found, units.effort)
    n = len(units.found)
    width = float(logit(fit.hi95) - logit(fit.lo95))
    return Estimate(
        what=what,
        estimate=fit.mean,
        u=fit.mean * (1 - fit.mean) * width / (2 * float(stdtrit(n - 1, 0.975))),
        lo95=fit.lo95,
        hi95=fit.hi95,
        method=Method.BETA_BINOMIAL,
        n_units=n,
        df=float(n - 1),
        flags=common_flags(settings, n, units.n_blank),
        n_blank=units.n_blank,
    )
