"""Work on one photo that its page asks for: readings, the grid, saving, a coral's health."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse

from dryslate import wiring
from dryslate.app import card_grid, measure_saved
from dryslate.app.coral_health import SHARES, note_health
from dryslate.app.measure_saved import Notes, SaveRequest
from dryslate.app.measure_try import Asked, Prepared, prepare, try_measure
from dryslate.web.benches import bench_of, shelf_of
from dryslate.web.photo_state import state_of
from dryslate.web.reach import Reach, observer_of, reach_of
from dryslate.web.reading_words import reading_words
from dryslate.web.routes.photo import PhotoId

router = APIRouter()
RowId = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
Share = Annotated[float | None, Field(ge=0, le=100)]
Point = tuple[Annotated[float, Field(ge=-1e6, le=1e6)], Annotated[float, Field(ge=-1e6, le=1e6)]]


class AskedBody(BaseModel):
    """What is to be measured, and the correction whose reading the page shows."""

    kind: Literal["length", "polyline", "outline", "corallites", "colour"]
    points: Annotated[list[Point], Field(max_length=2000)]
    stood: Literal["", "top", "edge", "base"] = ""
    point_u_px: Annotated[float, Field(ge=0, le=1000)] = 1.0
    key: Annotated[str, Field(max_length=100)] = ""

    def asked(self) -> Asked:
        """Return it as the use case takes it."""
        points = tuple(self.points)
        return Asked(kind=self.kind, points_px=points, stood=self.stood, point_u_px=self.point_u_px)


class SaveBody(AskedBody):
    """What is to be saved, and for which coral."""

    colony: Annotated[str, Field(max_length=200)]
    follows: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None


class HealthBody(BaseModel):
    """How a coral looks, in per cent of its surface; empty where not judged."""

    record_id: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    normal_pct: Share = None
    pale_pct: Share = None
    bleached_pct: Share = None
    recently_dead_pct: Share = None
    old_dead_pct: Share = None


def ready(reach: Reach, photo_id: str, asked: AskedBody) -> Prepared:
    """Return a photo ready to be measured in; its records are read only where it is not yet."""
    known = shelf_of(reach).find(photo_id, asked.key, asked.kind)
    if known is not None:
        return known
    with reach.reading() as store:
        return prepare(shelf_of(reach), bench_of(reach, store), photo_id, asked.kind)


def notes_of(reach: Reach) -> Notes:
    """Return the genus data and the time."""
    tables = wiring.reference_tables(reach.settings.project)
    taxa = reach.keep("taxa data", lambda: tables.taxa()[0])
    return Notes(taxa=taxa, now=wiring.clock().now_utc())


@router.post("/photos/{photo_id}/measure/try")
def measure_try(request: Request, photo_id: PhotoId, body: AskedBody) -> dict[str, Any]:
    """Measure without saving."""
    told = try_measure(ready(reach_of(request), photo_id, body), body.asked())
    return {"key": told["correction_key"], **reading_words(request, told)}


@router.get("/photos/{photo_id}/grid")
def grid(
    request: Request,
    photo_id: PhotoId,
    box: Annotated[str, Query(max_length=100)],
    least_px: Annotated[float, Query(gt=0, le=1e5)] = 40.0,
    key: Annotated[str, Query(max_length=100)] = "",
) -> dict[str, Any]:
    """Return the lines of the millimetre grid in a part of the photo."""
    asked = AskedBody(kind="length", points=[], key=key)
    planes = ready(reach_of(request), photo_id, asked).scaled.planes
    return card_grid.grid_of(planes, card_grid.parse_box(box), least_px)


@router.get("/photos/{photo_id}/state")
def state(request: Request, photo_id: PhotoId) -> dict[str, Any]:
    """Return what is measured and noted in a photo."""
    with reach_of(request).reading() as store:
        return state_of(request, store, photo_id)


@router.post("/photos/{photo_id}/measurements")
def save(request: Request, photo_id: PhotoId, body: SaveBody) -> JSONResponse:
    """Save a measurement with its coral."""
    reach, observer = reach_of(request), observer_of(request)
    notes = notes_of(reach)
    wanted = SaveRequest(
        colony=body.colony,
        observer=observer,
        asked=body.asked(),
        correction_key=body.key,
        follows=body.follows,
    )
    with reach.writing(observer) as store:
        prepared = prepare(shelf_of(reach), bench_of(reach, store), photo_id, body.kind)
        row = measure_saved.save_measured(store, prepared, wanted, notes)
        answer = {"saved": row.measurement_id, "state": state_of(request, store, photo_id)}
    return JSONResponse(answer, 201)


@router.post("/photos/{photo_id}/measurements/{row_id}/{what}")
def change(
    request: Request,
    photo_id: PhotoId,
    row_id: RowId,
    what: Literal["rename", "back", "again"],
    colony: Annotated[str, Body(embed=True, max_length=200)] = "",
) -> dict[str, Any]:
    """Rename a saved measurement, take it back, or let it stand again: each a further entry."""
    reach, observer = reach_of(request), observer_of(request)
    notes = notes_of(reach)
    with reach.writing(observer) as store:
        if what == "rename":
            row = measure_saved.rename_measured(store, row_id, colony, observer, notes)
        elif what == "back":
            row = measure_saved.take_back(store, row_id, observer, notes)
        else:
            row = measure_saved.stand_again(store, row_id, observer, notes)
        return {"saved": row.measurement_id, "state": state_of(request, store, photo_id)}


@router.post("/photos/{photo_id}/health")
def health(request: Request, photo_id: PhotoId, body: HealthBody) -> dict[str, Any]:
    """Note how a coral looks."""
    observer = observer_of(request)
    shares = {name: getattr(body, name) for name in SHARES}
    with reach_of(request).writing(observer) as store:
        note_health(store, body.record_id, shares, (observer, wiring.clock().now_utc()))
        return {"state": state_of(request, store, photo_id)}
