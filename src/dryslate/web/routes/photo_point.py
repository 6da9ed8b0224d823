"""One white or grey point of a photo: tried, saved, and used for further photos of the visit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel
from starlette.responses import Response

from dryslate import wiring
from dryslate.app.correct_project import ProjectRun
from dryslate.app.one_point import PickedPoint
from dryslate.app.share_point import require_picked, share_point, sharers_of, take_back_shared
from dryslate.app.tiles import require_photo
from dryslate.app.try_by_hand import try_point
from dryslate.web.by_hand import correct_by_hand, pixel_shelf_of, run_of, tried_answer
from dryslate.web.card_words import reason_words
from dryslate.web.jobs import Job
from dryslate.web.languages import N_
from dryslate.web.pages import part, translate
from dryslate.web.photos_words import OUTCOMES
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.routes.photo import PhotoId
from dryslate.web.routes.photo_card import RowKey, Version
from dryslate.web.routes.photo_work import Point

router = APIRouter()
SHARING = N_("Correcting photos by one point")
TAKING_BACK = N_("Taking back a shared point")


class PointBody(BaseModel):
    """A point that somebody says is white or mid grey."""

    what: Literal["white", "grey"]
    xy: Point

    def picked(self) -> PickedPoint:
        """Return it as the use case takes it."""
        return PickedPoint(xy_px=self.xy, what=self.what)


class SavePoint(PointBody):
    """A point to correct by, and the correction that the person saw."""

    version: Version


@router.post("/photos/{photo_id}/card/point/try")
def try_it(request: Request, photo_id: PhotoId, body: PointBody) -> dict[str, Any]:
    """Say what a correction by one point would give."""
    reach = reach_of(request)
    with reach.reading() as store:
        run = run_of(reach, store, photo_id)
        photo = require_photo(store, photo_id)
        tried = try_point(pixel_shelf_of(reach), run, photo, body.picked())
    return tried_answer(request, tried)


@router.post("/photos/{photo_id}/card/point")
def save(request: Request, photo_id: PhotoId, body: SavePoint) -> Response:
    """Correct the photo by one point."""
    return correct_by_hand(request, photo_id, body.version, body.picked())


@router.get("/photos/{photo_id}/card/sharers")
def sharers(request: Request, photo_id: PhotoId) -> dict[str, str]:
    """List the photos of the visit that may have the point's correction, and why others may not."""
    with reach_of(request).reading() as store:
        require_picked(store, require_photo(store, photo_id))
        found = sharers_of(store, photo_id)
    whys = Counter(reason_words(request, s.reason) for s in found if s.reason)
    shown = {"sharers": [s for s in found if not s.reason], "whys": whys, "outcomes": OUTCOMES}
    return {"html": part(request, "photo_sharers.html", **shown)}


@router.post("/photos/{photo_id}/card/share", status_code=202)
def share(
    request: Request,
    photo_id: PhotoId,
    ids: Annotated[list[RowKey], Body(embed=True, min_length=1, max_length=20_000)],
) -> dict[str, Any]:
    """Correct further photos by the point, as a job."""
    reach = reach_of(request)
    with reach.reading() as store:
        require_picked(store, require_photo(store, photo_id))

    def work(job: Job, run: ProjectRun) -> None:
        workshop = replace(run.workshop, progress=job, runner=wiring.runner())
        run = replace(run, workshop=workshop)
        found = share_point(run, photo_id, frozenset(ids), lambda _: job.require_wanted())
        job.problems += found

    return _job(request, photo_id, SHARING, work)


@router.post("/photos/{photo_id}/card/unshare", status_code=202)
def unshare(
    request: Request,
    photo_id: PhotoId,
    versions: Annotated[dict[RowKey, Version], Body(embed=True, min_length=1, max_length=20_000)],
) -> dict[str, Any]:
    """Take a shared point back from further photos, as a job."""

    def work(job: Job, run: ProjectRun) -> None:
        job.start("", None)
        take_back_shared(run, photo_id, versions)

    return _job(request, photo_id, TAKING_BACK, work)


def _job(
    request: Request, photo_id: str, title: str, work: Callable[[Job, ProjectRun], None]
) -> dict[str, Any]:
    """Start a job over the project, which saves while others save between two photos."""
    reach, observer = reach_of(request), observer_of(request)

    def run(job: Job) -> None:
        project = reach.settings.project
        with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
            work(job, run_of(reach, store, photo_id))

    page = f"/photos/{photo_id}"
    return reach.jobs.start(translate(request, title), page, observer, run).as_dict()
