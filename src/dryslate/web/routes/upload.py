"""Taking in photos that a browser sends: one file a request, then as a memory card is taken in."""

from __future__ import annotations

from typing import Annotated, Any, cast

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from dryslate import wiring
from dryslate.app.sending import Receiver, SentBox, SentFile, batch_of, files_to_send
from dryslate.app.take_records import TakeReport, TakeRequest
from dryslate.app.visits import require_visit
from dryslate.web.reach import Reach, observer_of, reach_of
from dryslate.web.taking import folder_from, start_take

router = APIRouter()
MOST_FILES = 10_000
PIECE = 1 << 20
Count = Annotated[int, Query(ge=0, le=1 << 53)]


class FileSaid(BaseModel):
    """What a browser says of a file."""

    path: str = Field(max_length=2000)
    size: int = Field(ge=0, le=1 << 53)
    modified_ms: int = Field(ge=0, le=1 << 43)

    def sent(self) -> SentFile:
        """Return it as the use case has it."""
        return SentFile(
            path=self.path, size_bytes=self.size, modified_ns=self.modified_ms * 1_000_000
        )


class VisitSaid(BaseModel):
    """Which visit files are for, and where a second copy goes."""

    site: str = Field(max_length=300)
    date: str = Field(max_length=20)
    observer: str = Field("", max_length=300)
    second: str = Field("", max_length=4000)
    zone: str = Field("", max_length=300)


class BeginBody(VisitSaid):
    """What is about to be sent."""

    files: list[FileSaid] = Field(max_length=MOST_FILES)


@router.post("/take/upload/begin")
def begin(request: Request, body: BeginBody) -> dict[str, Any]:
    """Say which files still have to be sent; those of an earlier try are kept."""
    batch = _batch(request, body)
    missing = files_to_send(_box(reach_of(request)), batch, [file.sent() for file in body.files])
    return {"batch": batch, "missing": missing}


@router.post("/take/upload")
async def upload(
    request: Request,
    batch: Annotated[str, Query(pattern="^[0-9a-f]{16}$")],
    path: Annotated[str, Query(max_length=2000)],
    size: Count,
    modified_ms: Annotated[int, Query(ge=0, le=1 << 43)],
    sha256: Annotated[str, Query(pattern="^[0-9a-f]{64}$")],
) -> JSONResponse:
    """Take one file; it is there wholly or not at all."""
    observer_of(request)
    file = SentFile(path=path, size_bytes=size, modified_ns=modified_ms * 1_000_000, sha256=sha256)
    coming = await run_in_threadpool(Receiver, _box(reach_of(request)), batch, file)
    await _receive(request, coming)
    return JSONResponse({"kept": path}, 201)


@router.post("/take/upload/end")
def end(request: Request, body: VisitSaid) -> JSONResponse:
    """Take in what was sent, as a job."""
    batch, box = _batch(request, body), _box(reach_of(request))
    wanted = TakeRequest(
        sources=(box.folder(batch),),
        project=reach_of(request).settings.project,
        second=folder_from(request, body.second),
        site=body.site,
        date=body.date,
        observer=body.observer.strip() or observer_of(request),
        is_sent=True,
    )

    def after(report: TakeReport) -> None:
        if not report.n_failed and not any(p.severity == "error" for p in report.problems):
            box.remove(batch)

    job = start_take(request, wanted, after, body.zone)
    return JSONResponse({"page": f"/take/done/{job.job_id}"}, 202)


async def _receive(request: Request, coming: Receiver) -> None:
    """Write a file as it comes, and keep it when it is whole."""
    waiting = bytearray()
    try:
        async for chunk in request.stream():
            waiting += chunk
            if len(waiting) >= PIECE:
                await run_in_threadpool(coming.add, bytes(waiting))
                waiting.clear()
        await run_in_threadpool(coming.add, bytes(waiting))
        await run_in_threadpool(coming.end)
    finally:
        coming.drop()


def _batch(request: Request, body: VisitSaid) -> str:
    """Name the batch of a visit, which must be one that can be stored."""
    observer = body.observer.strip() or observer_of(request)
    with reach_of(request).reading() as store:
        visit = require_visit(store, body.site, body.date, observer)
    return batch_of(visit.site, visit.date, observer)


def _box(reach: Reach) -> SentBox:
    """Return what holds the files that are sent to this server."""
    box = reach.keep("sent box", lambda: wiring.sent_box(reach.settings.project))
    return cast(SentBox, box)
