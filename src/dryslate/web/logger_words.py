"""The heat that a site's loggers show, as the pages of tagged colonies write it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.logger_heat import first_days

if TYPE_CHECKING:
    from dryslate.app.logger_records import SiteLogger
    from dryslate.app.logger_series import SiteHeat
    from dryslate.base.problems import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLine:
    """
    One logger with the figures of its heat stress.

    Parameters
    ----------
    logger : SiteLogger
    files : tuple of SiteLogger
        All that are of it.
    problems : tuple of Problem
        Where there are any, there are no figures.
    notes : tuple of Problem
        Where files overlap.
    highest : (str, float) or None
        Day, and °C-weeks.
    reached : tuple of (str, str or None)
        Each published figure, and the first day with it.
    n_gap_days, n_cut : int
        Days that say nothing; readings out of the water.
    """

    logger: SiteLogger
    files: tuple[SiteLogger, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()
    highest: tuple[str, float] | None = None
    reached: tuple[tuple[str, str | None], ...] = ()
    n_gap_days: int = 0
    n_cut: int = 0


def heat_lines(heat: Iterable[SiteHeat]) -> list[HeatLine]:
    """Return a line for each logger."""
    return [_line(one) for one in heat]


def _line(one: SiteHeat) -> HeatLine:
    """Return the figures of one logger."""
    found = one.found
    if found is None:
        return HeatLine(logger=one.logger, files=one.files, problems=one.problems)
    day, highest = found.highest()
    return HeatLine(
        logger=one.logger,
        files=one.files,
        problems=one.problems,
        notes=one.notes,
        highest=(str(day), highest),
        reached=tuple(first_days(found).items()),
        n_gap_days=sum(gap.n_days for gap in found.gaps),
        n_cut=found.n_out_of_water,
    )
