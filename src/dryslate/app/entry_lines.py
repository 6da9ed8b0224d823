"""Lines typed into a grid: read and checked by what reads and checks imported tables."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.entry_columns import NONE_SEEN
from dryslate.app.entry_faults import LineFault, field_of, is_at_end
from dryslate.app.import_mapping import ROW_FIELDS, ImportMapping, read_cell
from dryslate.app.import_reading import RowMaker
from dryslate.app.survey_records import NotedRow
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.import_reading import ImportSource, Key
    from dryslate.base.problems import Problem

_POINT, _COMMA = ImportMapping(), ImportMapping(decimal=",")
_TEXTS = tuple(name for name in ROW_FIELDS if name not in ("kind", "photo"))


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedLine:
    """
    One line of a grid, as it was typed.

    Parameters
    ----------
    key : str
        The browser's mark of the line.
    kind : str
        What the row is.
    cells : Mapping
        Our field to what stands in its cell.
    row_no : int or None
        The row it is stored as; None where it is not.
    number : int
        Which line of the page it is, from 1.
    """

    key: str
    kind: str
    cells: Mapping[str, str]
    row_no: int | None = None
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedUnit:
    """
    The lines of a unit, read and checked.

    Parameters
    ----------
    rows : Mapping
        By the line's mark; a line that cannot be read has none.
    faults : tuple of LineFault
    """

    rows: Mapping[str, NotedRow] = field(default_factory=dict)
    faults: tuple[LineFault, ...] = ()

    @property
    def held(self) -> frozenset[str]:
        """Marks of the lines that are not stored as they stand."""
        return frozenset(fault.key for fault in self.faults if fault.holds_back)

    @property
    def is_whole(self) -> bool:
        """Tell whether nothing stands against the unit."""
        return not any(fault.problem.severity == "error" for fault in self.faults)


def typed_line(noted: NotedRow, number: int = 0) -> TypedLine:
    """Return a stored row as it would be typed."""
    row = noted.row
    cells = {name: _text(getattr(row, name)) for name in _TEXTS if getattr(row, name) is not None}
    cells["photo"] = row.photo_id or ""
    if row.kind == NONE_SEEN:
        cells[NONE_SEEN] = "yes"
    return TypedLine(
        key=f"r{noted.row_no}",
        kind="count" if row.kind == NONE_SEEN else row.kind,
        cells={name: text for name, text in cells.items() if text},
        row_no=noted.row_no,
        number=number,
    )


def _text(value: Any) -> str:
    """Write a value as it would be typed."""
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def in_order(rows: Iterable[NotedRow]) -> list[NotedRow]:
    """Put rows in the order of the tape or the cells, else in that in which they were stored."""

    def place(noted: NotedRow) -> tuple[str, float, float, int]:
        row = noted.row
        along = row.from_m if row.from_m is not None else row.at_m
        kind = "count" if row.kind == NONE_SEEN else row.kind
        return kind, float(row.cell or 0), along or 0.0, noted.row_no or 0

    return sorted(rows, key=place)


def check_lines(
    design: UnitDesign,
    key: Key,
    lines: Sequence[TypedLine],
    source: ImportSource,
    categories: Collection[str] | None,
) -> CheckedUnit:
    """
    Read and check the lines of a unit, all of them together.

    Parameters
    ----------
    design : UnitDesign
    key : tuple of str
        Site, date and unit.
    lines : sequence of TypedLine
    source : ImportSource
    categories : collection of str or None
        The list the unit uses.

    Returns
    -------
    CheckedUnit
    """
    maker = RowMaker(source)
    rows: dict[str, NotedRow] = {}
    faults: list[LineFault] = []
    unread: set[str] = set()
    for line in lines:
        place = f"line {line.key}"
        said, wrong = _read(line, place)
        problems: list[Problem] = []
        noted = maker.make(key, said, place, problems)
        found = [LineFault(key=line.key, field=_column(p), problem=p) for p in problems]
        faults += [*wrong, *found]
        if any(fault.problem.severity == "error" for fault in wrong):
            unread.add(line.key)
        if noted is not None:
            rows[line.key] = replace(noted, row_no=line.row_no)
    faults += _of_unit(design, key, rows, unread, categories)
    numbers = {line.key: line.number for line in lines}
    return CheckedUnit(rows=rows, faults=tuple(_placed(one, numbers) for one in faults))


def _read(line: TypedLine, place: str) -> tuple[dict[str, Any], list[LineFault]]:
    """Read the cells of a line; a number may be typed with a point or a comma."""
    is_none = bool(line.cells.get(NONE_SEEN, "").strip())
    said: dict[str, Any] = {"kind": NONE_SEEN if is_none else line.kind}
    faults = []
    for name, typed in line.cells.items():
        text = " ".join(typed.split())
        if name not in ROW_FIELDS or name == "kind":
            continue
        mapping = _COMMA if "," in text and "." not in text else _POINT
        value, problem = read_cell(name, text, mapping, f"{place}, column {name}")
        if problem is not None:
            faults.append(LineFault(key=line.key, field=name, problem=problem))
        if value is not None:
            said[name] = value
    return said, faults


def _column(problem: Problem) -> str:
    """Return the cell that a fault of reading names."""
    column = problem.place.partition(", column ")[2]
    if not column and "point" in problem.slug:
        return "x_px"
    return column or ("photo" if "photo" in problem.slug else "")


def _of_unit(
    design: UnitDesign,
    key: Key,
    rows: Mapping[str, NotedRow],
    unread: Collection[str],
    categories: Collection[str] | None,
) -> list[LineFault]:
    """Check the unit as an import does; a cell that could not be read is not told as blank too."""
    unit = key[2]
    checked = [replace(noted.row, place=f"line {k}") for k, noted in rows.items()]
    keys = {f"{unit}, line {k}": k for k in rows}
    last_of_cell = {noted.row.cell: k for k, noted in rows.items() if noted.row.kind == "cell"}
    found: dict[tuple[str, str, str], LineFault] = {}
    for problem in check_unit(design, checked, unit, categories):
        mark = keys.get(problem.place, "")
        if mark and problem.slug in _BLANKS and mark in unread:
            continue
        name = ""
        if mark:
            row: SurveyRow = rows[mark].row
            name = field_of(problem, row)
            mark = "" if is_at_end(problem, row) else mark
        elif problem.slug == "cell-sum":
            cell = int(problem.place.rpartition(" ")[2])
            mark, name = last_of_cell[cell], "cover_pct"
        fault = LineFault(key=mark, field=name if mark else "", problem=problem)
        found[mark, name, problem.slug + ("" if mark else problem.message)] = fault
    return list(found.values())


_BLANKS = ("row-blank", "intercept-order", "row-health-blank", "cell-not-in-quadrat")


def _placed(fault: LineFault, numbers: Mapping[str, int]) -> LineFault:
    """Name a line by its number on the page."""
    place = f"line {numbers[fault.key]}" if fault.key else ""
    return replace(fault, problem=replace(fault.problem, place=place))


def running_sums(design: UnitDesign, rows: Iterable[SurveyRow]) -> dict[str, float]:
    """
    Add up what is noted so far.

    Returns
    -------
    dict
        ``noted`` and, where the design tells, ``of`` (metres of tape, points, cells);
        ``unreadable``, ``counted`` and ``colonies``.
    """
    sums: dict[str, float] = defaultdict(float)
    cells: set[int] = set()
    for row in rows:
        amount = 0.0
        if row.kind == "intercept":
            amount = max(0.0, (row.to_m or 0.0) - (row.from_m or 0.0))
        elif row.kind == "point":
            amount = 1.0
        elif row.kind == "cell" and row.cell is not None and row.cell not in cells:
            cells.add(row.cell)
            amount = 1.0
        elif row.kind == "count":
            sums["counted"] += row.n or 0
        elif row.kind == "colony":
            sums["colonies"] += 1 if row.n is None else row.n
        sums["noted"] += amount
        if row.unreadable:
            sums["unreadable"] += amount
    of = {
        "line_intercept": design.length_m,
        "point_intercept": design.n_points_expected,
        "quadrat_cells": design.n_cells,
    }.get(design.design)
    if of is not None:
        sums["of"] = float(of)
    return dict(sums)
