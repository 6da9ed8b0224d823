"""What a report of results would rest on and what it would lack, without making it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.archive_make import wanting_words

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenUnit:
    """A unit that gives no figures yet: not said how it was sampled, or nothing noted in it."""

    unit_id: str
    name: str
    visit: Visit
    is_stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportPreview:
    """
    What a report would rest on and lack.

    Parameters
    ----------
    visits : tuple of Visit
    n_units, n_rows : int
        Units that state how they were sampled, and what was noted in them.
    unsaid : tuple of str
        What the project has not said: facts, and roles that nobody has.
    unplaced : tuple of str
        Sites without a position.
    open_units : tuple of OpenUnit
    """

    visits: tuple[Visit, ...]
    n_units: int
    n_rows: int
    unsaid: tuple[str, ...]
    unplaced: tuple[str, ...]
    open_units: tuple[OpenUnit, ...]

    @property
    def sites(self) -> list[str]:
        """Return the sites, by name."""
        return sorted({visit.site for visit in self.visits})

    @property
    def dates(self) -> list[str]:
        """Return the dates of visits, oldest first."""
        return sorted({visit.date for visit in self.visits})


def preview_report(store: SurveyStore) -> ReportPreview:
    """
    Look at what a report would rest on and lack; quick also for large projects.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    ReportPreview
    """
    visits = {visit.visit_id: visit for visit in store.visits()}
    noted = store.n_survey_rows()
    stated = {one.unit_id for one in store.unit_designs()}
    placed = {one.site for one in store.site_places() if one.latitude_deg is not None}
    return ReportPreview(
        visits=tuple(visits.values()),
        n_units=len(stated),
        n_rows=sum(noted.values()),
        unsaid=tuple(p.place for p in wanting_words(store) if p.slug == "archive-fact-missing"),
        unplaced=tuple(sorted({visit.site for visit in visits.values()} - placed)),
        open_units=tuple(
            OpenUnit(
                unit_id=unit.unit_id,
                name=unit.name or "",
                visit=visits[unit.visit_id],
                is_stated=unit.unit_id in stated,
            )
            for unit in store.units()
            if unit.unit_id not in stated or not noted.get(unit.unit_id)
        ),
    )
