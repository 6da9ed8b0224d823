"""Left to do: the first page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import HTMLResponse

from dryslate import wiring
from dryslate.app.backup_records import backup_state
from dryslate.app.left_to_do import left_to_do
from dryslate.web import colony_words
from dryslate.web.left_words import rows_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.colony_due import DueDate
    from dryslate.app.left_to_do import VisitLeft
    from dryslate.app.ports import SurveyStore

MOST_AT_FIRST = 25
"""Visits that the page shows before somebody asks for all."""


def left_page(request: Request) -> HTMLResponse:
    """Show what is left to do, visit by visit."""
    with reach_of(request).reading() as store:
        visits = left_to_do(store)
        backup = backup_state(store)
        observers = [one.observer for one in store.observers()]
        due = _due(store)
    chosen = visits if request.query_params.get("show") == "all" else first_of(visits)
    return page(
        request,
        "home.html",
        visits=[(visit, rows_of(request, visit)) for visit in chosen],
        n_further_open=_n_open(visits) - _n_open(chosen),
        n_further=len(visits) - len(chosen),
        observers=observers,
        backup=backup,
        due=due,
        steps=colony_words.STEPS,
    )


def first_of(visits: Sequence[VisitLeft]) -> list[VisitLeft]:
    """
    Return the visits that the page shows at first: all of a few, else those with work left.

    Parameters
    ----------
    visits : sequence of VisitLeft
        The newest first.
    """
    if len(visits) <= MOST_AT_FIRST:
        return list(visits)
    return [visit for visit in visits if visit.items][:MOST_AT_FIRST]


def _n_open(visits: Sequence[VisitLeft]) -> int:
    """Count visits with work left."""
    return sum(bool(visit.items) for visit in visits)


def _due(store: SurveyStore) -> tuple[tuple[DueDate, ...], ...]:
    """List the looks at tagged colonies that are to be gone for, one visit's together."""
    if not store.colonies():
        return ()
    from dryslate.app import colony_due  # only where there are any: starts sooner

    found = colony_due.due_dates(store, wiring.clock().now_utc()[:10])
    return colony_due.due_together(d for d in found if d.state in colony_due.TO_DO)
