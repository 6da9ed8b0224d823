"""What a report of a survey's results is asked to hold, and what it holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.change import Changes
    from dryslate.app.colony_book import ColonyStory
    from dryslate.app.community import Community
    from dryslate.app.community_table import By
    from dryslate.app.condition_records import VisitConditions
    from dryslate.app.publication_records import ProjectPerson
    from dryslate.app.records import Visit
    from dryslate.app.report_units import ReportedUnit
    from dryslate.app.result_rows import ResultRow
    from dryslate.app.result_settings import ResultSettings
    from dryslate.core.health.colony_colour import ColourChange

PARTS = ("sites", "colonies", "change", "likeness", "figures", "trail")
"""What may go into a report or be left out; what was looked at and how always stands in it."""
MOST_COMPARED = 250
"""Units of one design that a report compares with each other: the work grows with their square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportChoice:
    """
    What a report is of.

    Parameters
    ----------
    sites, dates : tuple of str
        Of visits; empty: all.
    parts : tuple of str
        Some of `PARTS`.
    """

    sites: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()
    parts: tuple[str, ...] = PARTS

    def __post_init__(self) -> None:
        """Refuse a part that there is not."""
        wrong = [part for part in self.parts if part not in PARTS]
        if wrong:
            raise InputError(
                "report-part-unknown",
                f"A report has no part {wrong[0]!r}.",
                f"There are: {', '.join(PARTS)}.",
            )

    @property
    def is_whole(self) -> bool:
        """Whether it is of every site and visit."""
        return not self.sites and not self.dates

    def has(self, site: str, date: str) -> bool:
        """Whether a visit is in it."""
        wanted = {name.casefold() for name in self.sites}
        return (not wanted or site.casefold() in wanted) and (not self.dates or date in self.dates)


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPlace:
    """
    Where a site is shown.

    Parameters
    ----------
    site : str
    latitude_deg, longitude_deg : float
        Of a sensitive site the middle of its square of the grid.
    grid_deg : float or None
        That grid, where the position was made coarse.
    uncertainty_m : float or None
    """

    site: str
    latitude_deg: float
    longitude_deg: float
    grid_deg: float | None = None
    uncertainty_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyReport:
    """
    Everything the report shows.

    Parameters
    ----------
    title, state_utc : str
        `state_utc`: the last change of the records.
    n_changes : int
        Lines of the change log.
    visits : tuple of Visit
    units : tuple of ReportedUnit
    rows : tuple of ResultRow
        The figures; the report writes no number of a figure that is not here.
    n_named : mapping of str to int
        How often each name was noted in the whole survey.
    choice : ReportChoice
    changes, named_changes : Changes
        Of categories and groups; of names of corals.
    communities : tuple of (str, Community)
        By zone, visit and site, where there are such.
    is_too_large_to_compare : bool
        More than `MOST_COMPARED` units of a design: they are not compared here.
    colonies : tuple of (ColonyStory, tuple of ColourChange)
        Each with its colour at the last visit against its own first; empty where none was measured.
    places : tuple of MapPlace
    conditions : mapping of str to VisitConditions
        By visit, where anything was stated.
    facts : mapping of str to str
    people : tuple of ProjectPerson
    settings : ResultSettings
    cards : tuple of str
    cameras : tuple of str
    n_photos, n_aside : int
    table_sha256, table_name : str
        Of the table of figures as CSV, and the file beside the report that holds it.
    """

    title: str
    state_utc: str
    n_changes: int
    visits: tuple[Visit, ...]
    units: tuple[ReportedUnit, ...]
    rows: tuple[ResultRow, ...]
    n_named: Mapping[str, int]
    choice: ReportChoice
    changes: Changes
    named_changes: Changes
    communities: tuple[tuple[By, Community], ...]
    is_too_large_to_compare: bool
    colonies: tuple[tuple[ColonyStory, tuple[ColourChange, ...]], ...]
    places: tuple[MapPlace, ...]
    conditions: Mapping[str, VisitConditions]
    facts: Mapping[str, str]
    people: tuple[ProjectPerson, ...]
    settings: ResultSettings
    cards: tuple[str, ...]
    cameras: tuple[str, ...]
    n_photos: int
    n_aside: int
    table_sha256: str
    table_name: str
