"""Setting a camera's clock from a photo of a clock."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate.app.clock_offset import ClockRequest, read_clock, set_clock, times_moved
from dryslate.app.photo_list import CLOCK_STEP, PhotoFilter, list_photos
from dryslate.base.errors import DryslateError, InputError, SettingsError
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.routes.take import visit_of

router = APIRouter()
VisitName = Annotated[str, Query(max_length=300)]
PhotoName = Annotated[str, Query(pattern="^([0-9a-f]{64})?$")]


@router.get("/take/clock", response_class=HTMLResponse, dependencies=WORK)
def clock(
    request: Request,
    visit: VisitName,
    photo: PhotoName = "",
    shows: Annotated[str, Query(max_length=40)] = "",
    page_no: Annotated[int, Query(ge=1, le=100_000, alias="page")] = 1,
) -> HTMLResponse:
    """Ask which photo shows a clock and what it shows; say what it would do before it is set."""
    shown: dict[str, Any] = {"photo": photo, "shows": shows, "report": None, "moved": ()}
    error: DryslateError | None = None
    with reach_of(request).reading() as store:
        found = visit_of(store, visit)
        shown["list"] = list_photos(store, found.visit_id, PhotoFilter(), page_no, CLOCK_STEP)
        shown["set"] = store.clock_offsets(found.visit_id)
        if photo and shows:
            asked = ClockRequest(site=found.site, date=found.date, photo=photo, shows=shows)
            try:
                shown["report"] = read_clock(store, asked)
                shown["moved"] = times_moved(store, shown["report"].offset)
            except (InputError, SettingsError) as refused:
                error = refused
    shown["problem"] = problem_of_error(error) if error is not None else None
    status = status_of(error) if error is not None else 200
    return page(request, "take_clock.html", status, visit=found, **shown)


@router.post("/take/clock")
def set_it(
    request: Request,
    visit: Annotated[str, Form(max_length=300)],
    photo: Annotated[str, Form(pattern="^[0-9a-f]{64}$")],
    shows: Annotated[str, Form(max_length=40)],
    replace: Annotated[bool, Form()] = False,
) -> RedirectResponse:
    """Set the clock of the photo's camera for the visit."""
    with reach_of(request).writing(observer_of(request)) as store:
        found = visit_of(store, visit)
        asked = ClockRequest(
            site=found.site, date=found.date, photo=photo, shows=shows, replace=replace
        )
        set_clock(store, asked)
    return RedirectResponse("/take/clock?" + urlencode({"visit": visit}), 303)
