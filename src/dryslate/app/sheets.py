"""Print sheets for the dive: what stands on each page, its number, and keeping what was printed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.sheet_questions import colony_questions
from dryslate.app.sheet_records import PrintedSheet
from dryslate.app.sheet_request import DESIGN_OF, SheetRequest, head_fields, require_request
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.core.sheet.colony_layout import split_questions
from dryslate.core.sheet.columns import COUNTED, TAPED
from dryslate.core.sheet.layout import count_rows, lay_out
from dryslate.core.sheet.number import is_sheet_number, sheet_number
from dryslate.core.sheet.page import (
    LAYOUT_VERSION,
    SheetContent,
    SheetPage,
    SheetQuestion,
    content_to_dict,
)
from dryslate.core.survey.designs import UnitDesign

if TYPE_CHECKING:
    from dryslate.app.ports import DocumentWriter, ReferenceTables, SurveyStore

Words = Callable[[str], str]
_UNIT_KINDS = {
    "line_intercept": "transect",
    "point_intercept": "transect",
    "belt": "transect",
    "quadrat_counts": "quadrat",
    "quadrat_cells": "quadrat",
    "photo_points": "photo_station",
    "timed_swim": "timed_swim",
    "permanent_plot": "permanent_plot",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetBench:
    """
    What printing sheets works with.

    Parameters
    ----------
    tables : ReferenceTables
    documents : DocumentWriter
    words : callable
        Puts an English text into the sheets' language.
    store : SurveyStore or None
        Of the project that keeps what was printed; None: nothing is kept.
    observer, now : str
        Who prints, and when.
    """

    tables: ReferenceTables
    documents: DocumentWriter
    words: Words
    store: SurveyStore | None = None
    observer: str = ""
    now: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A document of sheets, with the pages in it."""

    pdf: bytes
    pages: tuple[SheetPage, ...]
    units: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return what was printed as plain values, for JSON."""
        return {
            "n_pages": len(self.pages),
            "sheets": [
                {"sheet_id": page.sheet_id, "kind": page.kind, "unit": unit, "paper": page.paper}
                for page, unit in zip(self.pages, self.units, strict=True)
            ],
        }


def print_sheets(request: SheetRequest, bench: SheetBench) -> Printed:
    """
    Make the PDF of sheets, and keep in the project what was printed.

    Parameters
    ----------
    request : SheetRequest
    bench : SheetBench
        Its store, where there is one, open for writing.

    Returns
    -------
    Printed
        The same request gives the same bytes without a project; in a project each print has
        numbers of its own.

    Raises
    ------
    InputError
        Those of `require_request` and of `require_observer`; ``sheet-visit-unknown``,
        ``sheet-number-wrong``.
    SettingsError
        ``paper-unknown``.
    """
    require_request(request)
    observer = require_observer(bench.store, bench.observer) if bench.store is not None else ""
    asked = _with_visit(request, bench.store)
    region = asked.region or (bench.store.region() if bench.store is not None else None)
    contents = tuple(make_contents(asked, bench, region))
    before = bench.store.printed_sheets() if bench.store is not None else ()
    run = f"{asked.series}, print {len(before)}"
    numbers = number_sheets(contents, run, {sheet.sheet_id for sheet in before})
    pages = tuple(lay_out(c, n, bench.words) for c, n in zip(contents, numbers, strict=True))
    pdf = bench.documents.sheet_pdf(pages, asked.language)
    units = tuple(unit_of(content) for content in contents)
    if bench.store is not None:
        bench.store.save_printed_sheets(
            PrintedSheet(
                sheet_id=number,
                kind=content.kind,
                layout_version=LAYOUT_VERSION,
                unit=unit_of(content),
                language=asked.language,
                content=content,
                observer=observer,
                printed_at=bench.now,
            )
            for number, content in zip(numbers, contents, strict=True)
        )
    return Printed(pdf=pdf, pages=pages, units=units)


def unit_of(content: SheetContent) -> str:
    """Return the unit or tag that is printed on a page."""
    return content.preset.get("unit") or content.preset.get("colony") or ""


def number_sheets(contents: Sequence[SheetContent], run: str, taken: set[str]) -> tuple[str, ...]:
    """Give each page a number that no other page of the project has."""
    numbers: list[str] = []
    for place, content in enumerate(contents):
        said = json.dumps([content_to_dict(content), run, place], sort_keys=True)
        number = sheet_number(said)
        while number in taken or number in numbers:
            said += "+"
            number = sheet_number(said)
        numbers.append(number)
    return tuple(numbers)


def _with_visit(request: SheetRequest, store: SurveyStore | None) -> SheetRequest:
    """Return a request with site, date and units of its visit."""
    if store is None or not request.visit_id:
        return request
    visit = next((v for v in store.visits() if v.visit_id == request.visit_id), None)
    if visit is None:
        raise InputError(
            "sheet-visit-unknown",
            f"No visit {request.visit_id!r} in the project.",
            "Name a site and its date as the project has them, or leave the visit out.",
        )
    preset = {"site": visit.site, "date": visit.date, **request.preset}
    kind = _UNIT_KINDS.get(request.kind)
    units = request.units or tuple(
        unit.name for unit in store.units(visit.visit_id) if unit.name and unit.kind == kind
    )
    return replace(request, preset=preset, units=units)


def make_contents(
    request: SheetRequest, bench: SheetBench, region: str | None
) -> Iterator[SheetContent]:
    """Yield what stands on each page, unit after unit."""
    questions: tuple[SheetQuestion, ...] = ()
    if request.kind == "tagged_colony":
        questions = colony_questions(bench.tables, region)
    for unit in request.units or ("",):
        key = "colony" if request.kind == "tagged_colony" else "unit"
        known = _stated_before(request, unit, bench.store)
        preset = {**known, **request.preset, **({key: unit} if unit else {})}
        first = SheetContent(
            kind=request.kind,
            paper=request.paper,
            preset=preset,
            is_counts_only=request.is_counts_only,
            questions=questions,
        )
        pages = _colony_pages(first) if key == "colony" else _unit_pages(first, request.n_pages)
        found = list(pages)
        for page_no, content in enumerate(found, 1):
            yield replace(content, page_no=page_no, n_pages=len(found))


def _stated_before(request: SheetRequest, unit: str, store: SurveyStore | None) -> dict[str, str]:
    """What the project says of a unit of this name at the site, where the place is permanent."""
    site = request.preset.get("site")
    if store is None or not unit or not site:
        return {}
    named = {u.unit_id: u for u in store.units() if u.name == unit}
    visits = {v.visit_id: v for v in store.visits() if v.site == site}
    stated = [
        s
        for s in store.unit_designs()
        if s.unit_id in named
        and named[s.unit_id].visit_id in visits
        and s.design.is_permanent
        and s.design.design == DESIGN_OF.get(request.kind)
    ]
    if not stated:
        return {}
    last = max(stated, key=lambda s: visits[named[s.unit_id].visit_id].date)
    zone = named[last.unit_id].zone
    said = design_words(last.design) | ({"zone": zone} if zone else {})
    return {name: text for name, text in said.items() if name in head_fields(request.kind)}


def design_words(design: UnitDesign) -> dict[str, str]:
    """Return what is stated of a design as it is written into a sheet."""
    said = {
        name: f"{value:g}" if isinstance(value, float) else str(value)
        for name, value in design.as_dict().items()
        if value is not None and name not in ("design", "is_permanent", "searched")
    }
    said["is_permanent"] = "yes" if design.is_permanent else "no"
    if design.searched:
        said["searched"] = "; ".join(design.searched)
    return said


def _colony_pages(first: SheetContent) -> Iterator[SheetContent]:
    """The front of a colony's sheet, then its questions."""
    yield replace(first, questions=())
    for some in split_questions(first.questions, first.paper):
        yield replace(first, part="characters", questions=some)


def _unit_pages(first: SheetContent, n_pages: int) -> Iterator[SheetContent]:
    """Pages of rows of a unit, as many as asked for and as its printed rows need."""
    rows = tuple(printed_rows(first))
    further = replace(first, part="further")
    capacity = count_rows(first)
    yield replace(first, rows=rows[:capacity])
    rows = rows[capacity:]
    n_more = n_pages - (1 if capacity else 0)
    step = count_rows(further)
    while n_more > 0 or rows:
        yield replace(further, rows=rows[:step])
        rows, n_more = rows[step:], n_more - 1
    if first.kind in TAPED:
        yield replace(first, part="colonies")


def printed_rows(content: SheetContent) -> Iterator[dict[str, str]]:
    """Yield what is printed in the rows: points along the tape, cells, names searched for."""
    preset = content.preset
    if content.kind == "point_intercept":
        length, spacing = _number(preset, "length_m"), _number(preset, "spacing_m")
        if length > 0 and spacing > 0:
            for k in range(1, min(int(length / spacing + 1e-9), 2000) + 1):
                yield {"at_m": f"{k * spacing:g}"}
    elif content.kind == "quadrat_cells":
        for k in range(1, min(int(_number(preset, "n_cells")), 2000) + 1):
            yield {"cell": str(k)}
    elif content.kind in COUNTED:
        for name in preset.get("searched", "").split(";"):
            if name.strip():
                yield {"name": name.strip()}


def _number(preset: Mapping[str, str], name: str) -> float:
    """Return a number of the head; 0 where there is none, a problem where it is not one."""
    text = preset.get(name, "").strip()
    try:
        value = float(text.replace(",", ".") or "0")
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e6:
        raise InputError(
            "sheet-number-wrong",
            f"{name}: {text!r} is no number that can be laid out.",
            "Write a number above 0, or leave it out.",
        )
    return value


def find_printed(sheets: Iterable[PrintedSheet], number: str) -> PrintedSheet:
    """
    Find a printed page by its number.

    Parameters
    ----------
    sheets : iterable of PrintedSheet
    number : str
        Twelve digits, with or without gaps.

    Raises
    ------
    InputError
        ``sheet-number-mistyped`` where the check digits are wrong, ``sheet-unknown``.
    """
    digits = "".join(number.split())
    if not is_sheet_number(digits):
        raise InputError(
            "sheet-number-mistyped",
            f"{number!r} is no number of a sheet.",
            "It has twelve digits, of which the last two are a check. Read it again.",
        )
    for sheet in sheets:
        if sheet.sheet_id == digits:
            return sheet
    raise InputError(
        "sheet-unknown",
        f"No sheet {number} was printed for this project.",
        "Was it printed for another project, or without one?",
    )


def page_of(sheet: PrintedSheet, words: Words = str) -> SheetPage:
    """
    Return the geometry of a printed page.

    Raises
    ------
    InputError
        ``sheet-layout-other`` where another version of this program laid it out otherwise.
    """
    if sheet.layout_version != LAYOUT_VERSION:
        raise InputError(
            "sheet-layout-other",
            f"Sheet {sheet.sheet_id} was laid out in version {sheet.layout_version}, "
            f"this program lays out in version {LAYOUT_VERSION}.",
            "Type what stands on it, or read it with the version that printed it.",
        )
    return lay_out(sheet.content, sheet.sheet_id, words)
