"""Visits by site and date: finding one, starting one, and listing them."""

from __future__ import annotations

import datetime
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.records import Visit
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def visit_id_of(site: str, date: str) -> str:
    """Return the id of a visit: the site, a space and the date."""
    return f"{site} {date}"


def require_name(text: str, what: str) -> str:
    """
    Return a name in its usual written form.

    Raises
    ------
    InputError
        ``name-empty`` or ``name-odd``.
    """
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name:
        raise InputError("name-empty", f"The {what} has no name.", f"Give the {what} a name.")
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in name) or len(name) > 200:
        raise InputError(
            "name-odd",
            f"The name of the {what} holds signs that cannot be shown, or is over 200 signs long.",
            "Type the name again.",
        )
    return name


def require_date(text: str) -> str:
    """
    Return a calendar date as ``YYYY-MM-DD``.

    Raises
    ------
    InputError
        ``visit-date``.
    """
    try:
        date = datetime.date.fromisoformat(text.strip())
    except ValueError:
        date = None
    if date is None or len(text.strip()) != 10:
        raise InputError(
            "visit-date",
            f"{text!r} is no date of a visit (expected year-month-day, such as 2026-03-14).",
            "Give the local date of the dive.",
        )
    return date.isoformat()


def find_visit(store: SurveyStore, site: str, date: str) -> Visit:
    """
    Return a visit that is there.

    Raises
    ------
    InputError
        ``visit-unknown``, ``visit-date``, ``name-empty``.
    """
    return visit_of(store, visit_id_of(require_name(site, "site"), require_date(date)))


def visit_of(store: SurveyStore, visit_id: str) -> Visit:
    """
    Return the visit of an id.

    Raises
    ------
    InputError
        ``visit-unknown``.
    """
    known = {visit.visit_id: visit for visit in store.visits()}
    if visit_id not in known:
        there = ", ".join(known) or "none yet"
        raise InputError(
            "visit-unknown",
            f"There is no visit {visit_id!r} in this project (visits: {there}).",
            "Give site and date as they were given to `dryslate take`.",
        )
    return known[visit_id]


def require_visit(store: SurveyStore, site: str, date: str, observer: str) -> Visit:
    """
    Return a visit by site, date and observer; a new one is made but not stored yet.

    Raises
    ------
    InputError
        ``visit-date``, ``name-empty``, ``name-odd``; ``name-nearly`` where a site or observer
        is known under the same name in other capitals: two spellings would be two sites.
    """
    site, observer = require_name(site, "site"), require_name(observer, "observer")
    date = require_date(date)
    _require_spelling(site, [s.site for s in store.sites()], "site")
    _require_spelling(observer, [o.observer for o in store.observers()], "observer")
    visit_id = visit_id_of(site, date)
    for visit in store.visits():
        if visit.visit_id == visit_id:
            return visit
    return Visit(visit_id=visit_id, site=site, date=date, observer=observer)


def begin_visit(store: SurveyStore, site: str, date: str, observer: str) -> Visit:
    """
    Store a visit of which there are no photos yet; one that is there stays as it is.

    Raises
    ------
    InputError
        As `require_visit`.
    """
    visit = require_visit(store, site, date, observer)
    if all(one.visit_id != visit.visit_id for one in store.visits()):
        store.save_visit(visit)
    return visit


def require_observer(store: SurveyStore, name: str) -> str:
    """
    Return an observer's name in its usual written form.

    Raises
    ------
    InputError
        ``name-empty``, ``name-odd``; ``name-nearly`` where the project knows the same name in other
        capitals: two spellings would be two people.
    """
    observer = require_name(name, "observer")
    _require_spelling(observer, [o.observer for o in store.observers()], "observer")
    return observer


def _require_spelling(name: str, known: list[str], what: str) -> None:
    """Refuse a name that differs from a known one by capitals only."""
    for other in known:
        if other != name and other.casefold() == name.casefold():
            raise InputError(
                "name-nearly",
                f"The {what} {name!r} is known as {other!r} in this project.",
                f"Write it as {other!r}.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitSummary:
    """A visit with how many photos and corrected photos it has, and the clocks that are set."""

    visit: Visit
    n_photos: int
    n_corrected: int

    def as_dict(self) -> dict[str, object]:
        """Return the fields as a plain dictionary, for JSON."""
        return {
            "visit_id": self.visit.visit_id,
            "site": self.visit.site,
            "date": self.visit.date,
            "observer": self.visit.observer,
            "n_photos": self.n_photos,
            "n_corrected": self.n_corrected,
            "clock_offset_s": dict(self.visit.clock_offset_s),
        }

    def as_row(self) -> tuple[str, str, str, str]:
        """Return visit, observer and the counts as text, for a table."""
        visit = self.visit
        return (visit.visit_id, visit.observer, str(self.n_photos), str(self.n_corrected))


def list_visits(store: SurveyStore) -> tuple[VisitSummary, ...]:
    """Return every visit with its counts, oldest first."""
    counts = store.visit_counts()
    return tuple(
        VisitSummary(
            visit=visit,
            n_photos=counts.get(visit.visit_id, (0, 0))[0],
            n_corrected=counts.get(visit.visit_id, (0, 0))[1],
        )
        for visit in store.visits()
    )
