"""The report of results: what goes in, what is missing, making it, and those made before."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app.report_contents import PARTS, ReportChoice
from dryslate.app.report_preview import preview_report
from dryslate.app.survey_report import ReportSource, write_results_report
from dryslate.web.errors import Refusal
from dryslate.web.languages import N_, language_of
from dryslate.web.pages import page, translate
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.routes.archive import UNSAID

if TYPE_CHECKING:
    from dryslate.web.jobs import Job

router = APIRouter()
TITLE = N_("Making the report")
PART_WORDS = {
    "sites": N_("a page for each site, with drawings"),
    "colonies": N_("tagged colonies"),
    "change": N_("change between visits"),
    "likeness": N_("how alike units are"),
    "figures": N_("every figure, in small letters"),
    "trail": N_("where each figure comes from"),
}
assert tuple(PART_WORDS) == PARTS
MOST_OPEN = 12
"""Unfinished units that the page names; it counts the others."""
KINDS = {".html": "text/html", ".pdf": "application/pdf", ".csv": "text/csv"}
ITS_OWN = {
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"
}
"""A report is one file with its styles in it; it runs nothing and reaches nothing."""
Words = Annotated[list[str] | None, Form(max_length=1000)]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeReport:
    """A report made before, with the files it has."""

    name: str
    made: datetime.datetime
    ends: tuple[str, ...]


@router.get("/results/report", response_class=HTMLResponse)
def report(
    request: Request, job: Annotated[str, Query(pattern="^[0-9a-f]{16}$")] = "0" * 16
) -> HTMLResponse:
    """Show what may go into a report, what is missing, and the reports made."""
    reach = reach_of(request)
    with reach.reading() as store:
        found = preview_report(store)
    shown: dict[str, Any] = {
        "found": found,
        "job": reach.jobs.look(job),
        "parts": {key: translate(request, words) for key, words in PART_WORDS.items()},
        "unsaid": {key: translate(request, words) for key, words in UNSAID.items()},
        "most_open": MOST_OPEN,
        "language": language_of(request),
        "made": _made(reach.settings.project),
    }
    return page(request, "survey_report.html", **shown)


@router.post("/results/report")
def start(
    request: Request,
    language: Annotated[str, Form(pattern="^(en|fr)$")],
    site: Words = None,
    date: Words = None,
    part: Words = None,
) -> RedirectResponse:
    """Make the report as a job."""
    reach, observer = reach_of(request), observer_of(request)
    project = reach.settings.project
    choice = ReportChoice(sites=tuple(site or ()), dates=tuple(date or ()), parts=tuple(part or ()))
    day = datetime.datetime.fromisoformat(wiring.clock().now_utc()).date().isoformat()

    def work(job: Job) -> dict[str, Any]:
        job.page = f"/results/report?job={job.job_id}"
        with reach.reading() as store:
            source = ReportSource(
                folder=project,
                store=store,
                documents=wiring.document_writer(),
                settings=wiring.result_settings(),
                save=wiring.save_file,
            )
            path = _free(project, day)
            return write_results_report(
                source, path, language, has_pdf=True, choice=choice, progress=job
            )

    title = translate(request, TITLE)
    job = reach.jobs.start(
        title, "/results/report", observer, work, kind="report", asked=(choice, language)
    )
    return RedirectResponse(f"/results/report?job={job.job_id}", 303)


@router.get("/results/report/{name}")
def made_report(
    request: Request, name: str, download: Annotated[bool, Query()] = False
) -> FileResponse:
    """Hand out a file of a report: HTML to read here, the others to keep."""
    known = {f"{one.name}{end}" for one in _made(reach_of(request).settings.project)
             for end in one.ends}  # fmt: skip
    if name not in known:
        raise Refusal("page-not-found", 404)
    path = reach_of(request).settings.project / "reports" / name
    kind = KINDS[path.suffix]
    if path.suffix == ".html" and not download:
        return FileResponse(path, media_type=kind, headers=ITS_OWN)
    return FileResponse(path, media_type=kind, filename=name)


def _made(project: Path) -> list[MadeReport]:
    """List the reports of results, the latest first."""
    found = []
    for path in (project / "reports").glob("results*.html"):
        made = datetime.datetime.fromtimestamp(path.stat().st_mtime, datetime.UTC).astimezone()
        ends = tuple(end for end in KINDS if path.with_suffix(end).is_file())
        found.append(MadeReport(name=path.stem, made=made, ends=ends))
    return sorted(found, key=lambda one: one.made, reverse=True)


def _free(project: Path, day: str) -> Path:
    """Return a name of that day that no report has."""
    number = 1
    while (path := project / "reports" / f"results-{day}-{number}.html").exists():
        number += 1
    return path
