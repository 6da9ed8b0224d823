"""The photos of a visit: what came of each, and correcting them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate.app.photo_list import PhotoPage, list_photos, usual_port
from dryslate.app.visits import VisitSummary, list_visits
from dryslate.web.correcting import start_correcting
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.photo_choice import Asked, asked_of
from dryslate.web.photos_words import (
    OUTCOMES,
    PORTS,
    SEEN_CHOICES,
    SHOWN,
    card_words,
    in_language,
)
from dryslate.web.reach import observer_of, reach_of, session_of
from dryslate.web.unit_strip import StripRows
from dryslate.web.unit_view import strip_rows, unit_words_of, units_context

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

router = APIRouter()
PICTURES_AT_ONCE = 10
"""Pictures of the first screen, which the browser fetches before it knows where they stand."""


@router.get("/photos", response_class=HTMLResponse)
def photos(request: Request, asked: Annotated[Asked, Depends(asked_of)]) -> HTMLResponse:
    """Show the photos of a visit, or the next step of them."""
    more: dict[str, Any] = {}
    with reach_of(request).reading() as store:
        visits, rows = list_visits(store), asked_rows(store, asked)
        found = list_photos(store, asked.visit or None, asked.found_filter(rows), asked.page)
        is_step = request.headers.get("hx-request") == "true"
        if not is_step:
            more["port"] = usual_port(store)
            more["work"] = units_context(request, store, asked, rows) if rows else None
    shown = {"asked": asked, "found": found, **list_words(request, found)}
    if is_step:
        return page(request, "photos_step.html", **shown)
    more |= {"visits": visits, "at": at_visit(visits, asked.visit)}
    more |= {"shows": in_language(request, SHOWN), "seen": in_language(request, SEEN_CHOICES)}
    return page(request, "photos.html", ports=in_language(request, PORTS), **more, **shown)


@router.post("/photos/correct")
def correct(
    request: Request,
    asked: Annotated[Asked, Depends(asked_of)],
    port: Annotated[str, Form(max_length=20)] = "unknown",
    again: Annotated[str, Form(pattern="^(failed|all)?$")] = "",
) -> RedirectResponse:
    """Correct the photos that the filter leaves; others only where asked to."""
    if port not in PORTS:
        raise Refusal("page-input", 422, "port")
    back = "/photos?" + asked.query()
    with reach_of(request).reading() as store:
        rows = asked_rows(store, asked)
        found = list_photos(store, asked.visit or None, asked.found_filter(rows))
    ids = {"": found.untried, "failed": found.failed, "all": found.standing}[again]
    after = "/photos?" + urlencode({"visit": asked.visit} if asked.visit else {})
    start_correcting(request, observer_of(request), frozenset(ids), port, after)
    return RedirectResponse(back, 303)


def asked_rows(store: SurveyStore, asked: Asked) -> StripRows | None:
    """Return what the strip of the visit that is asked for is made from; None for all visits."""
    if not asked.visit:
        if asked.filter.unit or asked.stretch:
            raise Refusal("page-input", 422, "visit")
        return None
    if asked.visit not in {visit.visit_id for visit in store.visits()}:
        raise Refusal("page-not-found", 404)
    rows = strip_rows(store, asked.visit)
    if asked.filter.unit and asked.filter.unit not in rows.units:
        raise Refusal("page-not-found", 404)
    return rows


def at_visit(visits: Sequence[VisitSummary], visit_id: str) -> VisitSummary | None:
    """Return the visit that is asked for, with its counts."""
    return next((v for v in visits if v.visit.visit_id == visit_id), None)


def list_words(request: Request, found: PhotoPage) -> dict[str, Any]:
    """Return the words of the photos that are listed."""
    return {
        "at_once": PICTURES_AT_ONCE,
        "outcomes": in_language(request, OUTCOMES),
        "cards": {line.photo_id: card_words(request, line) for line in found.lines},
        "may_change": session_of(request).may("surveyor"),
        **unit_words_of(request),
    }
