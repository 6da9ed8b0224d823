"""Records: the units of a visit, how each was sampled, and what is noted in it."""

from __future__ import annotations

from datetime import date as calendar_date
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app.sampled_units import sampled_of_visit
from dryslate.app.visit_conditions import state_conditions
from dryslate.app.visits import begin_visit, visit_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.record_words import DESIGN_WORDS, in_words
from dryslate.web.unit_view import unit_words_of

router = APIRouter()


@router.get("/records", response_class=HTMLResponse)
def records(request: Request, visit: Annotated[str, Query(max_length=300)] = "") -> HTMLResponse:
    """List the units of a visit, with a way to type what was noted."""
    with reach_of(request).reading() as store:
        visits, sites = store.visits(), [one.site for one in store.sites()]
        chosen = next((v for v in visits if v.visit_id == visit), visits[-1] if visits else None)
        stated = store.visit_conditions(chosen.visit_id) if chosen is not None else ()
        units = sampled_of_visit(store, chosen.visit_id) if chosen is not None else ()
    shown: dict[str, Any] = {"visits": visits, "visit": chosen, "units": units}
    shown |= {"sites": sites, "today": calendar_date.today().isoformat()}
    shown["stated"] = stated[0] if stated else None
    shown["designs"] = in_words(request, DESIGN_WORDS)
    return page(request, "records.html", 200, **shown, **unit_words_of(request))


Short = Annotated[str, Form(max_length=400)]


@router.post("/records/visit")
def visit(request: Request, site: Short, date: Short) -> RedirectResponse:
    """Begin a visit of which there are no photos; one that is there already is shown."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        begun = begin_visit(store, site, date, observer)
    return RedirectResponse(f"/records?{urlencode({'visit': begun.visit_id})}", 303)


@router.post("/records/conditions")
def conditions(  # noqa: PLR0913, PLR0917  one field each for what is stated
    request: Request,
    visit: Short,
    tide: Short = "",
    visibility_m: Short = "",
    water_c: Short = "",
    weather: Short = "",
    sea: Short = "",
) -> RedirectResponse:
    """Keep what sea and weather were like on a visit."""
    said = {"tide": tide, "visibility_m": visibility_m, "water_c": water_c}
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        said |= {"weather": weather, "sea": sea}
        state_conditions(store, visit_of(store, visit), said, observer, wiring.clock())
    return RedirectResponse(f"/records?{urlencode({'visit': visit})}#conditions", 303)
