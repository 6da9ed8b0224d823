"""From a logger's table to heat stress, every unreadable cell named."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.logger_times import DateOrder, find_order, to_iso
from dryslate.base.errors import InputError, SettingsError
from dryslate.base.problems import Problem
from dryslate.core.health.heat import (
    PUBLISHED_THRESHOLDS,
    DayArray,
    FloatArray,
    HeatSeries,
    WarmestMonth,
    heat_series,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.formats.table_csv import Table

_ZONE = re.compile(r"([+-])(\d{2}):?(\d{2})")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerReadings:
    """
    What a logger's table holds.

    Parameters
    ----------
    times : ndarray of datetime64[s]
        UTC; a daily series stands at the midnight of its clock.
    readings_c : ndarray of float
        NaN: an empty cell.
    zone : timedelta
        Of the logger's clock.
    problems : tuple of Problem
        Cells that cannot be read; with any of them nothing is worked out.
    notes : tuple of Problem
        What the reading rests on: the order of day and month that the file tells.
    """

    times: DayArray
    readings_c: FloatArray
    zone: timedelta
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()


def zone_of(text: str) -> timedelta:
    """
    Return a zone from text such as ``+10:00`` or ``Z``.

    Raises
    ------
    SettingsError
        ``logger-zone-wrong``.
    """
    found = _ZONE.fullmatch(text.strip())
    if text.strip().upper() in ("Z", "UTC"):
        return timedelta(0)
    if found is None or int(found[2]) > 14 or int(found[3]) > 59:
        raise SettingsError(
            "logger-zone-wrong", f"{text} is no zone.", "Write it like +10:00, -03:00 or Z."
        )
    size = timedelta(hours=int(found[2]), minutes=int(found[3]))
    return size if found[1] == "+" else -size


def read_logger(table: Table, columns: tuple[str, str], zone: timedelta | None) -> LoggerReadings:
    """
    Read times and temperatures of a logger, or of a daily series.

    Parameters
    ----------
    table : Table
    columns : (str, str)
        Of the time and of the temperature in °C.
    zone : timedelta, optional
        Of times that carry none; a series of dates needs none.

    Returns
    -------
    LoggerReadings

    Raises
    ------
    InputError
        ``logger-column-missing``.
    """
    missing = ", ".join(name for name in columns if name not in table.columns)
    if missing:
        raise InputError(
            "logger-column-missing",
            f"{table.name}: no column is called {missing}.",
            "Name the columns of time and temperature with --columns.",
        )
    at, of = (table.columns.index(name) for name in columns)
    times, readings, problems = [], [], list(table.problems)
    clock, dates = zone, find_order([cells[at] for _, cells in table.rows])
    for k, cells in table.rows:
        try:
            when, clock_here = _moment(to_iso(cells[at], dates.order), zone)
            reading = float(cells[of].replace(",", ".")) if cells[of] else math.nan
            if math.isinf(reading):
                raise ValueError("infinite")
        except InputError as error:
            place = f"{table.name}, row {k}, {columns[0]}"
            problems.append(_fault(error.slug, error.message, error.fix, place))
            continue
        except ValueError:
            place = f"{table.name}, row {k}, {columns[1]}"
            text, fix = cells[of], "Leave the cell empty where there is no reading."
            problems.append(_fault("logger-cell-unreadable", f"not a number: {text}", fix, place))
            continue
        clock = clock_here if clock is None else clock
        times.append(np.datetime64(when, "s"))
        readings.append(reading)
    return LoggerReadings(
        times=np.array(times, "datetime64[s]"),
        readings_c=np.array(readings, np.float64),
        zone=clock or timedelta(0),
        problems=tuple(problems),
        notes=_order_note(table, at, dates),
    )


def _order_note(table: Table, at: int, dates: DateOrder) -> tuple[Problem, ...]:
    """Say in which order dates were read, and which row tells."""
    if dates.order is None or dates.shown_by is None:
        return ()
    k, cells = table.rows[dates.shown_by]
    text = cells[at]
    if dates.order == "dmy":
        message = f"dates are read as day, month, year: {text} can be nothing else"
    else:
        message = f"dates are read as month, day, year: {text} can be nothing else"
    return (
        Problem(
            slug="logger-dates-order",
            severity="note",
            place=f"{table.name}, row {k}, {table.columns[at]}",
            message=message,
            fix="Nothing, if that is how this logger writes them.",
        ),
    )


def logger_heat(
    read: LoggerReadings,
    warmest: tuple[float, str],
    deployed: tuple[str, str] | Sequence[tuple[str, str]] | None,
    offset_c: float | None,
) -> HeatSeries:
    """
    Return the heat stress of a logger.

    Parameters
    ----------
    read : LoggerReadings
    warmest : (float, str)
        Mean of the warmest month, and its source.
    deployed : (str, str) or sequence of them, optional
        Times without a zone are in the logger's; a date as the end holds to its last second.
    offset_c : float, optional
        Logger minus source.

    Returns
    -------
    HeatSeries

    Raises
    ------
    InputError
        ``logger-cell-unreadable``, and those of `heat_series`.
    """
    ends = None
    if deployed is not None:
        lain = [deployed] if isinstance(deployed[0], str) else deployed
        ends = [_span(one, read.zone) for one in lain]  # type: ignore[arg-type]  # pairs by now
    return heat_series(
        read.times,
        read.readings_c,
        WarmestMonth(mean_c=warmest[0], source=warmest[1]),
        deployed=ends,
        offset_c=offset_c,
        utc_offset_h=read.zone.total_seconds() / 3600,
    )


def _span(stated: tuple[str, str], zone: timedelta) -> tuple[np.datetime64, np.datetime64]:
    """Return when a logger lay on the reef, UTC."""
    start, end = (np.datetime64(_moment(text, zone)[0], "s") for text in stated)
    if len(stated[1].strip()) == len("2024-01-31"):
        end = end + np.timedelta64(86399, "s")
    return start, end


def first_days(found: HeatSeries) -> dict[str, str | None]:
    """Return the first day at each published threshold, in °C-weeks; None: not reached."""
    days = {f"{limit:g}": found.first_reached(limit) for limit in PUBLISHED_THRESHOLDS}
    return {limit: None if day is None else str(day) for limit, day in days.items()}


def heat_as_dict(found: HeatSeries) -> dict[str, Any]:
    """Return the heat stress as plain values, one entry a day."""
    day, highest = found.highest()
    table = zip(found.days, found.mean_c, found.excess_c, found.dhw, found.days_read, strict=True)
    return {
        "warmest_month_c": found.warmest_month.mean_c,
        "source": found.warmest_month.source,
        "offset_c": found.offset_c,
        "n_readings": found.n_readings,
        "n_out_of_water": found.n_out_of_water,
        "highest": {"date": str(day), "dhw": highest},
        "first_reached": first_days(found),
        "gaps": [
            {"from": str(g.first), "to": str(g.last), "days": g.n_days, "readings": g.n_readings}
            for g in found.gaps
        ],
        "flags": [str(flag) for flag in found.flags],
        "days": [
            {
                "date": str(d),
                "mean_c": float(mean),
                "excess_c": float(over),
                "dhw": float(dhw),
                "days_read": int(n),
            }
            for d, mean, over, dhw, n in table
        ],
    }


def _moment(text: str, zone: timedelta | None) -> tuple[datetime, timedelta]:
    """Return a time in UTC without its zone, and the zone."""
    try:
        if len(text.strip()) == len("2024-01-31"):
            day = date.fromisoformat(text.strip())
            shift = zone or timedelta(0)
            return datetime(day.year, day.month, day.day) - shift, shift
        when = datetime.fromisoformat(text.strip())
        own = when.utcoffset()
        if own is not None:
            return when.astimezone(UTC).replace(tzinfo=None), own
        if zone is not None:
            return when - zone, zone
    except (ValueError, OverflowError) as error:  # the ends of the calendar overflow
        raise InputError(
            "logger-cell-unreadable",
            f"not a time: {text}",
            "Write times like 2024-01-31T14:30+10:00, or with day and month in an order that some "
            "date of the file tells by a number over 12.",
        ) from error
    raise InputError(
        "logger-time-no-zone",
        f"{text} is local time without a zone",
        "State the zone of the logger's clock, for example --zone +10:00.",
    )


def _fault(slug: str, message: str, fix: str, place: str) -> Problem:
    return Problem(slug=slug, severity="error", place=place, message=message, fix=fix)
