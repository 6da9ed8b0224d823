"""Heat stress: degree heating weeks from a daily series or a logger, by the published rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag

WINDOW_DAYS = 84
"""Twelve weeks, the day itself included (Liu et al. 2003; Skirving et al. 2020)."""
COUNTED_FROM_C = 1.0
"""An excess counts from here on, in degrees Celsius; a smaller one adds nothing."""
PUBLISHED_THRESHOLDS = (4.0, 8.0)
"""In °C-weeks: from 4 significant bleaching is expected, from 8 mortality (Liu et al. 2003)."""
FEWEST_YEARS = 10
"""A mean of the warmest month over fewer years is refused: our own choice."""
FULL_DAY = 0.75
"""A day with less than this share of its usual readings is a gap: our own choice."""
LIKELY_C = (-2.0, 40.0)
"""Temperatures of the sea; anything outside is a fault, in degrees Celsius."""
LARGEST_OFFSET_C = 10.0
"""A logger that differs more from its source is broken or in °F: our own choice."""
ROUNDING_C = 1e-9
"""So that 29.3 over 28.3 counts as the full degree it is."""
DAY_S = 86400.0

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
DayArray = NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmestMonth:
    """
    Long-term mean of the warmest month, with where it comes from.

    Parameters
    ----------
    mean_c : float
    source : str
        Data set and years, in words; never blank.

    Raises
    ------
    InputError
        ``heat-mean-unusable``.
    """

    mean_c: float
    source: str

    def __post_init__(self) -> None:
        """Refuse a mean without source, or one that is no temperature of the sea."""
        if not self.source.strip():
            raise _mean_fault("The mean of the warmest month has no source.")
        if not LIKELY_C[0] <= self.mean_c <= LIKELY_C[1]:
            raise _mean_fault(f"A mean of the warmest month of {self.mean_c:g} °C is no sea's.")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatGap:
    """
    Days that say nothing.

    Parameters
    ----------
    first, last : datetime64
    n_days : int
    n_readings : int
        0: none at all; otherwise too few for a mean of the day.
    """

    first: np.datetime64
    last: np.datetime64
    n_days: int
    n_readings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerOffset:
    """
    How a logger differs from the series behind the warmest-month mean.

    Parameters
    ----------
    mean_c : float
        Logger minus source.
    sd_c : float or None
        Of the daily differences; None from one day.
    n_days : int
        Days that both have.
    """

    mean_c: float
    sd_c: float | None
    n_days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyMeans:
    """
    Means of days, one after another without a day left out.

    Parameters
    ----------
    days : ndarray of datetime64[D]
    mean_c : ndarray of float
        NaN: too few readings, or none.
    count : ndarray of int
        Readings of the day.
    """

    days: DayArray
    mean_c: FloatArray
    count: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSeries:
    """
    Heat stress day by day.

    Parameters
    ----------
    warmest_month : WarmestMonth
    offset_c : float or None
        Logger minus source, taken off each day; None: not stated, nothing taken off.
    days : ndarray of datetime64[D]
        Every day from the first to the last reading.
    mean_c : ndarray of float
        Mean of the day as read; NaN: a gap.
    count : ndarray of int
        Readings of the day.
    excess_c : ndarray of float
        Over the warmest month, 0 where below; NaN: a gap.
    dhw : ndarray of float
        Degree heating weeks, in °C-weeks, of the 84 days that end with the day.
    days_read : ndarray of int
        Of these 84 days. Under 84 the figure is a lower bound.
    gaps : tuple of HeatGap
    n_readings, n_out_of_water : int
        Used; and cut by the deployment times.
    flags : tuple of Flag
    """

    warmest_month: WarmestMonth
    offset_c: float | None
    days: DayArray
    mean_c: FloatArray
    count: IntArray
    excess_c: FloatArray
    dhw: FloatArray
    days_read: IntArray
    gaps: tuple[HeatGap, ...]
    n_readings: int
    n_out_of_water: int
    flags: tuple[Flag, ...]

    def highest(self) -> tuple[np.datetime64, float]:
        """Return the first day of the largest figure, and the figure."""
        k = int(np.argmax(self.dhw))
        return self.days[k], float(self.dhw[k])

    def first_reached(self, dhw: float) -> np.datetime64 | None:
        """Return the first day with at least so many °C-weeks; None: never."""
        at = np.flatnonzero(self.dhw >= dhw - ROUNDING_C)
        return self.days[at[0]] if at.size else None


def warmest_month(
    monthly_means_c: Sequence[float], source: str, n_years: int
) -> tuple[WarmestMonth, int]:
    """
    Return the warmest of twelve long-term monthly means, and its month.

    Parameters
    ----------
    monthly_means_c : sequence of float
        January to December, each the mean over all years.
    source : str
    n_years : int
        Years behind them.

    Returns
    -------
    (WarmestMonth, int)
        The month from 1.

    Raises
    ------
    InputError
        ``heat-mean-unusable``: not twelve means, no source, or fewer than 10 years; a short record
        carries the heat it is to be held against.
    """
    means = np.asarray(monthly_means_c, np.float64)
    if means.shape != (12,) or not np.isfinite(means).all():
        raise _mean_fault("The warmest month is found from the means of twelve months.")
    if n_years < FEWEST_YEARS:
        raise _mean_fault(f"The mean of the warmest month rests on {n_years} years only.")
    k = int(np.argmax(means))
    return WarmestMonth(mean_c=float(means[k]), source=source), k + 1


def heating_weeks(daily_c: ArrayLike, mean_c: float) -> FloatArray:
    r"""
    Return degree heating weeks for each day of a series without missing days.

    Parameters
    ----------
    daily_c : array_like of float
        One mean a day; NaN: a gap, which adds nothing.
    mean_c : float
        Of the warmest month.

    Returns
    -------
    ndarray of float
        In °C-weeks.

    Notes
    -----
    :math:`\mathrm{DHW} = \frac17 \sum_{84\,\mathrm{days}} h` with :math:`h = T - M` where that is
    1 °C or more, else 0 [1]_ [2]_. The first 83 days use what is there.

    References
    ----------
    .. [1] Liu, G., Strong, A.E. & Skirving, W. (2003). Eos 84(15), 137-144.
    .. [2] Skirving, W. et al. (2020). Remote Sens. 12, 3856.

    Examples
    --------
    >>> print(f"{heating_weeks([30.0, 31.0, 29.8, 30.2], 29.0)[-1]:.1f}")
    0.6
    """
    over = np.asarray(daily_c, np.float64) - mean_c
    counted = np.where(over >= COUNTED_FROM_C - ROUNDING_C, over, 0.0)
    return _window_sum(counted) / 7.0


def heat_series(
    times: ArrayLike,
    readings_c: ArrayLike,
    warmest: WarmestMonth,
    *,
    deployed: Sequence[tuple[np.datetime64, np.datetime64]] | None = None,
    offset_c: float | None = None,
    utc_offset_h: float = 0.0,
) -> HeatSeries:
    """
    Return the heat stress that a logger or a daily series shows.

    Parameters
    ----------
    times : array_like of datetime64
        UTC, rising.
    readings_c : array_like of float
        NaN: no reading.
    warmest : WarmestMonth
    deployed : sequence of (datetime64, datetime64), optional
        When the logger lay on the reef, UTC, both ends in; readings outside are cut.
    offset_c : float, optional
        Logger minus the source of the warmest-month mean (`logger_offset`); taken off.
    utc_offset_h : float, default 0
        Of the clock whose midnight parts the days.

    Returns
    -------
    HeatSeries
        Flagged ``heat_gaps``, ``heat_window_short``, ``heat_offset_not_stated`` and
        ``deployment_not_stated``.

    Raises
    ------
    InputError
        ``heat-readings-unusable``, ``heat-deployment-unusable``.

    Notes
    -----
    A day is the mean of its readings. A gap adds nothing, so the figure reads low as long as one
    lies in its 84 days; `days_read` says so for each day.
    """
    at, values = _require_series(times, readings_c)
    _require_offset(offset_c)
    kept = _in_water(at, deployed)
    n_cut = int((~kept & np.isfinite(values)).sum())
    kept &= np.isfinite(values)
    at, values = at[kept], values[kept]
    if not at.size:
        raise InputError(
            "heat-deployment-unusable",
            "No reading lies inside the deployment times.",
            "Check the times and their zone, and that the file is of this logger.",
        )
    _require_sea(at, values)
    return heat_of_days(
        _daily(at, values, utc_offset_h),
        warmest,
        offset_c=offset_c,
        n_out_of_water=n_cut,
        is_deployment_stated=deployed is not None,
    )


def heat_of_days(
    daily: DailyMeans,
    warmest: WarmestMonth,
    *,
    offset_c: float | None,
    n_out_of_water: int,
    is_deployment_stated: bool,
) -> HeatSeries:
    """
    Return the heat stress that means of days show.

    Parameters
    ----------
    daily : DailyMeans
        What lay out of the water is cut.
    warmest : WarmestMonth
    offset_c : float or None
        Logger minus the source of the warmest-month mean; taken off.
    n_out_of_water : int
        Readings that were cut.
    is_deployment_stated : bool

    Returns
    -------
    HeatSeries
        As `heat_series` of the readings behind them.

    Raises
    ------
    InputError
        ``heat-readings-unusable``.
    """
    _require_offset(offset_c)
    days, mean_c, count = daily.days, daily.mean_c, daily.count
    read = np.isfinite(mean_c)
    over = mean_c - (offset_c or 0.0) - warmest.mean_c
    days_read = np.rint(_window_sum(read.astype(np.float64))).astype(np.int64)
    gaps = _gaps(days, read, count)
    said = {
        Flag.HEAT_GAPS: bool(gaps),
        Flag.HEAT_WINDOW_SHORT: days.size < WINDOW_DAYS,
        Flag.HEAT_OFFSET_NOT_STATED: offset_c is None,
        Flag.DEPLOYMENT_NOT_STATED: not is_deployment_stated,
    }
    return HeatSeries(
        warmest_month=warmest,
        offset_c=offset_c,
        days=days,
        mean_c=mean_c,
        count=count,
        excess_c=np.where(over > 0, over, np.where(read, 0.0, math.nan)),
        dhw=heating_weeks(mean_c - (offset_c or 0.0), warmest.mean_c),
        days_read=days_read,
        gaps=gaps,
        n_readings=int(count.sum()),
        n_out_of_water=n_out_of_water,
        flags=tuple(flag for flag, holds in said.items() if holds),
    )


def logger_offset(
    logger: tuple[ArrayLike, ArrayLike], source: tuple[ArrayLike, ArrayLike]
) -> LoggerOffset:
    """
    Return how much warmer a logger reads than the source, over the days that both have.

    Parameters
    ----------
    logger, source : (array_like of datetime64[D], array_like of float)
        Days, none twice, and their means; NaN: a gap.

    Returns
    -------
    LoggerOffset

    Raises
    ------
    InputError
        ``heat-readings-unusable`` if no day is in both.
    """
    pairs = [
        (np.asarray(days, "datetime64[D]"), np.asarray(c, np.float64))
        for days, c in (logger, source)
    ]
    (days_a, a), (days_b, b) = ((d[np.isfinite(c)], c[np.isfinite(c)]) for d, c in pairs)
    both, in_a, in_b = np.intersect1d(days_a, days_b, return_indices=True)
    if not both.size:
        raise InputError(
            "heat-readings-unusable",
            "The logger and the source of the warmest-month mean have no day in common.",
            "Take the source's series for the days of the logger.",
        )
    difference = a[in_a] - b[in_b]
    sd = float(difference.std(ddof=1)) if both.size > 1 else None
    return LoggerOffset(mean_c=float(difference.mean()), sd_c=sd, n_days=int(both.size))


def _window_sum(values: FloatArray) -> FloatArray:
    """Return for each day the sum over the 84 days that end with it."""
    if not values.size:
        return values
    return np.convolve(values, np.ones(WINDOW_DAYS))[: values.size]


def _mean_fault(message: str) -> InputError:
    return InputError(
        "heat-mean-unusable",
        message,
        "Give the long-term mean of the warmest month in °C from a climatology, and name it.",
    )


def _require_series(times: ArrayLike, readings_c: ArrayLike) -> tuple[DayArray, FloatArray]:
    """Return times and readings that go together, the times rising."""
    at, values = np.asarray(times, "datetime64[s]"), np.asarray(readings_c, np.float64)
    fix = "Give one temperature in °C for each time, in the order they were read."
    if at.shape == values.shape and not np.isfinite(values).any():
        raise InputError(
            "heat-readings-unusable",
            "There is no temperature to read.",
            "Take the logger's full file; a heading alone is none.",
        )
    if at.ndim != 1 or at.shape != values.shape or np.isnat(at).any():
        raise InputError(
            "heat-readings-unusable", "Times and temperatures do not go together.", fix
        )
    back = np.flatnonzero(np.diff(at) <= np.timedelta64(0, "s"))
    if back.size:
        number, time = int(back[0]) + 2, at[back[0] + 1]
        raise InputError(
            "heat-readings-unusable",
            f"Reading {number}, {time} UTC, does not come after the one before it.",
            fix,
        )
    return at, values


def _require_offset(offset_c: float | None) -> None:
    """Refuse a difference of logger and source that is no number, or that no logger has."""
    if offset_c is not None and not abs(offset_c) <= LARGEST_OFFSET_C:
        raise InputError(
            "heat-readings-unusable",
            f"A logger does not read {offset_c:g} °C off its source.",
            f"Give logger minus source in °C, at most {LARGEST_OFFSET_C:g} either way.",
        )


def _in_water(
    at: DayArray, deployed: Sequence[tuple[np.datetime64, np.datetime64]] | None
) -> NDArray[np.bool_]:
    """Return which readings lie in a deployment."""
    if deployed is None:
        return np.ones(at.shape, np.bool_)
    kept = np.zeros(at.shape, np.bool_)
    for start, end in deployed:
        if not start < end:
            raise InputError(
                "heat-deployment-unusable",
                f"A deployment ends at {end}, before it begins at {start}.",
                "Give when the logger was put out, then when it was taken in.",
            )
        kept |= (at >= start) & (at <= end)
    return kept


def _require_sea(at: DayArray, values: FloatArray) -> None:
    """Refuse temperatures that no sea has, and readings less than one a day."""
    wrong = np.flatnonzero((values < LIKELY_C[0]) | (values > LIKELY_C[1]))
    if wrong.size:
        value, time = values[wrong[0]], at[wrong[0]]
        raise InputError(
            "heat-readings-unusable",
            f"{value:g} °C at {time} UTC is no temperature of the sea.",
            "Check the unit (°C), and give the deployment times if the logger lay on deck.",
        )
    if _usual_step_s(at) > DAY_S:
        raise InputError(
            "heat-readings-unusable",
            "The readings lie more than a day apart; the rule needs each day's mean.",
            "Take a daily series or the logger's full file.",
        )


def _usual_step_s(at: DayArray) -> float:
    """Return the usual time between readings, a day for one reading."""
    if at.size == 1:
        return DAY_S
    return float(np.quantile(np.diff(at).astype(np.float64), 0.5, method="lower"))


def _daily(at: DayArray, values: FloatArray, utc_offset_h: float) -> DailyMeans:
    """Return each day, its mean (NaN: too few readings) and its readings."""
    local = (at + np.timedelta64(round(utc_offset_h * 3600), "s")).astype("datetime64[D]")
    k = (local - local[0]).astype(np.int64)
    count = np.bincount(k)
    usual = DAY_S / _usual_step_s(at)
    with np.errstate(invalid="ignore"):
        mean_c = np.bincount(k, weights=values) / count
    mean_c[count < math.ceil(FULL_DAY * usual - ROUNDING_C)] = math.nan
    return DailyMeans(days=local[0] + np.arange(count.size), mean_c=mean_c, count=count)


def _gaps(days: DayArray, read: NDArray[np.bool_], count: IntArray) -> tuple[HeatGap, ...]:
    """Return the runs of days that say nothing; days with and without readings apart."""
    kind = np.where(read, 0, np.where(count > 0, 1, 2))
    edges = [*np.flatnonzero(np.diff(kind, prepend=-1)), days.size]
    return tuple(
        HeatGap(
            first=days[a], last=days[b - 1], n_days=int(b - a), n_readings=int(count[a:b].sum())
        )
        for a, b in pairwise(edges)
        if kind[a]
    )
