"""A coral without an outline in a photo: from a slate, or seen only."""

from __future__ import annotations

import re
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app.note_records import NoteRequest, note_record
from dryslate.base.errors import InputError
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of, session_of
from dryslate.web.roles import WORK
from dryslate.web.routes.take import visit_of
from dryslate.web.taxon_names import taxa_of

router = APIRouter()
Sizes = dict[str, tuple[str, str]]
HowText = Annotated[str, Form(pattern="^(eye|ruler)$")]
SizeText = Annotated[str, Form(max_length=40)]


def sizes_form(
    width: SizeText = "",
    width_how: HowText = "eye",
    calice: SizeText = "",
    calice_how: HowText = "ruler",
    calice_kind: Annotated[str, Form(pattern="^(corallite_diameter|valley_width)$")] = (
        "corallite_diameter"
    ),
) -> Sizes:
    """Read the sizes of a form, as written; a decimal comma is one on the pages."""
    said = {"colony_diameter": (width, width_how), calice_kind: (calice, calice_how)}
    return {kind: (re.sub(r"(?<=\d),(?=\d)", ".", text), how) for kind, (text, how) in said.items()}


@router.get("/corals/new", response_class=HTMLResponse, dependencies=WORK)
def blank(
    request: Request,
    visit: Annotated[str, Query(max_length=300)] = "",
    place: Annotated[str, Query(max_length=200)] = "",
    noted: Annotated[str, Query(max_length=200)] = "",
) -> HTMLResponse:
    """Show the form; visit and place stay from one coral to the next."""
    said: dict[str, Any] = {"visit": visit, "place": place}
    return _form(request, said, noted=noted)


def _form(
    request: Request, said: dict[str, Any], error: InputError | None = None, noted: str = ""
) -> HTMLResponse:
    """Show the form with what was written in it, and what is wrong."""
    reach = reach_of(request)
    with reach.reading() as store:
        visits = list(reversed(store.visits()))
    forms = taxa_of(reach).characters["growth_form"].states
    shown: dict[str, Any] = {"visits": visits, "forms": forms, "said": said, "noted": noted}
    shown["problem"] = problem_of_error(error) if error else None
    shown["observer"] = session_of(request).observer
    return page(request, "new_coral.html", status_of(error) if error else 200, **shown)


@router.post("/corals/new")
def note(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    sizes: Annotated[Sizes, Depends(sizes_form)],
    visit: Annotated[str, Form(max_length=300)],
    label: Annotated[str, Form(max_length=200)],
    place: Annotated[str, Form(max_length=200)] = "",
    age: Annotated[str, Form(pattern="^(|young|grown)$")] = "",
    growth_form: Annotated[str, Form(max_length=60)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
    then: Annotated[str, Form(pattern="^(name|another)$")] = "name",
) -> Response:
    """Note a coral; the next page names it, or notes another one."""
    reach, observer = reach_of(request), observer_of(request)
    said: dict[str, Any] = {"label": label, "place": place, "age": age, "note": note}
    said |= {"visit": visit, "sizes": sizes, "growth_form": growth_form}
    try:
        with reach.writing(observer) as store:
            found = visit_of(store, visit)
            asked = NoteRequest(
                colony=label,
                observer=observer,
                visit=(found.site, found.date),
                growth_form=growth_form or None,
                is_juvenile={"young": True, "grown": False}.get(age),
                note=note,
                place=place,
                sizes=sizes,
                is_new=True,
            )
            row = note_record(store, taxa_of(reach), asked, wiring.clock().now_utc())
    except InputError as error:
        if "text/html" not in request.headers.get("accept", ""):
            raise
        return _form(request, said, error)
    if then == "name":
        return RedirectResponse(f"/corals/{row.record_id}/name", 303)
    onward = urlencode({"visit": visit, "place": row.place, "noted": row.colony})
    return RedirectResponse(f"/corals/new?{onward}", 303)
