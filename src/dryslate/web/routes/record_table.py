"""Every row that was noted, in one table, filtered and put in order by the database."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import HTMLResponse, StreamingResponse

from dryslate.app.record_table import COLUMNS, table_lines
from dryslate.app.survey_records import RowQuery
from dryslate.formats.table_csv import write_table_csv
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.record_words import (
    DESIGN_WORDS,
    FIELD_WORDS,
    HEALTH_FIELDS,
    KIND_WORDS,
    in_words,
)

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

router = APIRouter()
A_PAGE = 100
A_PIECE = 2000
Short = Annotated[str, Query(max_length=300)]
SHOWN = ("visit_id", "unit", "kind", "category", "name", "n", "longest_cm", "from_m")
"""Columns that the table can be put in order by."""


def query_of(  # noqa: PLR0913, PLR0917  one field of the form each
    visit: Short = "",
    unit: Annotated[str, Query(pattern="^([0-9a-f]{64})?$")] = "",
    design: Short = "",
    kind: Short = "",
    category: Short = "",
    observer: Short = "",
    words: Short = "",
    order: Short = "row_no",
    back: bool = False,
) -> RowQuery:
    """Read which rows are wanted."""
    return RowQuery(
        visit_id=visit,
        unit_id=unit,
        design=design,
        kind=kind,
        category=category,
        observer=observer,
        words=words,
        order=order,
        is_backwards=back,
    )


Wanted = Annotated[RowQuery, Depends(query_of)]


@router.get("/records/table", response_class=HTMLResponse)
def table(
    request: Request,
    wanted: Wanted,
    number: Annotated[int, Query(ge=1, le=1_000_000)] = 1,
) -> HTMLResponse:
    """Show a page of the rows that are wanted."""
    query = replace(wanted, first=(number - 1) * A_PAGE, most=A_PAGE)
    with reach_of(request).reading() as store:
        found, n_all = store.find_survey_rows(query)
        photos = {f.noted.row.photo_id for f in found if f.noted.row.photo_id}
        names = {one: _photo_name(store, one) for one in photos}
        is_part = request.headers.get("hx-request") == "true"
        shown = {} if is_part else _choices(request, store)
    shown |= {"found": found, "n_all": n_all, "number": number, "photos": names}
    shown |= {"n_pages": max(1, -(-n_all // A_PAGE)), "wanted": wanted, "health": HEALTH_FIELDS}
    shown |= {"labels": in_words(request, FIELD_WORDS), "kinds": in_words(request, KIND_WORDS)}
    shown |= {"shown": SHOWN, "address": lambda **more: address(wanted, **more)}
    template = "record_table_rows.html" if is_part else "record_table.html"
    return page(request, template, 200, **shown)


@router.get("/records/table.csv")
def download(request: Request, wanted: Wanted) -> StreamingResponse:
    """Return every row that is wanted, as CSV."""
    name = {"content-disposition": 'attachment; filename="records.csv"'}
    return StreamingResponse(_pieces(request, wanted), media_type="text/csv", headers=name)


def _pieces(request: Request, wanted: RowQuery) -> Iterator[bytes]:
    """Write the table piece by piece."""
    first = 0
    with reach_of(request).reading() as store:
        while True:
            found, n_all = store.find_survey_rows(replace(wanted, first=first, most=A_PIECE))
            data = write_table_csv(COLUMNS, table_lines(found))
            yield data if first == 0 else data.split(b"\n", 1)[1]
            first += A_PIECE
            if first >= n_all:
                return


def address(wanted: RowQuery, **more: Any) -> str:
    """Return the query of an address for rows, with what differs."""
    words = {
        "visit": wanted.visit_id,
        "unit": wanted.unit_id,
        "design": wanted.design,
        "kind": wanted.kind,
        "category": wanted.category,
        "observer": wanted.observer,
        "words": wanted.words,
        "order": "" if wanted.order == "row_no" else wanted.order,
        "back": "true" if wanted.is_backwards else "",
    }
    return urlencode({key: value for key, value in {**words, **more}.items() if value})


def _photo_name(store: SurveyStore, photo_id: str) -> str:
    """Return how a photo is called on its memory card."""
    photo = store.photo(photo_id)
    return photo.files[0].original_name if photo is not None else photo_id[:12]


def _choices(request: Request, store: SurveyStore) -> dict[str, Any]:
    """Return what can be chosen from."""
    return {
        "visits": store.visits(),
        "designs": in_words(request, DESIGN_WORDS),
        "categories": list(dict.fromkeys(c.category for c in store.categories())),
        "observers": [one.observer for one in store.observers()],
    }
