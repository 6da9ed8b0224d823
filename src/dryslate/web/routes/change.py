"""Change between visits: what changed, what could have been seen, and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import HTMLResponse, Response

from dryslate.app.result_panels import KINDS, SUBJECTS
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import problem_of
from dryslate.web.change_asked import ChangeForm, change_form, changes_for, units_of
from dryslate.web.change_view import (
    WAYS,
    figure_said,
    place_said,
    shown_change,
    shown_panel,
    trail_key,
)
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.record_words import in_words
from dryslate.web.result_view import (
    KIND_WORDS,
    SUBJECT_WORDS,
    usual_settings,
    where_words,
)

if TYPE_CHECKING:
    from dryslate.app.change import Changes
    from dryslate.app.change_rows import ChangeRow

router = APIRouter()
Asked = Annotated[ChangeForm, Depends(change_form)]
MOST_ROWS = 200
"""Rows of one unit that a trail shows; the page of the unit has all."""


@router.get("/change", response_class=HTMLResponse)
def change(request: Request, form: Asked) -> HTMLResponse:
    """Ask what is compared, and show it on the same page."""
    from dryslate.app.change_panels import change_panels

    shown: dict[str, Any] = {"problem": None, "panels": [], "found": None}
    with reach_of(request).reading() as store:
        units = units_of(request, store)
        form = form.settled(units)
        try:
            found = changes_for(request, units, form) if form.is_whole else None
        except DryslateError as error:
            found, shown["problem"] = None, problem_of(error, "")
    if found is not None:
        shown["found"] = found
        shown["panels"] = [
            shown_panel(request, panel, form.address()) for panel in change_panels(found.rows)
        ]
        shown["has_looks"] = any("names_as_noted" in row.flags for row in found.rows)
    return page(
        request,
        "change.html",
        form=form,
        sites=units.sites,
        names=form.names(units),
        ways=in_words(request, WAYS),
        subjects=[one for one in SUBJECTS if one in form.subjects(units)],
        kinds=KINDS,
        subject_words=in_words(request, SUBJECT_WORDS),
        kind_words=in_words(request, KIND_WORDS),
        table=form.query(),
        **shown,
    )


@router.get("/change/table.csv")
def table(request: Request, form: Asked) -> Response:
    """Return the same changes as a table."""
    from dryslate.app.change_rows import changes_table

    with reach_of(request).reading() as store:
        units = units_of(request, store)
        found = changes_for(request, units, form.settled(units))
    return Response(
        changes_table(found.rows),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="change.csv"'},
    )


@router.get("/change/trail", response_class=HTMLResponse)
def trail(
    request: Request, form: Asked, what: Annotated[list[str], Query(max_length=12)]
) -> HTMLResponse:
    """Show what one change rests on."""
    from dryslate.app.change_trail import MOST_UNITS, change_trail

    with reach_of(request).reading() as store:
        units = units_of(request, store)
        form = form.settled(units)
        row = _row_of(changes_for(request, units, form), what)
        visits = change_trail(store, usual_settings(request).usual, units.lists, row)
        photos = {photo.photo_id: photo.files[0].original_name for photo in store.photos()}
    reach = max(abs(v) for v in (row.estimate, row.lo95, row.hi95, row.sees, 1e-9) if v is not None)
    return page(
        request,
        "change_trail.html",
        row=row,
        one=shown_change(request, row, reach, form.address()),
        title=figure_said(request, row.figure),
        place=place_said(request, row.site),
        where=where_words(request, row.zone, row.design),
        visits=visits,
        names=photos,
        most=MOST_ROWS,
        is_listed=len(row.unit_ids) <= MOST_UNITS,
        back=form.query(),
    )


def _row_of(found: Changes, what: Sequence[str]) -> ChangeRow:
    """Return the change that is meant."""
    row = next((one for one in found.rows if trail_key(one) == tuple(what)), None)
    if row is None:
        raise InputError(
            "change-unknown",
            "The records carry no such change.",
            "Look at the changes again: what was noted may have changed.",
        )
    return row
