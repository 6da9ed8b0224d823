"""Left to do: the first page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import HTMLResponse

from dryslate import wiring
from dryslate.app.backup_records import backup_state
from dryslate.app.left_to_do import left_to_do
from dryslate.web.left_words import rows_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def left_page(request: Request) -> HTMLResponse:
    """Show what is left to do, visit by visit."""
    with reach_of(request).reading() as store:
        visits = left_to_do(store)
        backup = backup_state(store)
        observers = [one.observer for one in store.observers()]
        due = _due(store)
    shown = [(visit, rows_of(request, visit)) for visit in visits]
    return page(request, "home.html", visits=shown, observers=observers, backup=backup, due=due)


def _due(store: SurveyStore) -> dict[str, int]:
    """Count tagged colonies that are due or overdue for a look."""
    if not store.colonies():
        return {"overdue": 0, "due": 0}
    from dryslate.app.colony_due import due_dates  # only where there are any: starts sooner

    states = [one.state for one in due_dates(store, wiring.clock().now_utc()[:10])]
    return {state: states.count(state) for state in ("overdue", "due")}
