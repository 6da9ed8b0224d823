"""Loggers as they leave a project and come back: means of days, with the readings behind each."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from dryslate.app.logger_records import LoggerFile, SiteLogger
from dryslate.base.errors import InputError
from dryslate.core.health.heat import DailyMeans, HeatSeries
from dryslate.formats.table_csv import read_table_csv

COLUMNS = ("date", "temperature_c", "n_readings")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerDeployment:
    """
    A logger at a site, with what its heat stress is worked out with.

    Parameters
    ----------
    logger_id : str
        Hash of its first file.
    site : str
    logger, file_name : str
        What it and its first file are called.
    warmest_c, warmest_source, deployed_from, deployed_to, offset_c : as `SiteLogger`
    zone : str
        Of the clock whose midnight parts the days.
    n_cut : int
        Readings out of the water, not in the means.
    observer, stated_at : str
    """

    logger_id: str
    site: str
    warmest_c: float
    warmest_source: str
    observer: str
    stated_at: str
    zone: str
    logger: str = ""
    file_name: str = ""
    deployed_from: str = ""
    deployed_to: str = ""
    offset_c: float | None = None
    n_cut: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerDay:
    """
    A day of a logger.

    Parameters
    ----------
    logger_id, date : str
    temperature_c : float or None
        Mean of the day; None: too few readings, or none.
    n_readings : int
    """

    logger_id: str
    date: str
    temperature_c: float | None
    n_readings: int


def kept_of(stated: LoggerDeployment, days: Sequence[LoggerDay]) -> tuple[SiteLogger, LoggerFile]:
    """
    Return how a logger of days is kept: as a table of days in place of the file that is not here.

    Parameters
    ----------
    stated : LoggerDeployment
    days : sequence of LoggerDay
        One or more, in their order.
    """
    lines = [",".join(COLUMNS)]
    for day in days:
        mean = "" if day.temperature_c is None else repr(float(day.temperature_c))
        lines.append(f"{day.date},{mean},{day.n_readings}")
    content = "\n".join(lines) + "\n"
    data = content.encode("utf-8")
    sha256 = hashlib.sha256(data).hexdigest()
    time_column, temperature_column, count_column = COLUMNS
    logger = SiteLogger(
        site=stated.site,
        sha256=sha256,
        file_name=stated.file_name or stated.logger or "logger",
        warmest_c=stated.warmest_c,
        warmest_source=stated.warmest_source,
        deployed_from=stated.deployed_from,
        deployed_to=stated.deployed_to,
        offset_c=stated.offset_c,
        zone=stated.zone,
        time_column=time_column,
        temperature_column=temperature_column,
        count_column=count_column,
        n_cut=stated.n_cut,
        observer=stated.observer,
        stated_at=stated.stated_at,
    )
    return logger, LoggerFile(sha256=sha256, size_bytes=len(data), content=content)


def days_in(content: str, name: str) -> DailyMeans:
    """
    Read a table of days.

    Parameters
    ----------
    content : str
        As `kept_of` writes it.
    name : str
        For messages.

    Raises
    ------
    InputError
        ``logger-cell-unreadable``.
    """
    table = read_table_csv(content.encode("utf-8"), name)
    days, means, counts = [], [], []
    try:
        for _, (day, mean, count) in table.rows:
            days.append(np.datetime64(date.fromisoformat(day), "D"))
            means.append(float(mean) if mean else math.nan)
            counts.append(int(count))
    except ValueError as error:
        raise InputError(
            "logger-cell-unreadable", f"{name}: {error}", "Read the archive in again."
        ) from error
    return DailyMeans(
        days=np.array(days, "datetime64[D]"),
        mean_c=np.array(means, np.float64),
        count=np.array(counts, np.int64),
    )


def days_of(logger_id: str, daily: DailyMeans | HeatSeries) -> Iterator[LoggerDay]:
    """Yield each day of a series."""
    for day, mean, count in zip(daily.days, daily.mean_c, daily.count, strict=True):
        yield LoggerDay(
            logger_id=logger_id,
            date=str(day),
            temperature_c=float(mean) if math.isfinite(mean) else None,
            n_readings=int(count),
        )


def zone_text(zone: timedelta) -> str:
    """
    Write a zone.

    Examples
    --------
    >>> zone_text(timedelta(hours=-3, minutes=-30)), zone_text(timedelta(0))
    ('-03:30', '+00:00')
    """
    minutes = round(zone.total_seconds() / 60)
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
