"""One unit: its slate large, its name, kind, zone and depth, and the photos that belong to it."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app import units
from dryslate.app.unit_edits import changed_meanwhile
from dryslate.app.unit_list import UnitSummary, list_units
from dryslate.app.unit_records import Unit
from dryslate.app.unit_words import UnitWords
from dryslate.base.errors import InputError
from dryslate.base.typed import typed_number
from dryslate.web.errors import Refusal, problem_of_error, status_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.routes.take import visit_of
from dryslate.web.unit_view import strip_rows, unit_words_of
from dryslate.web.unit_work import Done, undo_book
from dryslate.web.zones_said import zone_said

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

router = APIRouter()
UnitId = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
Short = Annotated[str, Form(max_length=300)]
Metres = Annotated[str, Form(max_length=20)]
VisitName = Annotated[str, Query(max_length=300)]
First = Annotated[str, Query(pattern="^([0-9a-f]{64})?$")]
Then = Annotated[str, Query(pattern="^(type)?$")]


def words_of_form(
    name: Short = "",
    kind: Annotated[str, Form(max_length=40)] = "",
    zone: Short = "",
    depth_m: Metres = "",
    depth_m_u: Metres = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> UnitWords:
    """Read what is said of a unit."""
    return UnitWords(
        name=name,
        kind=kind,
        zone=zone,
        depth_m=_metres(depth_m, "depth_m"),
        depth_m_u=_metres(depth_m_u, "depth_m_u"),
        note=note,
    )


Words = Annotated[UnitWords, Depends(words_of_form)]


@router.get("/units/new", response_class=HTMLResponse, dependencies=WORK)
def new(request: Request, visit: VisitName, stretch: First = "", then: Then = "") -> HTMLResponse:
    """Ask what a unit without a slate photo is called; the photos of a stretch belong to it."""
    return unit_page(request, visit, None, stretch=stretch, then=then)


@router.post("/units/new")
def begin(
    request: Request,
    visit: Short,
    words: Words,
    stretch: Annotated[str, Form(pattern="^([0-9a-f]{64})?$")] = "",
    then: Annotated[str, Form(pattern="^(type)?$")] = "",
) -> Response:
    """Make a unit without a slate photo; whoever came to type goes on to its lines."""
    observer = observer_of(request)
    try:
        with reach_of(request).writing(observer) as store:
            found = visit_of(store, visit)
            ids = _stretch(store, visit, stretch)
            who = units.surveyor_of(store, ids, observer)
            edit = units.start_unit(store, found.visit_id, words, who, ids)
    except InputError as error:
        return unit_page(request, visit, None, stretch=stretch, then=then, said=words, error=error)
    done = Done(what="start", edit=edit, unit=(words.name or "").strip())
    return _done(request, visit, done, f"/records/units/{next(iter(edit.units))}" if then else "")


@router.get("/units/{unit_id}", response_class=HTMLResponse)
def unit(request: Request, unit_id: UnitId) -> HTMLResponse:
    """Show one unit."""
    with reach_of(request).reading() as store:
        found = units.require_unit(store, unit_id)
    return unit_page(request, found.visit_id, unit_id)


@router.post("/units/{unit_id}")
def save(
    request: Request,
    unit_id: UnitId,
    words: Words,
    was: Annotated[str, Form(max_length=64)],
    observer: Short = "",
    following: Annotated[bool, Form()] = False,
) -> Response:
    """Save what is said of a unit; goes on to the next one without a name where asked to."""
    me, visit = observer_of(request), ""
    try:
        with reach_of(request).writing(me) as store:
            before = units.require_unit(store, unit_id)
            visit = before.visit_id
            if was != seal(before):
                raise changed_meanwhile()
            edit = units.change_unit(store, unit_id, words, observer or None)
            ahead = _next_unnamed(store, visit, unit_id) if following else None
    except InputError as error:
        if not visit:
            raise
        return unit_page(request, visit, unit_id, said=words, error=error)
    done = Done(what="change", edit=edit, unit=(words.name or "").strip())
    return _done(request, visit, done, f"/units/{ahead}" if ahead else "")


@router.post("/units/{unit_id}/merge")
def merge(
    request: Request,
    unit_id: UnitId,
    into: Annotated[str, Form(pattern="^[0-9a-f]{64}$")],
) -> Response:
    """Put all photos of a unit to another one: its slate was photographed twice."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        kept = units.require_unit(store, into)
        edit = units.merge_unit(store, unit_id, into)
    done = Done(what="merge", edit=edit, unit=kept.name or "")
    return _done(request, kept.visit_id, done)


@router.post("/units/{unit_id}/remove")
def remove(request: Request, unit_id: UnitId) -> Response:
    """Take a unit out; its photos stay."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        gone = units.require_unit(store, unit_id)
        edit = units.remove_unit(store, unit_id)
    return _done(request, gone.visit_id, Done(what="remove", edit=edit, unit=gone.name or ""))


def unit_page(  # noqa: PLR0913  what was typed comes back
    request: Request,
    visit_id: str,
    unit_id: str | None,
    *,
    stretch: str = "",
    then: str = "",
    said: UnitWords | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    """Show the page of a unit, or of one that begins; with what was typed where it was refused."""
    with reach_of(request).reading() as store:
        visit = visit_of(store, visit_id)
        others = list_units(store, visit_id)
        mine = next((one for one in others if one.unit.unit_id == unit_id), None)
        ids = set(_stretch(store, visit_id, stretch)) if unit_id is None else set()
        shown: dict[str, Any] = {
            "visit": visit,
            "mine": mine,
            "others": [one for one in others if one is not mine and one.unit.name],
            "unnamed": [one for one in others if one is not mine and not one.unit.name],
            "photos": [p for p in store.photos(visit_id) if p.photo_id in ids],
            "zones": [zone.zone for zone in store.zones(visit.site)],
            "observers": [one.observer for one in store.observers()],
        }
    zone = zone_said(reach_of(request), visit_id, shown["zones"])
    shown["said"] = said or _proposed(zone, mine, others)
    shown |= {"stretch": stretch, "then": then, "was": seal(mine.unit) if mine else ""}
    shown |= {"problem": problem_of_error(error) if error is not None else None}
    status = 200 if error is None else status_of(error)
    return page(request, "unit.html", status, **shown, **unit_words_of(request))


def seal(unit: Unit) -> str:
    """Return a text that changes when anything that is said of a unit does."""
    return hashlib.sha256(repr(unit).encode("utf-8")).hexdigest()[:32]


def _proposed(
    zone: str | None, mine: UnitSummary | None, others: tuple[UnitSummary, ...]
) -> UnitWords:
    """Return what the form begins with: what is known, else kind and zone of the unit before."""
    if mine is not None and mine.unit.name:
        known = mine.unit
        return UnitWords(
            name=known.name,
            kind=known.kind,
            zone=known.zone,
            depth_m=known.depth_m,
            depth_m_u=known.depth_m_u,
            note=known.note,
        )
    at = others.index(mine) if mine is not None else len(others)
    before = [one.unit for one in others[:at] if one.unit.name]
    before = before or [one.unit for one in others if one.unit.name]
    if not before:
        return UnitWords(name="", zone=zone)
    return UnitWords(name="", kind=before[-1].kind, zone=before[-1].zone or zone)


def _stretch(store: SurveyStore, visit_id: str, first: str) -> list[str]:
    """Return the photos of a stretch that is there still."""
    if not first:
        return []
    found = strip_rows(store, visit_id).stretch(first)
    if found is None:
        raise changed_meanwhile()
    return sorted(found)


def _next_unnamed(store: SurveyStore, visit_id: str, unit_id: str) -> str | None:
    """Return the next unit without a name, after this one or from the start."""
    found = [one.unit for one in list_units(store, visit_id)]
    at = next((n for n, one in enumerate(found) if one.unit_id == unit_id), 0)
    rest = [one for one in (*found[at + 1 :], *found[:at]) if not one.name]
    return rest[0].unit_id if rest else None


def _done(request: Request, visit_id: str, done: Done, page_after: str = "") -> Response:
    """Write down what can be undone, and go on."""
    undo_book(reach_of(request)).add((observer_of(request), visit_id), done)
    back = page_after or "/photos?" + urlencode({"visit": visit_id})
    return RedirectResponse(back, 303)


def _metres(text: str, field: str) -> float | None:
    """Read a number of metres, with a comma or a point; None where the field is empty."""
    try:
        return typed_number(text)
    except ValueError:
        raise Refusal("page-input", 422, field) from None
