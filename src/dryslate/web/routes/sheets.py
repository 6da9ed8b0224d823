"""Sheets for the dive: choose what they are for, print them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, Response

from dryslate import wiring
from dryslate.app.sheet_request import SheetRequest, head_fields, split_units
from dryslate.app.sheet_words import CHOICE_FIELDS, KIND_TITLES, TYPED_FIELDS, field_label
from dryslate.app.sheets import print_sheets
from dryslate.base.errors import DryslateError
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.languages import catalogue, offered
from dryslate.web.pages import language_of, page
from dryslate.web.reach import observer_of, reach_of, session_of

router = APIRouter()
PAPERS = {"a4": "A4", "a5": "A5", "letter": "Letter"}
N_LISTED = 60


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


def _form(
    request: Request, said: dict[str, Any], error: DryslateError | None = None
) -> HTMLResponse:
    """Show the form with what was asked for, and what stands against it."""
    with reach_of(request).reading() as store:
        visits = list(reversed(store.visits()))
        printed = store.printed_sheets()
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
        "observer": session_of(request).observer,
        "problem": problem_of_error(error) if error else None,
    }
    return page(request, "sheets.html", status_of(error) if error else 200, **shown)
