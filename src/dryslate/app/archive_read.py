"""What was read of a Darwin Core archive, and what is told of what could not be."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_check import MOST_TOLD
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.archived_records import ArchivedPhoto
    from dryslate.app.condition_records import VisitConditions
    from dryslate.app.coral_health import HealthRow
    from dryslate.app.identification_rows import (
        IdentificationRow,
        RecordRow,
        ReviewChanceRow,
        ReviewOutcomeRow,
    )
    from dryslate.app.logger_records import LoggerFile, SiteLogger
    from dryslate.app.project_records import ClockOffset
    from dryslate.app.publication_records import SitePlace, UnitPlace
    from dryslate.app.records import MeasurementRow, Visit
    from dryslate.app.survey_records import NotedRow, StatedDesign
    from dryslate.app.unit_records import Unit

BROKEN = (KeyError, TypeError, ValueError, AttributeError)
"""What reading words raises where they are not those that this program writes."""


@dataclass(kw_only=True)
class ArchiveRead:
    """
    What was read.

    Parameters
    ----------
    name : str
    region : str or None
    facts : dict
    sites, settings : list, dict
        Settings by word, each a list of rows.
    places, unit_places, visits, units, designs : dict or list
    rows : dict
        By unit.
    corals : list
    conditions : dict
        By visit.
    loggers : list
        Of a logger and the table of its days.
    photos : dict
        By hash: photos that are named.
    copies : dict
        Of these, those of which the archive holds the very file: where it lies there.
    clocks : list
        What cameras' clocks were off by.
    problems : list of Problem
        Nothing is stored while one is an error.
    """

    name: str
    region: str | None = None
    facts: dict[str, str] = field(default_factory=dict)
    sites: list[str] = field(default_factory=list)
    settings: dict[str, list[Any]] = field(default_factory=dict)
    places: dict[str, SitePlace] = field(default_factory=dict)
    unit_places: list[UnitPlace] = field(default_factory=list)
    visits: dict[str, Visit] = field(default_factory=dict)
    units: list[Unit] = field(default_factory=list)
    designs: dict[str, StatedDesign] = field(default_factory=dict)
    rows: dict[str, list[NotedRow]] = field(default_factory=lambda: defaultdict(list))
    corals: list[Coral] = field(default_factory=list)
    conditions: dict[str, VisitConditions] = field(default_factory=dict)
    loggers: list[tuple[SiteLogger, LoggerFile]] = field(default_factory=list)
    photos: dict[str, ArchivedPhoto] = field(default_factory=dict)
    copies: dict[str, str] = field(default_factory=dict)
    unit_of_photo: dict[str, str] = field(default_factory=dict)
    clocks: list[ClockOffset] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    n_more: dict[str, int] = field(default_factory=dict)

    @property
    def is_sound(self) -> bool:
        """Tell whether it can be stored."""
        return not any(one.severity == "error" for one in self.problems)

    def add(self, problem: Problem) -> None:
        """Tell a problem, or count it where many alike were told."""
        n = self.n_more.get(problem.slug, 0) + 1
        self.n_more[problem.slug] = n
        if n <= MOST_TOLD:
            self.problems.append(problem)

    def told_more(self) -> list[str]:
        """Say in words what was counted and not told."""
        return [
            f"{n - MOST_TOLD} more of the kind {slug}"
            for slug, n in self.n_more.items()
            if n > MOST_TOLD
        ]

    def counts(self) -> dict[str, int]:
        """Count what was read."""
        return {
            "visits": len(self.visits),
            "units": len(self.units),
            "rows": sum(len(rows) for rows in self.rows.values()),
            "corals": len(self.corals),
            "colonies": len(self.settings.get("colonies", ())),
            "photos of colonies, not here": len(self.settings.get("frames", ())),
            "loggers": len(self.loggers),
            "measurements of corals": sum(len(one.measured) for one in self.corals),
            "photos with their file": len(self.copies),
            "clocks of cameras": len(self.clocks),
        }

    def as_dict(self) -> dict[str, Any]:
        """Return counts and problems, for JSON."""
        return {
            "n": self.counts(),
            "is_sound": self.is_sound,
            "problems": [one.as_dict() for one in self.problems],
            "more": self.told_more(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Coral:
    """
    A coral noted on a visit, with every look at it.

    `in_photo` is the same record where its photo is here: `record` names it in words.
    """

    record: RecordRow
    looks: tuple[IdentificationRow, ...]
    chances: tuple[ReviewChanceRow, ...]
    outcomes: tuple[ReviewOutcomeRow, ...]
    health: tuple[HealthRow, ...]
    measured: tuple[MeasurementRow, ...] = ()
    in_photo: RecordRow | None = None


def not_understood(place: str, term: str, message: str) -> Problem:
    """Return the fault of what a record needs and nothing here can read."""
    return Problem(
        slug="archive-not-understood",
        severity="error",
        place=f"{place}, {term}",
        message=message,
        fix="",
    )


def left_out(place: str, term: str, message: str) -> Problem:
    """Return the warning of what is not taken over."""
    return Problem(
        slug="archive-left-out",
        severity="warning",
        place=f"{place}, {term}",
        message=message,
        fix="",
    )


def why(error: BaseException) -> str:
    """
    Say in words why something could not be read; `error` is one of `BROKEN`.

    Examples
    --------
    >>> why(KeyError("noted_by")), why(ValueError("'x': expected a or b"))
    ("'noted_by' is missing or not read", "'x': expected a or b")
    """
    if isinstance(error, KeyError):
        return f"{error.args[0]!r} is missing or not read"
    if isinstance(error, AttributeError | TypeError):
        return f"something of another kind than expected ({error})"
    return str(error)
