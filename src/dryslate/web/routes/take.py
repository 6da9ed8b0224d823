"""Taking in a memory card by the path of its folder, and what is proved where."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as calendar_date
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate.app.second_copy import SecondReport, copies_of
from dryslate.app.take_records import TakeReport, TakeRequest
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.taking import folder_from, start_second, start_take

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit

router = APIRouter()
JobId = Annotated[str, Path(pattern="^[0-9a-f]{16}$")]
Name = Annotated[str, Form(max_length=300)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the form says of the visit."""

    site: str
    date: str
    observer: str


def said_of(request: Request, site: Name, date: Name, observer: Name = "") -> Said:
    """Read what the form says of the visit; photos are the observer's unless said otherwise."""
    return Said(site=site, date=date, observer=observer.strip() or observer_of(request))


@router.get("/take", response_class=HTMLResponse, dependencies=WORK)
def take(
    request: Request,
    site: Annotated[str, Query(max_length=300)] = "",
    date: Annotated[str, Query(max_length=20)] = "",
) -> HTMLResponse:
    """Ask what to take in."""
    with reach_of(request).reading() as store:
        known: dict[str, Any] = {
            "sites": [one.site for one in store.sites()],
            "zones": sorted({one.zone for one in store.zones()}),
            "observers": [one.observer for one in store.observers()],
            "seconds": sorted({copy.folder for copy in store.copies()} - {"."}),
        }
    today = calendar_date.today().isoformat()
    return page(request, "take.html", site=site, date=date or today, today=today, **known)


@router.post("/take/folder")
def folder(
    request: Request,
    said: Annotated[Said, Depends(said_of)],
    source: Annotated[str, Form(max_length=4000)],
    second: Annotated[str, Form(max_length=4000)] = "",
    zone: Name = "",
) -> RedirectResponse:
    """Take in a folder of this computer."""
    chosen = folder_from(request, source)
    if chosen is None:
        raise Refusal("page-input", 422, "source")
    wanted = TakeRequest(
        sources=(chosen,),
        project=reach_of(request).settings.project,
        second=folder_from(request, second),
        site=said.site,
        date=said.date,
        observer=said.observer,
    )
    job = start_take(request, wanted, zone=zone)
    return RedirectResponse(f"/take/done/{job.job_id}", 303)


@router.get("/take/done/{job_id}", response_class=HTMLResponse)
def done(request: Request, job_id: JobId) -> HTMLResponse:
    """Show what was taken in and whether the memory card may be wiped."""
    job = reach_of(request).jobs.find(job_id)
    report = job.answer if isinstance(job.answer, TakeReport) else None
    return page(request, "take_done.html", job=job, report=report)


@router.get("/take/copies", response_class=HTMLResponse)
def copies(
    request: Request,
    visit: Annotated[str, Query(max_length=300)],
    job: Annotated[str, Query(pattern="^[0-9a-f]{16}$")] = "0" * 16,
) -> HTMLResponse:
    """Show what of a visit is proved where."""
    with reach_of(request).reading() as store:
        found, told = visit_of(store, visit), copies_of(store, visit)
        known = sorted({copy.folder for copy in store.copies()} - {"."})
    made = reach_of(request).jobs.look(job)
    report = made.answer if made is not None and isinstance(made.answer, SecondReport) else None
    shown: dict[str, Any] = {
        "visit": found,
        "told": told,
        "seconds": known,
        "made": made,
        "report": report,
    }
    return page(request, "take_copies.html", **shown)


@router.post("/take/copies")
def second_copy(
    request: Request, visit: Name, second: Annotated[str, Form(max_length=4000)]
) -> RedirectResponse:
    """Make the second copy of a visit."""
    folder = folder_from(request, second)
    if folder is None:
        raise Refusal("page-input", 422, "second")
    with reach_of(request).reading() as store:
        found = visit_of(store, visit)
    job = start_second(request, found.visit_id, folder)
    told = urlencode({"visit": found.visit_id, "job": job.job_id})
    return RedirectResponse(f"/take/copies?{told}", 303)


def visit_of(store: SurveyStore, visit_id: str) -> Visit:
    """Return a visit by its id; refuses one that is not there."""
    for visit in store.visits():
        if visit.visit_id == visit_id:
            return visit
    raise Refusal("page-not-found", 404)
