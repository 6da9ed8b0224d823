"""Sheets for the dive: choose what they are for, print them; photographed ones and their units."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app.sheet_joining import (
    join_sheets,
    photos_to_look_at,
    require_sheet_photo,
    say_unit,
)
from dryslate.app.sheet_paper import make_papers
from dryslate.app.sheet_photo import straight_picture
from dryslate.app.sheet_request import SheetRequest, head_fields, split_units
from dryslate.app.sheet_words import CHOICE_FIELDS, KIND_TITLES, TYPED_FIELDS, field_label
from dryslate.app.sheets import print_sheets
from dryslate.base.errors import DryslateError
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.jobs import Job
from dryslate.web.languages import N_, catalogue, offered
from dryslate.web.pages import language_of, page
from dryslate.web.reach import observer_of, reach_of, session_of
from dryslate.web.routes.photo import PhotoId
from dryslate.web.routes.take import visit_of

router = APIRouter()
PAPERS = {"a4": "A4", "a5": "A5", "letter": "Letter"}
N_LISTED = 60
TITLE = N_("Looking for sheets in photos")


def preset_form(  # noqa: PLR0913, PLR0917  one field of the form each
    length_m: Annotated[str, Form(max_length=40)] = "",
    width_m: Annotated[str, Form(max_length=40)] = "",
    area_m2: Annotated[str, Form(max_length=40)] = "",
    spacing_m: Annotated[str, Form(max_length=40)] = "",
    n_cells: Annotated[str, Form(max_length=40)] = "",
    n_points: Annotated[str, Form(max_length=40)] = "",
    point_rule: Annotated[str, Form(max_length=40)] = "",
    seed: Annotated[str, Form(max_length=40)] = "",
    minutes: Annotated[str, Form(max_length=40)] = "",
    edge_rule: Annotated[str, Form(max_length=40)] = "",
    searched: Annotated[str, Form(max_length=2000)] = "",
) -> dict[str, str]:
    """Read the fields that are printed beforehand."""
    return {name: text.strip() for name, text in locals().items()}


@router.get("/sheets", response_class=HTMLResponse)
def sheets(
    request: Request, kind: Annotated[str, Query(max_length=40)] = "line_intercept"
) -> HTMLResponse:
    """Show what can be printed, and what was."""
    return _form(request, {"kind": kind})


@router.post("/sheets/print.pdf")
def print_pdf(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    preset: Annotated[dict[str, str], Depends(preset_form)],
    kind: Annotated[str, Form(max_length=40)],
    paper: Annotated[str, Form(max_length=10)] = "a4",
    units: Annotated[str, Form(max_length=4000)] = "",
    pages: Annotated[int, Form()] = 1,
    visit: Annotated[str, Form(max_length=300)] = "",
    counts_only: Annotated[str, Form(max_length=3)] = "",
    language: Annotated[str, Form(max_length=5)] = "",
) -> Response:
    """Return the PDF, and keep what was printed in the project."""
    observer, reach = observer_of(request), reach_of(request)
    spoken = language if language in offered() else language_of(request)
    asked = SheetRequest(
        kind=kind,
        paper=paper,
        units=split_units(units),
        n_pages=pages,
        preset={k: v for k, v in preset.items() if v and k in head_fields(kind)},
        is_counts_only=bool(counts_only),
        visit_id=visit,
        language=spoken,
    )
    words = catalogue(spoken).gettext
    try:
        with reach.writing(observer) as store:
            bench = wiring.sheet_bench(reach.settings.project, store, words, observer)
            done = print_sheets(asked, bench)
    except DryslateError as error:
        if "text/html" not in request.headers.get("accept", ""):
            raise
        said = {"kind": kind, "units": units, "pages": pages, "visit": visit, **preset}
        return _form(request, {**said, "paper": paper, "counts_only": counts_only}, error)
    saved = {"content-disposition": f'attachment; filename="sheet-{kind}-{paper}.pdf"'}
    return Response(done.pdf, media_type="application/pdf", headers=saved)


@router.post("/sheets/join")
def join(request: Request, visit: Annotated[str, Form(max_length=300)]) -> RedirectResponse:
    """Look for sheets in the photos of a visit, as a job."""
    reach, observer = reach_of(request), observer_of(request)
    project = reach.settings.project
    with reach.reading() as store:
        ids = photos_to_look_at(store, visit_of(store, visit).visit_id)

    def work(job: Job) -> None:
        job.start("sheets", len(ids))
        with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
            for one in join_sheets(wiring.sheet_desk(project, store, observer), ids):
                if one.problem is not None:
                    job.problems.append(one.problem)
                job.step(note=one.photo.files[0].original_name)
        job.done()

    reach.jobs.start(TITLE, "/sheets#photographed", observer, work, kind="sheets", asked=tuple(ids))
    return RedirectResponse("/sheets#photographed", 303)


@router.post("/sheets/photos/{photo_id}/unit")
def unit_of_photo(
    request: Request,
    photo_id: PhotoId,
    unit: Annotated[str, Form(pattern="^([0-9a-f]{64})?$")] = "",
) -> RedirectResponse:
    """Say of which unit a photographed sheet is."""
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        say_unit(store, photo_id, unit or None, (observer, wiring.clock().now_utc()))
    return RedirectResponse(f"/sheets/photos/{photo_id}", 303)


@router.get("/sheets/photos/{photo_id}", response_class=HTMLResponse)
def photographed(request: Request, photo_id: PhotoId) -> HTMLResponse:
    """Show a photographed sheet straight from the front, and of which unit it is."""
    with reach_of(request).reading() as store:
        row = require_sheet_photo(store, photo_id)
        photo = store.photo(photo_id)
        units = store.units(photo.visit_id) if photo is not None else ()
        papers = make_papers([row], store.printed_sheets())
    shown: dict[str, Any] = {"paper": papers[0], "units": units, "kinds": KIND_TITLES}
    shown["name"] = photo.files[0].original_name if photo is not None else ""
    shown["observer"] = session_of(request).observer
    return page(request, "sheet_photo.html", 200, **shown)


@router.get("/sheets/photos/{photo_id}/page.jpg")
def straight_page(request: Request, photo_id: PhotoId) -> Response:
    """Return the page of a photographed sheet, straight from the front."""
    reach = reach_of(request)
    with reach.reading() as store:
        row = require_sheet_photo(store, photo_id)
        photo = store.photo(photo_id)
        sheet = next(one for one in store.printed_sheets() if one.sheet_id == row.sheet_id)
    name = photo.files[0].original_name if photo is not None else ""
    path = wiring.vault(reach.settings.project).path_of(photo_id, name)
    pixels = straight_picture(wiring.photo_reader(), path, sheet, row)
    data = wiring.document_writer().picture_jpeg(pixels)
    kept = {"cache-control": "private, max-age=3600"}
    return Response(data, media_type="image/jpeg", headers=kept)


def _form(
    request: Request, said: dict[str, Any], error: DryslateError | None = None
) -> HTMLResponse:
    """Show the form with what was asked for, and what stands against it."""
    with reach_of(request).reading() as store:
        visits = list(reversed(store.visits()))
        printed = store.printed_sheets()
        photographed = store.sheet_photos()
        names = {
            one.photo_id: photo.files[0].original_name
            for one in photographed
            if (photo := store.photo(one.photo_id)) is not None
        }
        units = {unit.unit_id: unit for unit in store.units()} if photographed else {}
    kind = said["kind"] if said["kind"] in KIND_TITLES else "line_intercept"
    fields = head_fields(kind)
    shown: dict[str, Any] = {
        "said": said,
        "kind": kind,
        "kinds": KIND_TITLES,
        "papers": PAPERS,
        "visits": visits,
        "typed": [(name, field_label(name)) for name in TYPED_FIELDS if name in fields],
        "chosen": [
            (name, field_label(name), CHOICE_FIELDS[name])
            for name in CHOICE_FIELDS
            if name in fields
        ],
        "printed": list(reversed(printed))[:N_LISTED],
        "n_printed": len(printed),
        "photographed": [
            (row, names.get(row.photo_id, ""), units.get(row.unit_id or ""))
            for row in reversed(photographed)
        ],
        "pages": {sheet.sheet_id: sheet for sheet in printed},
        "observer": session_of(request).observer,
        "problem": problem_of_error(error) if error else None,
    }
    return page(request, "sheets.html", status_of(error) if error else 200, **shown)
