"""Long jobs: how far they are, and cancelling them."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, StreamingResponse

from dryslate.web.job_words import job_words
from dryslate.web.jobs import Job
from dryslate.web.languages import language_of
from dryslate.web.reach import observer_of, reach_of

router = APIRouter()
EVERY_S = 0.2
BEAT_S = 10.0


@router.get("/jobs")
def jobs(request: Request) -> JSONResponse:
    """List the jobs under way."""
    return JSONResponse(
        {"jobs": [_words(request, job) for job in reach_of(request).jobs.running()]}
    )


@router.get("/jobs/{job_id}")
def job(request: Request, job_id: str) -> JSONResponse:
    """Tell how far one job is."""
    return JSONResponse(_words(request, reach_of(request).jobs.find(job_id)))


@router.get("/jobs/{job_id}/events")
async def events(request: Request, job_id: str) -> StreamingResponse:
    """Tell how far a job is as it goes on, as server-sent events."""
    found = reach_of(request).jobs.find(job_id)
    return StreamingResponse(
        _told(request, found), media_type="text/event-stream", headers={"x-accel-buffering": "no"}
    )


@router.post("/jobs/{job_id}/cancel")
def cancel(request: Request, job_id: str) -> JSONResponse:
    """Stop a job at its next step; what it finished is kept."""
    observer_of(request)
    found = reach_of(request).jobs.find(job_id)
    found.cancelled.set()
    return JSONResponse(_words(request, found))


def _words(request: Request, found: Job) -> dict[str, Any]:
    """Return how far a job is, in the person's language."""
    return job_words(language_of(request), found)


async def _told(request: Request, found: Job) -> AsyncIterator[str]:
    """Yield an event whenever something changed, and a beat where nothing does."""
    last, quiet_s = "", 0.0
    while not await request.is_disconnected():
        state = json.dumps(_words(request, found), ensure_ascii=False)
        if state != last:
            last, quiet_s = state, 0.0
            yield f"data: {state}\n\n"
        elif quiet_s >= BEAT_S:
            quiet_s = 0.0
            yield ": still here\n\n"
        if found.state != "running":
            return
        quiet_s += EVERY_S
        await asyncio.sleep(EVERY_S)
