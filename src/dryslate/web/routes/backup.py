"""Backing up the records, and when that was done last."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app.backup import BackupReport, make_backup, require_backup_folder
from dryslate.app.backup_records import backup_state
from dryslate.web.errors import Refusal
from dryslate.web.languages import N_
from dryslate.web.pages import page, translate
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.taking import Unheard, folder_from

if TYPE_CHECKING:
    from dryslate.web.jobs import Job

router = APIRouter()
TITLE = N_("Backing up the records")


@router.get("/backup", response_class=HTMLResponse)
def backup(
    request: Request, job: Annotated[str, Query(pattern="^[0-9a-f]{16}$")] = "0" * 16
) -> HTMLResponse:
    """Show when the records were backed up, and ask where to."""
    reach = reach_of(request)
    with reach.reading() as store:
        state, made = backup_state(store), store.backups()[:-6:-1]
        known = {str(Path(one.folder).parent) for one in store.backups()}
        known |= {copy.folder for copy in store.copies()} - {"."}
    told = reach.jobs.look(job)
    report = told.answer if told is not None and isinstance(told.answer, BackupReport) else None
    last = str(Path(state.last.folder).parent) if state.last else ""
    shown: dict[str, Any] = {"state": state, "made": made, "job": told, "report": report}
    return page(request, "backup.html", folders=sorted(known), last=last, **shown)


@router.post("/backup")
def start(request: Request, to: Annotated[str, Form(max_length=4000)]) -> RedirectResponse:
    """Back up as a job."""
    reach, observer = reach_of(request), observer_of(request)
    folder, project = folder_from(request, to), reach.settings.project
    if folder is None:
        raise Refusal("page-input", 422, "to")
    with reach.reading() as store:
        require_backup_folder(wiring.backup_tools(store, Unheard()), project, folder)

    def work(job: Job) -> BackupReport:
        job.page = f"/backup?job={job.job_id}"
        with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
            return make_backup(wiring.backup_tools(store, job), project, folder, observer)

    title = translate(request, TITLE)
    job = reach.jobs.start(title, "/backup", observer, work, kind="backup", asked=folder)
    return RedirectResponse(f"/backup?job={job.job_id}", 303)
