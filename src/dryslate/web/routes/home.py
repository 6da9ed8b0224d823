"""Left to do: the first page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from dryslate.app.left_to_do import left_to_do
from dryslate.web.left_words import rows_of
from dryslate.web.pages import Place, page
from dryslate.web.reach import reach_of

PLACES = (Place(path="/", label="Left to do", key="l"),)
router = APIRouter()


@router.get("/", response_class=HTMLResponse)
def home(request: Request) -> HTMLResponse:
    """Show what is left to do, visit by visit."""
    with reach_of(request).reading() as store:
        visits = left_to_do(store)
        observers = [one.observer for one in store.observers()]
    shown = [(visit, rows_of(request, visit)) for visit in visits]
    return page(request, "home.html", visits=shown, observers=observers)
