"""The card of one photo, worked on by hand: corners set, tried, saved; earlier corrections."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from dryslate import wiring
from dryslate.app import measure_again
from dryslate.app.correct_by_hand import HandCorners, let_hold, require_version
from dryslate.app.measure_try import prepare
from dryslate.app.photo_card import followers_of
from dryslate.app.tiles import picture_tiles, place_of, require_photo
from dryslate.app.try_by_hand import Tried, lay_out, try_corners
from dryslate.web.benches import bench_of, shelf_of, tile_bench_of
from dryslate.web.by_hand import (
    both_on_conflict,
    correct_by_hand,
    pixel_shelf_of,
    run_of,
    tried_answer,
    whole_state,
)
from dryslate.web.languages import language_of
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.routes.photo import PhotoId
from dryslate.web.routes.photo_work import Point
from dryslate.web.said import told

router = APIRouter()
CardName = Annotated[str, Field(min_length=1, max_length=100, pattern=r"^[^/\\]+$")]
Version = Annotated[str, Field(pattern="^([0-9a-f]{64})?$")]
RowKey = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class CornersBody(BaseModel):
    """Four corners of a card."""

    card: CardName
    corners: Annotated[list[Point], Field(min_length=4, max_length=4)]
    point_u_px: Annotated[float, Field(ge=0, le=1000)] = 1.0

    def set(self) -> HandCorners:
        """Return them as the use case takes them."""
        return HandCorners.pointed(self.card, tuple(self.corners), self.point_u_px)


class SaveCorners(CornersBody):
    """Corners to correct by, and the correction that the person saw."""

    version: Version


@router.get("/photos/{photo_id}/card")
def card(request: Request, photo_id: PhotoId) -> dict[str, Any]:
    """Return what the page shows of the photo's card and all that hangs on it."""
    with reach_of(request).reading() as store:
        return whole_state(request, store, photo_id)


@router.post("/photos/{photo_id}/card/lay")
def lay(request: Request, photo_id: PhotoId, body: CornersBody) -> dict[str, Any]:
    """Lay the card's patches into the photo by four corners."""
    reach = reach_of(request)
    known = wiring.reference_tables(reach.settings.project).card(body.card)
    with reach.reading() as store:
        place = place_of(store, photo_id, "original")
        held = picture_tiles(tile_bench_of(reach), store, place)
    tried = lay_out(known, tuple(body.corners), (held.width_px, held.height_px))
    language = language_of(request)
    return {"patches": tried.patches_px, "problems": [told(language, p) for p in tried.problems]}


@router.post("/photos/{photo_id}/card/try")
def try_it(request: Request, photo_id: PhotoId, body: CornersBody) -> dict[str, Any]:
    """Say what a correction by four corners would give."""
    reach = reach_of(request)
    with reach.reading() as store:
        run = run_of(reach, store, photo_id)
        tried: Tried = try_corners(
            pixel_shelf_of(reach), run, require_photo(store, photo_id), body.set()
        )
    return tried_answer(request, tried)


@router.post("/photos/{photo_id}/card/corners")
def corners(request: Request, photo_id: PhotoId, body: SaveCorners) -> Response:
    """Correct the photo by four corners."""
    return correct_by_hand(request, photo_id, body.version, body.set())


@router.post("/photos/{photo_id}/card/hold")
def hold(
    request: Request,
    photo_id: PhotoId,
    key: Annotated[str, Body(pattern="^([0-9a-f]{64})?$")],
    version: Annotated[str, Body(pattern="^([0-9a-f]{64})?$")],
) -> Response:
    """Let an earlier correction hold again; without a key the program looks for the card anew."""
    reach, observer = reach_of(request), observer_of(request)
    with both_on_conflict(request, photo_id) as answers, reach.writing(observer) as store:
        let_hold(run_of(reach, store, photo_id), photo_id, key, version)
        state = whole_state(request, store, photo_id, followers_of(store, photo_id))
        answers.append(JSONResponse(state))
    return answers[0]


@router.post("/photos/{photo_id}/card/again")
def again(
    request: Request,
    photo_id: PhotoId,
    ids: Annotated[list[RowKey], Body(min_length=1, max_length=500)],
    version: Annotated[str, Body(pattern="^[0-9a-f]{64}$")],
) -> Response:
    """Measure again, by the latest correction, what rests on an earlier one."""
    reach, observer = reach_of(request), observer_of(request)
    with both_on_conflict(request, photo_id) as answers, reach.writing(observer) as store:
        photo, bench = require_photo(store, photo_id), bench_of(reach, store)
        require_version(store, photo, version)
        wanted = {m.kind == "colour" for m in store.measurements() if m.measurement_id in ids}
        ready = {
            is_colour: prepare(
                shelf_of(reach), bench, photo_id, "colour" if is_colour else "length"
            )
            for is_colour in wanted
        }
        taken, left = measure_again.measure_again(store, ready, ids, observer)
        language = language_of(request)
        answer = {"before": taken, "left": [told(language, p.as_dict()) for p in left]}
        answers.append(JSONResponse({**answer, **whole_state(request, store, photo_id)}))
    return answers[0]


@router.post("/photos/{photo_id}/card/before")
def before(
    request: Request,
    photo_id: PhotoId,
    keys: Annotated[
        dict[RowKey, Annotated[str, Field(max_length=100)]], Body(embed=True, max_length=500)
    ],
) -> dict[str, Any]:
    """Let measurements have the values again that they had by earlier corrections."""
    reach, observer = reach_of(request), observer_of(request)
    with reach.writing(observer) as store:
        measure_again.as_before(store, require_photo(store, photo_id), keys, observer)
        return whole_state(request, store, photo_id)
