"""Temperature loggers of sites: kept with what is stated of them, fetched again, taken back."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, File, Form, Path, Query, Request, UploadFile
from starlette.responses import RedirectResponse, Response

from dryslate.app.site_loggers import (
    LARGEST_BYTES,
    LoggerSettings,
    keep_loggers,
    take_logger_back,
)
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.routes.colonies import Short, _who

router = APIRouter()
MOST_FAULTS = 20
MOST_FILES = 60
"""Of one logger in one go: five years of monthly files."""
Sha = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]


def settings_form(  # noqa: PLR0913, PLR0917  one field of the form each
    warmest_c: Short = "",
    warmest_source: Short = "",
    deployed_from: Short = "",
    deployed_to: Short = "",
    offset_c: Short = "",
    zone: Short = "",
    time_column: Short = "",
    temperature_column: Short = "",
    logger: Short = "",
) -> LoggerSettings:
    """Read what is stated of a logger."""
    return LoggerSettings(
        warmest_c=warmest_c,
        warmest_source=warmest_source,
        deployed_from=deployed_from,
        deployed_to=deployed_to,
        offset_c=offset_c,
        zone=zone,
        time_column=time_column,
        temperature_column=temperature_column,
        logger=logger,
    )


@router.post("/colonies/loggers")
def keep(
    request: Request,
    settings: Annotated[LoggerSettings, Depends(settings_form)],
    site: Annotated[str, Form(max_length=300)],
    file: Annotated[list[UploadFile], File(max_length=MOST_FILES)],
) -> Response:
    """Keep a logger's files for a site; cells that cannot be read are listed, nothing is kept."""
    who = _who(request)
    given = [
        (
            PurePosixPath((one.filename or "logger.csv").replace("\\", "/")).name[:120],
            one.file.read(LARGEST_BYTES + 1),
        )
        for one in file
    ]
    with reach_of(request).writing(who[0]) as store:
        kept = keep_loggers(store, site, given, settings, who)
    if kept.problems:
        n_more = max(len(kept.problems) - MOST_FAULTS, 0)
        faults = kept.problems[:MOST_FAULTS]
        return page(request, "logger_faults.html", 422, problems=faults, n_more=n_more)
    return RedirectResponse("/colonies#loggers", 303)


@router.post("/colonies/loggers/{sha256}")
def take_back(request: Request, sha256: Sha, site: Short) -> Response:
    """Take a logger back; its file stays on record."""
    who = _who(request)
    with reach_of(request).writing(who[0]) as store:
        take_logger_back(store, site, sha256, who)
    return RedirectResponse("/colonies#loggers", 303)


@router.get("/colonies/loggers/{sha256}.csv")
def file_of(
    request: Request, sha256: Sha, site: Annotated[str, Query(max_length=300)] = ""
) -> Response:
    """Return a logger's file as it was given."""
    with reach_of(request).reading() as store:
        known = [one for one in store.site_loggers(site or None) if one.sha256 == sha256]
        files = store.logger_files(sha256)
    if not known or not files:
        raise Refusal("page-not-found", 404)
    named = f"attachment; filename*=UTF-8''{quote(known[0].file_name, safe='')}"
    return Response(
        files[0].content.encode("utf-8"),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": named},
    )
