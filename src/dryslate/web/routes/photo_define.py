"""A card defined from the photo on the page: its marks looked at, filled in a grid, saved."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel, Field

from dryslate import wiring
from dryslate.app.card_marks import CardMarks, PatchBox
from dryslate.app.define_here import (
    define_in_project,
    fill_grid,
    look_at_marks,
    put_card_away,
)
from dryslate.app.tiles import require_photo
from dryslate.web.by_hand import pixel_shelf_of, run_of
from dryslate.web.card_words import problems_here
from dryslate.web.pages import part
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.routes.photo import PhotoId
from dryslate.web.routes.photo_work import Point

router = APIRouter()
Edge = Annotated[float, Field(ge=-1e6, le=1e6)]
Box = tuple[Edge, Edge, Edge, Edge]
Corners = Annotated[list[Point], Field(min_length=4, max_length=4)]


class PatchBody(BaseModel):
    """One patch: what it is called, whether it is grey, opposite corners of its box."""

    id: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^\s\"\\]+$")]
    role: Literal["neutral", "colour"]
    box: Box


class MarksBody(BaseModel):
    """What was marked so far."""

    corners: Corners
    ticks: Annotated[list[Point], Field(min_length=2, max_length=2)]
    ticks_mm: Annotated[float, Field(gt=0, le=1e5)]
    patches: Annotated[list[PatchBody], Field(max_length=200)] = []
    point_u_px: Annotated[float, Field(ge=0, le=1000)] = 1.0

    def marks(self, name: str = "", title: str = "") -> CardMarks:
        """Return them as the use case takes them."""
        boxes = [PatchBox(patch_id=p.id, role=p.role, box_px=p.box) for p in self.patches]
        return CardMarks(
            name=name,
            title=title,
            corners_px=self.corners,
            ticks_px=self.ticks,
            ticks_mm=self.ticks_mm,
            patches=boxes,
            point_u_px=max(1.0, self.point_u_px),
        )


class DefineBody(MarksBody):
    """What was marked, and what the card is called."""

    name: Annotated[str, Field(max_length=100)]
    title: Annotated[str, Field(max_length=200)] = ""


class GridBody(BaseModel):
    """The first and the last patch of a grid."""

    corners: Corners
    first: Box
    last: Box
    rows: Annotated[int, Field(ge=1, le=200)]
    columns: Annotated[int, Field(ge=1, le=200)]


@router.post("/photos/{photo_id}/card/define/try")
def try_marks(request: Request, photo_id: PhotoId, body: MarksBody) -> dict[str, Any]:
    """Say what the marks give so far."""
    reach = reach_of(request)
    with reach.reading() as store:
        run = run_of(reach, store, photo_id)
        decoded = pixel_shelf_of(reach).pixels_of(run, require_photo(store, photo_id))
    look = look_at_marks(decoded, body.marks())
    problems = problems_here(request, look.problems)
    html = part(request, "photo_define_try.html", look=look, problems=problems)
    return {"html": html, "seen": look.seen, "refused": look.width_mm is None}


@router.post("/photos/{photo_id}/card/define/grid")
def grid(photo_id: PhotoId, body: GridBody) -> dict[str, Any]:
    """Lay boxes between the first and the last patch."""
    shape = (body.rows, body.columns)
    return {"boxes": fill_grid(body.corners, body.first, body.last, shape)}


@router.post("/photos/{photo_id}/card/define", status_code=201)
def define(request: Request, photo_id: PhotoId, body: DefineBody) -> dict[str, Any]:
    """Save a card of the project from the marks."""
    reach, observer = reach_of(request), observer_of(request)
    project = reach.settings.project
    ports = (wiring.reference_tables(project), wiring.photo_reader(), wiring.vault(project))
    with reach.writing(observer) as store:  # one at a time, so that two never take one name
        marks = body.marks(body.name.strip(), body.title.strip())
        done = define_in_project(ports, store, photo_id, marks, observer)
        visit = require_photo(store, photo_id).visit_id
    problems = problems_here(request, done["problems"])
    html = part(request, "photo_defined.html", done=done, problems=problems, visit=visit)
    return {"card": done["card"], "html": html}


@router.post("/photos/{photo_id}/card/define/away")
def away(
    request: Request, photo_id: PhotoId, name: Annotated[str, Body(embed=True, max_length=100)]
) -> dict[str, str]:
    """Put a card of the project away again."""
    reach, observer = reach_of(request), observer_of(request)
    tables = wiring.reference_tables(reach.settings.project)
    with reach.writing(observer) as store:
        put_card_away(tables, store, name)
    return {"away": name}
