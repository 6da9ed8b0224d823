"""The second observer: blind looks, what came of them, and settling."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app import coral_page
from dryslate.app.identification_rows import IdentificationRow
from dryslate.app.observer_agreement import FEWEST, observer_agreement
from dryslate.app.review_draw import draw_names
from dryslate.app.review_state import count_looks
from dryslate.app.second_observer import blind_queue, look_again
from dryslate.app.settling import open_reviews, reopen, settle, settle_together, standing_of
from dryslate.app.team_hit_rate import team_hit_rate
from dryslate.web.errors import Refusal
from dryslate.web.naming_words import CONFIDENCE
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of, require_role, session_of
from dryslate.web.roles import WORK
from dryslate.web.routes.corals import STATUSES, RecordId
from dryslate.web.routes.naming import (
    NameBody,
    identifier_of,
    in_hand_of,
    name_request,
    naming_page,
    rate_words,
)
from dryslate.web.routes.sign_in import account_of

router = APIRouter()


@router.get("/second", response_class=HTMLResponse)
def queue(
    request: Request,
    drawn: Annotated[int | None, Query(ge=0)] = None,
    among: Annotated[int, Query(ge=0)] = 0,
) -> HTMLResponse:
    """Show what waits for this observer, blind, and what a person has to decide."""
    observer = session_of(request).observer
    hand = in_hand_of(reach_of(request))
    with reach_of(request).reading() as store:
        waiting = blind_queue(store, observer) if observer else ()
        mine = {row.record.record_id for row in waiting}
        undecided = [one for one in open_reviews(store) if one["record_id"] not in mine]
        looks = count_looks(store)
        agreement = observer_agreement(store, observer or "")
    held = {row.record.record_id: hand.other(row.record.record_id, observer) for row in waiting}
    shown: dict[str, Any] = {
        "drawn": drawn,
        "among": among,
        "undecided": undecided,
        "looks": looks,
        "statuses": STATUSES,
        "agreement": agreement,
        "fewest": FEWEST,
    }
    return page(request, "second.html", 200, waiting=waiting, held=held, **shown)


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
        shares = (random_pct / 100.0, least_pct / 100.0)
        told = draw_names(store, (observer, now), shares, seed).as_dict()
    return RedirectResponse(f"/second?drawn={told['n_drawn']}&among={told['n_candidates']}", 303)


@router.get("/second/{record_id}", response_class=HTMLResponse, dependencies=WORK)
def look(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show the page on which a coral is named by somebody who does not know its first name."""
    reach, observer = reach_of(request), observer_of(request)
    with reach.reading() as store:
        if record_id not in {row.record.record_id for row in blind_queue(store, observer)}:
            raise Refusal("page-not-blind", 409)
        sheet, rate = coral_page.coral_sheet(store, record_id), team_hit_rate(store)
    held = in_hand_of(reach).take(record_id, observer)
    if held is not None:
        return page(request, "in_hand.html", 200, held=held, record=sheet.record)
    return naming_page(request, sheet, is_blind=True, rate=rate_words(rate))


@router.post("/second/{record_id}/names")
def save(request: Request, record_id: RecordId, body: NameBody) -> dict[str, Any]:
    """Save a blind look; only then both names are shown."""
    reach, observer = reach_of(request), observer_of(request)
    identifier, now = identifier_of(reach, body.all_equal), wiring.clock().now_utc()
    with reach.writing(observer) as store:
        sheet = coral_page.coral_sheet(store, record_id)
        wanted = name_request(record_id, body, observer, sheet)
        looked = look_again(store, identifier, wanted, now)
    in_hand_of(reach).let_go(record_id, observer)
    return {"said": looked.words(), "next": f"/second/{record_id}/both"}


@router.get("/second/{record_id}/both", response_class=HTMLResponse)
def both(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show both names, once the second has answered."""
    observer = observer_of(request)
    shown = _reviewed(request, record_id)
    with reach_of(request).reading() as store:
        waiting = blind_queue(store, observer)
    following = waiting[0].record.record_id if waiting else None
    return page(request, "both.html", 200, following=following, **shown)


@router.get("/second/{record_id}/settle", response_class=HTMLResponse)
def settling(request: Request, record_id: RecordId) -> Response:
    """Show both names to who decides: a third, or the two; and what is settled, once it is."""
    observer, shown = observer_of(request), _reviewed(request, record_id)
    standing = shown["standing"]
    if standing is None:
        return RedirectResponse(f"/corals/{record_id}", 303)
    identifier = identifier_of(reach_of(request))
    may_reopen = session_of(request).may("lead") or observer in standing.settlers()
    shown |= {"may_reopen": may_reopen, "confidence": CONFIDENCE}
    shown |= {"others": standing.the_two() - {observer}, "names_said": _said(shown["names"])}
    genera = sorted(identifier.model(identifier.choice.region).genera)
    return page(request, "settle.html", 200, genera=genera, **shown)


def _reviewed(request: Request, record_id: str) -> dict[str, Any]:
    """Gather what the pages after a second look show; nothing to who still has to look."""
    with reach_of(request).reading() as store:
        coral_page.require_seen(store, record_id, observer_of(request))
        return {
            "sheet": coral_page.coral_sheet(store, record_id),
            "names": coral_page.names_over_time(store, record_id),
            "standing": standing_of(store, record_id),
        }


def _said(names: tuple[IdentificationRow, ...]) -> list[str]:
    """Single genera that were said, each once: two of them can be put side by side."""
    genera = [n.current_names[0] for n in names if len(n.current_names) == 1]
    return list(dict.fromkeys(genera))


@router.post("/second/{record_id}/settle")
def settled(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    record_id: RecordId,
    name: Annotated[str, Form(max_length=200)],
    confidence: Annotated[int, Form(ge=1, le=5)],
    other: Annotated[str, Form(max_length=200)] = "",
    is_here: Annotated[bool, Form()] = False,
    password: Annotated[str, Form(max_length=200)] = "",
) -> RedirectResponse:
    """Save what a third person decided, or the two together; all names stay."""
    reach, observer = reach_of(request), observer_of(request)
    identifier, now = identifier_of(reach), wiring.clock().now_utc()
    if other:
        _require_here(request, other, is_here, password)
    with reach.writing(observer) as store:
        sheet = coral_page.coral_sheet(store, record_id)
        wanted = coral_page.plain_request(sheet, name, confidence, observer)
        decide = settle_together if other else settle
        decide(store, identifier, replace(wanted, together_with=other or None), now)
    return RedirectResponse(f"/second/{record_id}/both", 303)


def _require_here(request: Request, other: str, is_here: bool, password: str) -> None:
    """Refuse to settle for somebody who is not at this screen; in a team, a password shows it."""
    if reach_of(request).settings.is_team:
        account_of(request, other, password)
    elif not is_here:
        raise Refusal("page-not-here", 422)


@router.post("/second/{record_id}/reopen")
def reopened(request: Request, record_id: RecordId) -> RedirectResponse:
    """Open a settled coral again; its history stays."""
    observer, now = observer_of(request), wiring.clock().now_utc()
    is_lead = session_of(request).may("lead")
    with reach_of(request).writing(observer) as store:
        coral_page.require_seen(store, record_id, observer)
        reopen(store, record_id, observer, now, is_lead=is_lead)
    return RedirectResponse(f"/second/{record_id}/settle", 303)
