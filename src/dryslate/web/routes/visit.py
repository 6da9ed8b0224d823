"""A visit begun for the wrong site or date: taken out, corrected, put to another, and undone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app import visit_edits
from dryslate.app.photo_list import list_photos
from dryslate.app.shots import taken_time
from dryslate.app.visit_edits import Chosen, Why
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.photo_choice import Asked, asked_of
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.routes.photos import asked_rows
from dryslate.web.routes.take import visit_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo, Visit
    from dryslate.app.visit_edits import VisitDone

router = APIRouter()
Name = Annotated[str, Form(max_length=300)]
Reason = Annotated[str, Form(max_length=2000)]
Ids = Annotated[list[str], Form()]
HASH = re.compile(r"[0-9a-f]{64}")
MOST = 20_000
LATEST = 50
"""Edits that are listed."""


@router.get("/visit", response_class=HTMLResponse, dependencies=WORK)
def look(request: Request, visit: Annotated[str, Query(max_length=300)]) -> HTMLResponse:
    """Ask what is to be done with a visit."""
    with reach_of(request).reading() as store:
        return page(request, "visit.html", **_shown(store, visit_of(store, visit)), chosen=None)


@router.post("/visit/chosen", response_class=HTMLResponse)
def chosen(
    request: Request,
    asked: Annotated[Asked, Depends(asked_of)],
    photo: Ids = [],  # noqa: B006  FastAPI copies it
    every: Annotated[bool, Form()] = False,
) -> HTMLResponse:
    """Ask to which visit the chosen photos of the list go; nothing is saved yet."""
    with reach_of(request).reading() as store:
        found = visit_of(store, asked.visit)
        wanted: Sequence[str] = photo
        if every:
            rows = asked_rows(store, asked)
            wanted = list_photos(store, asked.visit, asked.found_filter(rows)).found
        photos = _photos(store, found.visit_id, wanted)
        if not photos:
            raise Refusal("page-input", 422, "photo")
        return page(request, "visit.html", **_shown(store, found), chosen=photos)


@router.post("/visit/withdraw")
def withdraw(request: Request, visit: Name, reason: Reason) -> RedirectResponse:
    """Take an empty visit out."""
    why = _why(request, reason)
    with reach_of(request).writing(why.observer) as store:
        done = visit_edits.withdraw_visit(store, visit_of(store, visit).visit_id, why)
    return _to_edits(done)


@router.post("/visit/correct")
def correct(
    request: Request, visit: Name, site: Name, date: Name, reason: Reason, whose: Name = ""
) -> RedirectResponse:
    """Correct a visit's site, date or observer."""
    why = _why(request, reason)
    with reach_of(request).writing(why.observer) as store:
        visit_id = visit_of(store, visit).visit_id
        done = visit_edits.correct_visit(store, visit_id, why, site=site, date=date, whose=whose)
    return _to_edits(done)


@router.post("/visit/move")
def move(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    visit: Name,
    site: Name,
    date: Name,
    reason: Reason,
    which: Annotated[str, Form(pattern="^(all|some)$")],
    photo: Ids = [],  # noqa: B006  FastAPI copies it
    unit: Ids = [],  # noqa: B006  FastAPI copies it
    loose: Annotated[bool, Form()] = False,
) -> RedirectResponse:
    """Put photos and units to another visit, or all that this one holds."""
    why = _why(request, reason)
    with reach_of(request).writing(why.observer) as store:
        found = visit_of(store, visit)
        going = _chosen(store, found, photo, unit, loose=loose) if which == "some" else None
        done = visit_edits.move_to_visit(store, found.visit_id, (site, date), why, going)
    return _to_edits(done)


@router.get("/visit/edits", response_class=HTMLResponse)
def edits(
    request: Request, done: Annotated[int, Query(ge=0, le=10**9)] = 0, clocks: bool = False
) -> HTMLResponse:
    """List what was done to visits, the latest first."""
    with reach_of(request).reading() as store:
        found = store.visit_edits()
        visits = {visit.visit_id: visit for visit in store.visits()}
    shown: dict[str, Any] = {"edits": found[::-1][:LATEST], "n_more": max(len(found) - LATEST, 0)}
    shown |= {"roots": visit_edits.roots(found)}
    shown |= {"back": visit_edits.taken_back(found), "done": done, "visits": visits}
    return page(request, "visit_edits.html", **shown, clocks=clocks)


@router.post("/visit/undo")
def undo(
    request: Request, edit: Annotated[int, Form(ge=1, le=10**9)], reason: Reason = ""
) -> RedirectResponse:
    """Take back what was done to a visit."""
    why = _why(request, reason)
    with reach_of(request).writing(why.observer) as store:
        done = visit_edits.take_back_edit(store, edit, why)
    return _to_edits(done)


def _why(request: Request, reason: str) -> Why:
    """Return why, by whom and when."""
    return Why(reason=reason, observer=observer_of(request), at=wiring.clock().now_utc())


def _to_edits(done: VisitDone) -> RedirectResponse:
    """Lead to the list, where it can be undone."""
    told: dict[str, Any] = {"done": done.edit.edit_no}
    told |= {"clocks": True} if done.clocks_left else {}
    return RedirectResponse("/visit/edits?" + urlencode(told), 303)


def _photos(store: SurveyStore, visit_id: str, ids: Sequence[str]) -> tuple[Photo, ...]:
    """Return photos of a visit by their ids, in the order they were taken."""
    if len(ids) > MOST or not all(HASH.fullmatch(one) for one in ids):
        raise Refusal("page-input", 422, "photo")
    wanted = set(ids)
    return tuple(photo for photo in store.photos(visit_id) if photo.photo_id in wanted)


def _chosen(
    store: SurveyStore, visit: Visit, photo: Sequence[str], unit: Sequence[str], *, loose: bool
) -> Chosen:
    """Return what goes: photos, units with theirs, and photos of no unit."""
    joins = store.unit_photos(visit.visit_id)
    ids = {*photo, *visit_edits.photos_of_units(store, visit.visit_id, unit)}
    if loose:
        joined = {join.photo_id for join in joins if join.unit_id is not None}
        ids |= {one.photo_id for one in store.photos(visit.visit_id)} - joined
    return Chosen(photos=_photos(store, visit.visit_id, sorted(ids)), units=frozenset(unit))


def _shown(store: SurveyStore, visit: Visit) -> dict[str, Any]:
    """Return what the page shows of a visit."""
    photos, joins = store.photos(visit.visit_id), store.unit_photos(visit.visit_id)
    times = (taken_time(photo.metadata) for photo in photos)
    held = store.visit_contents(visit.visit_id)
    joined = {join.photo_id: join.unit_id for join in joins if join.unit_id is not None}
    of_unit = list(joined.values())
    return {
        "visit": visit,
        "held": held,
        "is_empty": not any(held.values()),
        "dates": sorted({time.date().isoformat() for time in times if time is not None}),
        "units": [(one, of_unit.count(one.unit_id)) for one in store.units(visit.visit_id)],
        "n_loose": len(photos) - len(joined),
        "sites": [one.site for one in store.sites()],
        "observers": [one.observer for one in store.observers()],
        "has_edits": bool(store.visit_edits()),
    }
