"""Records: the units of a visit, how each was sampled, and what is noted in it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from dryslate.app.sampled_units import sampled_of_visit
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.record_words import DESIGN_WORDS, in_words
from dryslate.web.unit_view import unit_words_of

router = APIRouter()


@router.get("/records", response_class=HTMLResponse)
def records(request: Request, visit: Annotated[str, Query(max_length=300)] = "") -> HTMLResponse:
    """List the units of a visit, with a way to type what was noted."""
    with reach_of(request).reading() as store:
        visits = store.visits()
        chosen = next((v for v in visits if v.visit_id == visit), visits[-1] if visits else None)
        units = sampled_of_visit(store, chosen.visit_id) if chosen is not None else ()
    shown: dict[str, Any] = {"visits": visits, "visit": chosen, "units": units}
    shown["designs"] = in_words(request, DESIGN_WORDS)
    return page(request, "records.html", 200, **shown, **unit_words_of(request))
