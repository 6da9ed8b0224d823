"""The heat stress that the files of one kept logger show together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from dryslate.app.logger_days import days_in
from dryslate.app.logger_files import LoggerPart, join_parts
from dryslate.app.logger_heat import LoggerReadings, logger_heat, read_logger, zone_of
from dryslate.app.logger_records import SiteLogger
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.base.quality import Flag
from dryslate.core.health.heat import WarmestMonth, heat_of_days
from dryslate.formats.table_csv import read_table_csv

if TYPE_CHECKING:
    from dryslate.core.health.heat import HeatSeries

Kept = tuple[SiteLogger, str]
"""A logger's file as it is kept: what is stated of it, and its words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHeat:
    """
    What a kept logger shows.

    Parameters
    ----------
    logger : SiteLogger
        Its first file.
    others : tuple of SiteLogger
        Its further files.
    found : HeatSeries or None
        None where a file cannot be worked out any more.
    problems : tuple of Problem
    notes : tuple of Problem
        Where its files overlap.
    zone : timedelta
        Of the clock whose midnight parts the days.
    """

    logger: SiteLogger
    found: HeatSeries | None
    others: tuple[SiteLogger, ...] = ()
    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()
    zone: timedelta = timedelta(0)

    @property
    def files(self) -> tuple[SiteLogger, ...]:
        """Return all its files."""
        return self.logger, *self.others


def by_logger(kept: Sequence[SiteLogger]) -> list[list[SiteLogger]]:
    """Put the files of each logger of one site together; a file without a name stands alone."""
    found: dict[str, list[SiteLogger]] = {}
    for one in kept:
        found.setdefault(one.logger or f"\t{one.sha256}", []).append(one)
    return list(found.values())


def heat_of_files(kept: Sequence[Kept]) -> SiteHeat:
    """
    Work the heat stress of one logger's files out.

    Parameters
    ----------
    kept : sequence of (SiteLogger, str)

    Returns
    -------
    SiteHeat
        With problems there is no heat: cells that cannot be read, each with its place.

    Raises
    ------
    InputError
        Those of reading tables, of `join_parts`, of `logger_heat`; ``logger-files-kinds``.
    """
    first, others = kept[0][0], tuple(one for one, _ in kept[1:])
    if any(one.count_column for one, _ in kept):
        zone = zone_of(first.zone) if first.zone else timedelta(0)
        return SiteHeat(logger=first, others=others, found=_of_days(kept), zone=zone)
    parts: list[LoggerPart] = []
    faults: list[Problem] = []
    for logger, content in kept:
        stated_zone = zone_of(logger.zone) if logger.zone else None
        table = read_table_csv(content.encode("utf-8"), logger.file_name)
        read = read_logger(table, (logger.time_column, logger.temperature_column), stated_zone)
        faults += read.problems
        parts.append(LoggerPart(name=logger.file_name, read=read))
    if faults:
        return SiteHeat(logger=first, others=others, found=None, problems=tuple(faults))
    joined, notes = join_parts(parts)
    lain = [_lain(logger, part.read) for (logger, _), part in zip(kept, parts, strict=True)]
    is_stated = [bool(one.deployed_from) for one, _ in kept]
    stated = (first.warmest_c, first.warmest_source)
    found = logger_heat(joined, stated, lain if any(is_stated) else None, first.offset_c)
    if any(is_stated) and not all(is_stated):
        found = replace(found, flags=(*found.flags, Flag.DEPLOYMENT_NOT_STATED))
    return SiteHeat(logger=first, others=others, found=found, notes=notes, zone=joined.zone)


def heat_or_why(kept: Sequence[Kept]) -> SiteHeat:
    """Work a kept logger out; what was sound when it was kept may not be to a later program."""
    try:
        return heat_of_files(kept)
    except DryslateError as error:
        first = kept[0][0]
        problem = problem_of(error, f"{first.site}, {first.file_name}")
        others = tuple(one for one, _ in kept[1:])
        return SiteHeat(logger=first, others=others, found=None, problems=(problem,))


def _lain(logger: SiteLogger, read: LoggerReadings) -> tuple[str, str]:
    """Return when a file's logger lay on the reef; where that is not stated, all its readings."""
    if logger.deployed_from:
        return logger.deployed_from, logger.deployed_to
    known = read.times[np.isfinite(read.readings_c)]
    if not known.size:
        return "1970-01-01T00:00Z", "1970-01-01T00:01Z"
    return f"{known[0]}Z", f"{known[-1] + np.timedelta64(1, 's')}Z"


def _of_days(kept: Sequence[Kept]) -> HeatSeries:
    """Work a file of days out."""
    if len(kept) > 1:
        raise InputError(
            "logger-files-kinds",
            "One of these files holds means of days, so they cannot be joined.",
            "Keep the file of days by itself.",
        )
    ((logger, content),) = kept
    return heat_of_days(
        days_in(content, logger.file_name),
        WarmestMonth(mean_c=logger.warmest_c, source=logger.warmest_source),
        offset_c=logger.offset_c,
        n_out_of_water=logger.n_cut,
        is_deployment_stated=bool(logger.deployed_from),
    )
