"""The second observer: blind looks, what came of them, and settling."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app import coral_page
from dryslate.app.second_observer import (
    blind_queue,
    draw_names,
    look_again,
    open_reviews,
    settle,
)
from dryslate.web.errors import Refusal
from dryslate.web.naming_words import CONFIDENCE
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of, require_role, session_of
from dryslate.web.routes.corals import RecordId
from dryslate.web.routes.naming import (
    NameBody,
    identifier_of,
    in_hand_of,
    name_request,
    naming_page,
)

router = APIRouter()


@router.get("/second", response_class=HTMLResponse)
def queue(request: Request) -> HTMLResponse:
    """Show what waits for this observer, blind, and what a third has to settle."""
    observer = session_of(request).observer
    hand = in_hand_of(reach_of(request))
    with reach_of(request).reading() as store:
        waiting = blind_queue(store, observer) if observer else ()
        mine = {row.record.record_id for row in waiting}
        differ = [one for one in open_reviews(store) if one["record_id"] not in mine]
    held = {row.record.record_id: hand.other(row.record.record_id, observer) for row in waiting}
    return page(request, "second.html", 200, waiting=waiting, differ=differ, held=held)


@router.post("/second/draw")
def draw(
    request: Request,
    random_pct: Annotated[float, Form(ge=0, le=100)] = 10.0,
    least_pct: Annotated[float, Form(ge=0, le=100)] = 80.0,
    seed: Annotated[int, Form(ge=0, le=2**31)] = 1,
) -> RedirectResponse:
    """Draw corals for a second look: the doubtful ones, and a random share."""
    require_role(request, "lead")
    observer, now = observer_of(request), wiring.clock().now_utc()
    with reach_of(request).writing(observer) as store:
        draw_names(store, (observer, now), (random_pct / 100.0, least_pct / 100.0), seed)
    return RedirectResponse("/second", 303)


@router.get("/second/{record_id}", response_class=HTMLResponse)
def look(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show the page on which a coral is named by somebody who does not know its first name."""
    reach, observer = reach_of(request), observer_of(request)
    with reach.reading() as store:
        if record_id not in {row.record.record_id for row in blind_queue(store, observer)}:
            raise Refusal("page-not-blind", 409)
        sheet = coral_page.coral_sheet(store, record_id)
    held = in_hand_of(reach).take(record_id, observer)
    if held is not None:
        return page(request, "in_hand.html", 200, held=held, record=sheet.record)
    return naming_page(request, sheet, is_blind=True, rate="")


@router.post("/second/{record_id}/names")
def save(request: Request, record_id: RecordId, body: NameBody) -> dict[str, Any]:
    """Save a blind look; only then both names are shown."""
    reach, observer = reach_of(request), observer_of(request)
    identifier, now = identifier_of(reach), wiring.clock().now_utc()
    with reach.writing(observer) as store:
        sheet = coral_page.coral_sheet(store, record_id)
        wanted = name_request(record_id, body, observer, sheet)
        looked = look_again(store, identifier, wanted, now)
    in_hand_of(reach).let_go(record_id, observer)
    return {"said": looked.words(), "next": f"/second/{record_id}/both"}


@router.get("/second/{record_id}/both", response_class=HTMLResponse)
def both(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show both names, once the second has answered."""
    reach, observer = reach_of(request), observer_of(request)
    with reach.reading() as store:
        coral_page.require_seen(store, record_id, observer)
        sheet = coral_page.coral_sheet(store, record_id)
        names = coral_page.names_over_time(store, record_id)
        outcome = coral_page.outcome_of(store, record_id)
        waiting = blind_queue(store, observer)
    following = waiting[0].record.record_id if waiting else None
    shown = {"sheet": sheet, "names": names, "outcome": outcome, "following": following}
    return page(request, "both.html", 200, **shown)


@router.get("/second/{record_id}/settle", response_class=HTMLResponse)
def settling(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show both names to a third person, who decides."""
    reach, observer = reach_of(request), observer_of(request)
    with reach.reading() as store:
        coral_page.require_seen(store, record_id, observer)
        sheet = coral_page.coral_sheet(store, record_id)
        names = coral_page.names_over_time(store, record_id)
    identifier = identifier_of(reach)
    genera = sorted(identifier.model(identifier.choice.region).genera)
    shown = {"sheet": sheet, "names": names, "genera": genera, "confidence": CONFIDENCE}
    return page(request, "settle.html", 200, **shown)


@router.post("/second/{record_id}/settle")
def settled(
    request: Request,
    record_id: RecordId,
    name: Annotated[str, Form(max_length=200)],
    confidence: Annotated[int, Form(ge=1, le=5)],
) -> RedirectResponse:
    """Save what a third person decided; all names stay."""
    reach, observer = reach_of(request), observer_of(request)
    identifier, now = identifier_of(reach), wiring.clock().now_utc()
    with reach.writing(observer) as store:
        sheet = coral_page.coral_sheet(store, record_id)
        wanted = coral_page.plain_request(sheet, name, confidence, observer)
        settle(store, identifier, wanted, now)
    return RedirectResponse(f"/second/{record_id}/both", 303)
