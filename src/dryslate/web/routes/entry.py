"""Typing what was noted in a unit: how it was sampled, then line after line, checked as typed."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app.category_list import newest_version
from dryslate.app.entry_columns import SECTIONS
from dryslate.app.entry_design import read_design, save_design
from dryslate.app.entry_lines import TypedLine
from dryslate.app.entry_unit import (
    EntrySheet,
    LinesToSave,
    check_sheet,
    entry_sheet,
    require_stated,
    save_lines,
)
from dryslate.app.import_template import DESIGN_FIELDS
from dryslate.app.sheet_paper import papers_of
from dryslate.base.errors import DryslateError, InputError
from dryslate.web.entry_desk import (
    checked_json,
    choices,
    lines_json,
    sections,
    source_of,
    tools_of,
)
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of, session_of
from dryslate.web.record_words import (
    CHOICE_WORDS,
    DESIGN_NOTES,
    DESIGN_WORDS,
    FIELD_WORDS,
    in_words,
    plainly,
)
from dryslate.web.routes.unit import UnitId

router = APIRouter()
Mark = Annotated[str, Field(pattern="^[0-9a-z]{1,40}$")]
Word = Annotated[str, Field(max_length=40)]
MOST_LINES = 5_000
TAPES = ("line_intercept", "point_intercept")


class LineBody(BaseModel):
    """One line as it stands in the grid."""

    key: Mark
    kind: Literal["intercept", "point", "cell", "count", "colony"]
    cells: dict[Word, Annotated[str, Field(max_length=2000)]] = Field(max_length=40)
    row_no: int | None = Field(None, ge=1, lt=1 << 53)
    number: int = Field(0, ge=0, le=1_000_000)

    def typed(self) -> TypedLine:
        """Return it as the use case takes it."""
        return TypedLine(
            key=self.key,
            kind=self.kind,
            cells=self.cells,
            row_no=self.row_no,
            number=self.number,
        )


class CheckBody(BaseModel):
    """Every line of the page."""

    lines: list[LineBody] = Field(max_length=MOST_LINES)


class SaveBody(CheckBody):
    """New and changed lines, and rows to take out."""

    batch: str = Field(pattern="^[0-9a-f]{32}$")
    seal: str = Field(pattern="^[0-9a-f]{32}$")
    gone: list[Annotated[int, Field(ge=1, lt=1 << 53)]] = Field([], max_length=MOST_LINES)


@router.get("/records/units/{unit_id}", response_class=HTMLResponse)
def unit_entry(
    request: Request, unit_id: UnitId, design: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    """Show how a unit was sampled, and its lines to type; to who may only look, its table."""
    if not session_of(request).may("surveyor"):
        return RedirectResponse(f"/records/table?unit={unit_id}", 303)
    return entry_page(request, unit_id, design)


async def typed_form(request: Request) -> dict[str, str]:
    """Return the fields of a form, cut to a sensible length."""
    form = await request.form(max_fields=60)
    return {key: str(value)[:2000] for key, value in form.items()}


Typed = Annotated[dict[str, str], Depends(typed_form)]


@router.post("/records/units/{unit_id}/design")
def state_design(request: Request, unit_id: UnitId, typed: Typed) -> Response:
    """Store how a unit was sampled; the form comes back where something is wrong with it."""
    return _stated(request, unit_id, typed)


@router.post("/records/units/{unit_id}/design/check", response_class=HTMLResponse)
def check_design(request: Request, unit_id: UnitId, typed: Typed) -> HTMLResponse:
    """Say what is wrong with how a unit was sampled, while it is typed."""
    with reach_of(request).reading() as store:
        sheet = entry_sheet(store, unit_id, tools_of(reach_of(request)).usual)
        source = source_of(request, store)
    _, problems = read_design(typed.get("design", ""), typed, sheet.key[2], source)
    return page(request, "entry_design_faults.html", faults=[plainly(request, p) for p in problems])


@router.post("/records/units/{unit_id}/check")
def check(request: Request, unit_id: UnitId, body: CheckBody) -> dict[str, Any]:
    """Say at which cell what is wrong, and what is noted so far; nothing is stored."""
    reach, lines = reach_of(request), [line.typed() for line in body.lines]
    with reach.reading() as store:
        sheet = entry_sheet(store, unit_id, tools_of(reach).usual)
        checked = check_sheet(sheet, lines, source_of(request, store, lines))
    return checked_json(request, sheet, checked)


@router.post("/records/units/{unit_id}/lines")
def save(request: Request, unit_id: UnitId, body: SaveBody) -> dict[str, Any]:
    """Store lines; a batch that was stored already is answered as it was then."""
    reach = reach_of(request)
    lines = tuple(line.typed() for line in body.lines)
    wanted = LinesToSave(batch_id=body.batch, seal=body.seal, lines=lines, gone=tuple(body.gone))
    with reach.writing(observer_of(request)) as store:
        stored = entry_sheet(store, unit_id, tools_of(reach).usual).lines
        source = source_of(request, store, (*stored, *lines))
        done = save_lines(store, unit_id, wanted, source, tools_of(reach).usual)
    return {"row_nos": dict(done.row_nos), "seal": done.seal, "held": sorted(done.held)}


@router.get("/records/units/{unit_id}/lines")
def stored_lines(request: Request, unit_id: UnitId) -> dict[str, Any]:
    """Return what is stored now, for a page that learns that somebody else was quicker."""
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = entry_sheet(store, unit_id, tools_of(reach).usual)
    return {"seal": sheet.seal, "lines": lines_json(sheet.lines, sheet.rows)}


def _stated(request: Request, unit_id: str, typed: dict[str, str]) -> Response:
    """Store how a unit was sampled where nothing stands against it."""
    observer, usual = observer_of(request), tools_of(reach_of(request)).usual
    name = typed.get("design", "")
    try:
        with reach_of(request).writing(observer) as store:
            sheet, source = entry_sheet(store, unit_id, usual), source_of(request, store)
            found, problems = read_design(name, typed, sheet.key[2], source)
            if found is None or any(p.severity == "error" for p in problems):
                return entry_page(request, unit_id, name, typed, problems)
            save_design(store, sheet, found, (source.observer, source.at), usual)
    except InputError as error:
        if error.slug != "unit-design-has-rows":
            raise
        return entry_page(request, unit_id, "", None, (), error)
    way = "points" if name == "photo_points" else "units"
    return RedirectResponse(f"/records/{way}/{unit_id}", 303)


def entry_page(
    request: Request,
    unit_id: str,
    design: str = "",
    typed: dict[str, str] | None = None,
    problems: Any = (),
    error: DryslateError | None = None,
) -> HTMLResponse:
    """Show the page of a unit; with what was typed where it was refused."""
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = entry_sheet(store, unit_id, tools_of(reach).usual)
        visit = next(v for v in store.visits() if v.visit_id == sheet.unit.visit_id)
        region = store.region()
        newest = newest_version(store)
        papers = papers_of(store, unit_id)
    stated = sheet.stated
    shown: dict[str, Any] = {"sheet": sheet, "visit": visit, "newest": newest, "papers": papers}
    chosen = stated.design.design if stated is not None and not design else design
    chosen = chosen if chosen in DESIGN_WORDS else ""
    shown |= {"chosen": chosen, "fields": DESIGN_FIELDS.get(chosen, ())}
    shown["usual"] = {one.definition for one in tools_of(reach).usual}
    shown["said"] = typed or _said(sheet, chosen)
    shown["faults"] = [plainly(request, p) for p in problems]
    shown["problem"] = problem_of_error(error) if error is not None else None
    shown["is_asking"] = stated is None or bool(design) or bool(problems) or error is not None
    shown |= {"designs": in_words(request, DESIGN_WORDS), "notes": in_words(request, DESIGN_NOTES)}
    shown["labels"] = in_words(request, FIELD_WORDS)
    shown["choice_words"] = {k: in_words(request, words) for k, words in CHOICE_WORDS.items()}
    shown["start"] = _start(request, sheet, region) if stated is not None else None
    status = 422 if problems else 200 if error is None else status_of(error)
    return page(request, "entry.html", status, **shown)


def _said(sheet: EntrySheet, chosen: str) -> dict[str, str]:
    """Return what the form begins with: what is stored, or nothing."""
    if sheet.stated is None or sheet.stated.design.design != chosen:
        return {}
    found = {}
    for name, value in sheet.stated.design.as_dict().items():
        if isinstance(value, bool):
            found[name] = "yes" if value else "no"
        elif isinstance(value, list):
            found[name] = "; ".join(value)
        elif value is not None:
            found[name] = f"{value:.10g}" if isinstance(value, float) else str(value)
    return found


def _start(request: Request, sheet: EntrySheet, region: str | None) -> dict[str, Any]:
    """Return what the page's script begins with."""
    design = require_stated(sheet).design.design
    return {
        "unit": sheet.unit.unit_id,
        "observer": session_of(request).observer,
        "seal": sheet.seal,
        "sections": sections(request, sheet),
        "end_m": _tape_end(sheet),
        "lines": lines_json(sheet.lines, sheet.rows) if SECTIONS[design] else [],
        "choices": choices(request, sheet, region),
    }


def _tape_end(sheet: EntrySheet) -> float | None:
    """Return where the tape of a unit ends, in metres; no line begins beyond."""
    if sheet.stated is None or sheet.stated.design.design not in TAPES:
        return None
    return sheet.stated.design.length_m
