"""Photos of a tagged colony: added, outlined, the outline carried, confirmed or taken away."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app.colonies import find_colony
from dryslate.app.colony_outlines import (
    carry_outline,
    confirm_outline,
    draw_outline,
    take_frame_away,
)
from dryslate.app.colony_page import outline_of_measurement
from dryslate.app.colony_visits import add_frame
from dryslate.app.outline_history import outline_history
from dryslate.base.errors import InputError
from dryslate.web import colony_words
from dryslate.web.benches import bench_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.routes.colonies import OrganismId, PhotoId, Short, _one, _who

router = APIRouter()


@router.get("/colonies/{organism_id}/outlines", response_class=HTMLResponse)
def outlines(request: Request, organism_id: OrganismId) -> HTMLResponse:
    """Show how a colony's outlines came to be: who changed which, when, and by how much."""
    with reach_of(request).reading() as store:
        colony = find_colony(store, organism_id)
        changes = outline_history(store, colony)
    shown: dict[str, Any] = {"colony": colony, "changes": changes, "did": colony_words.OUTLINES}
    return page(request, "colony_outlines.html", **shown)


@router.post("/colonies/{organism_id}/frames")
def add(request: Request, organism_id: OrganismId, photo: Short) -> Response:
    """Say that a photo shows a colony."""
    who = _who(request)
    try:
        with reach_of(request).writing(who[0]) as store:
            add_frame(store, find_colony(store, organism_id), photo, who)
    except InputError as error:
        return _one(request, organism_id, {"photo": photo}, error)
    return RedirectResponse(f"/colonies/{organism_id}#photos", 303)


@router.post("/colonies/{organism_id}/frames/{photo_id}")
def change(
    request: Request,
    organism_id: OrganismId,
    photo_id: PhotoId,
    do: Annotated[str, Form(pattern="^(carry|confirm|remove|use)$")],
    measurement: Short = "",
) -> Response:
    """Carry the outline to a photo, confirm it, use a measured one, or take the photo away."""
    reach, who = reach_of(request), _who(request)
    try:
        with reach.writing(who[0]) as store:
            colony = find_colony(store, organism_id)
            if do == "carry":
                carry_outline(bench_of(reach, store), colony, photo_id, who)
            elif do == "confirm":
                confirm_outline(store, colony, photo_id, who)
            elif do == "use":
                points = outline_of_measurement(store, photo_id, measurement)
                draw_outline(store, colony, photo_id, points, who)
            else:
                take_frame_away(store, colony, photo_id)
    except InputError as error:
        said = {"refused_photo": photo_id} if error.slug.startswith("align-") else {}
        return _one(request, organism_id, said, error)
    return RedirectResponse(f"/colonies/{organism_id}#photos", 303)
