"""Units on the list of photos: slates, moving, setting aside, joining by time, and undoing."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app.photo_list import PhotoFilter, list_photos
from dryslate.app.unit_edits import Edit
from dryslate.app.unit_joining import LONGEST_GAP_MIN, plan_joins
from dryslate.app.units import join_by_time, usual_gap
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.photo_choice import Asked, asked_of, rows_of_visit
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.routes.photos import asked_rows, list_words
from dryslate.web.routes.take import visit_of
from dryslate.web.unit_preview import preview_of
from dryslate.web.unit_view import unit_words_of, units_context
from dryslate.web.unit_work import Asked as WorkAsked
from dryslate.web.unit_work import Done, do_work, undo_book

router = APIRouter()
Name = Annotated[str, Form(max_length=300)]
Hash = Annotated[str, Form(pattern="^([0-9a-f]{64})?$")]
VisitName = Annotated[str, Query(max_length=300)]
GapMin = Annotated[float | None, Query(gt=0, le=LONGEST_GAP_MIN)]
PHOTO = re.compile(r"[0-9a-f]{64}")
MOST = 20_000
MOST_SHOWN = 120
"""More changed photos than these are not sent one by one: the page is loaded again."""


def work_of(
    do: Annotated[str, Form(max_length=20)],
    photo: Annotated[list[str], Form()] = [],  # noqa: B006  FastAPI copies it
    unit: Hash = "",
    name: Name = "",
    reason: Annotated[str, Form(max_length=20)] = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> WorkAsked:
    """Read what is to be done with which photos."""
    if len(photo) > MOST or not all(PHOTO.fullmatch(one) for one in photo):
        raise Refusal("page-input", 422, "photo")
    return WorkAsked(
        do=do,
        ids=tuple(photo),
        visit_id="",
        observer="",
        unit=unit,
        name=name,
        reason=reason,
        note=note,
    )


@router.post("/units/work")
def work(
    request: Request,
    asked: Annotated[Asked, Depends(asked_of)],
    wanted: Annotated[WorkAsked, Depends(work_of)],
    every: Annotated[bool, Form()] = False,
    back: Annotated[bool, Form()] = False,
) -> Response:
    """Do something with the chosen photos, or with all that the list shows."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        rows = asked_rows(store, asked)
        if every:
            found = list_photos(store, asked.visit or None, asked.found_filter(rows))
            wanted = replace(wanted, ids=found.found)
        done = do_work(store, replace(wanted, visit_id=asked.visit, observer=observer))
    undo_book(reach_of(request)).add((observer, asked.visit), done)
    if back:  # to the page of the one photo
        return RedirectResponse(f"/photos/{wanted.ids[0]}", 303)
    return answer(request, asked, done.edit)


@router.post("/units/undo")
def undo(
    request: Request,
    asked: Annotated[Asked, Depends(asked_of)],
    again: Annotated[bool, Form()] = False,
) -> Response:
    """Undo the last thing this person did on the visit, or do it again."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        done = undo_book(reach_of(request)).turn(store, (observer, asked.visit), again=again)
    return answer(request, asked, done.edit)


@router.get("/units/join", response_class=HTMLResponse, dependencies=WORK)
def look(request: Request, visit: VisitName, gap_min: GapMin = None) -> HTMLResponse:
    """Show what joining by time would change; nothing is saved."""
    with reach_of(request).reading() as store:
        found = visit_of(store, visit)
        limit = usual_gap(store, visit) if gap_min is None else gap_min
        rows = rows_of_visit(store, visit, limit)
        plan = plan_joins(rows.photos, rows.joins, rows.aside, limit)
    shown: dict[str, Any] = {"visit": found, "preview": preview_of(rows, plan)}
    return page(request, "units_join.html", **shown, **unit_words_of(request))


@router.post("/units/join")
def join(
    request: Request,
    visit: Name,
    gap_min: Annotated[float, Form(gt=0, le=LONGEST_GAP_MIN)],
    seen: Annotated[str, Form(pattern="^[0-9a-f]{32}$")],
) -> RedirectResponse:
    """Join by time just as it was shown."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        found = visit_of(store, visit)
        edit, _ = join_by_time(store, found.visit_id, gap_min, seen)
    undo_book(reach_of(request)).add((observer, visit), Done(what="join", edit=edit))
    return RedirectResponse("/photos?" + urlencode({"visit": visit}), 303)


def answer(request: Request, asked: Asked, edit: Edit) -> Response:
    """Answer with the parts of the page that changed, or by sending a plain form back to it."""
    if request.headers.get("hx-request") != "true":
        return RedirectResponse("/photos?" + asked.query(), 303)
    shown: dict[str, Any] = {"asked": asked}
    with reach_of(request).reading() as store:
        rows = asked_rows(store, asked)
        if rows is not None:
            shown["work"] = units_context(request, store, asked, rows)
        touched = edit.photo_ids if len(edit.photo_ids) <= MOST_SHOWN else frozenset()
        wanted = PhotoFilter(among=touched)
        found = list_photos(store, asked.visit or None, wanted, 1, MOST_SHOWN)
    shown |= {"found": found, "is_whole": len(edit.photo_ids) <= MOST_SHOWN}
    return page(request, "units_answer.html", **shown, **list_words(request, found))
