"""Tables in workbooks of Office Open XML (ECMA-376): read cell by cell, and written."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.formats.table_csv import NumberText, Table, table_of

LARGEST_BYTES = 200 << 20
"""Workbooks that unpack to more are refused: a small file can unpack to gigabytes."""


def read_table_xlsx(data: bytes, name: str, sheet: str | None = None) -> Table:
    """
    Read one sheet of a workbook.

    Parameters
    ----------
    data : bytes
    name : str
        For messages.
    sheet : str, optional
        Which sheet; the first where not given.

    Returns
    -------
    Table
        Numbers and dates as ISO text. Merged cells and formulas are problems, each with its cell:
        which value they stand for cannot be told from the file alone.

    Raises
    ------
    InputError
        ``table-not-xlsx``, ``table-too-large``, ``table-no-sheet``, ``table-empty``,
        ``table-column-twice``.
    """
    return read_tables_xlsx(data, name, [sheet])[0]


def read_tables_xlsx(data: bytes, name: str, sheets: Sequence[str | None]) -> list[Table]:
    """Read several sheets of a workbook, opened once; as `read_table_xlsx`."""
    book = _open(data, name)
    missing = [sheet for sheet in sheets if sheet is not None and sheet not in book.sheetnames]
    if missing:
        there = ", ".join(book.sheetnames)
        raise InputError("table-no-sheet", f"{name}: no sheet {missing[0]!r} (there: {there}).")
    return [_table(book, name, sheet) for sheet in sheets]


def _table(book: Any, name: str, sheet: str | None) -> Table:
    """Read one sheet."""
    names = book.sheetnames
    page: Any = book[sheet or names[0]]
    called = f"{name}, sheet {page.title}" if len(names) > 1 else name
    problems = [
        _problem("table-merged", called, str(area), "cells are joined")
        for area in page.merged_cells.ranges
    ]
    lines = []
    for k, cells in enumerate(page.iter_rows(), start=1):
        texts = []
        for cell in cells:
            if cell.data_type == "f":
                problems.append(_problem("table-formula", called, cell.coordinate, "a formula"))
                texts.append("")
            else:
                texts.append(_text(cell.value))
        lines.append((k, texts))
    return table_of(called, lines, problems)


def sheet_names(data: bytes, name: str) -> tuple[str, ...]:
    """Return the names of a workbook's sheets; raises as `read_table_xlsx` does."""
    return tuple(_open(data, name, is_head_only=True).sheetnames)


def _open(data: bytes, name: str, *, is_head_only: bool = False) -> Any:
    """Open a workbook, or only what it says of its sheets; unless it is none or too much."""
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > LARGEST_BYTES:
            raise InputError(
                "table-too-large",
                f"{name}: unpacks to {unpacked >> 20} MB (at most {LARGEST_BYTES >> 20}).",
                "Save the sheet as CSV.",
            )
        return load_workbook(
            io.BytesIO(data), data_only=False, keep_links=False, read_only=is_head_only
        )
    except InputError:
        raise
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError) as error:
        raise InputError(
            "table-not-xlsx", f"{name}: no workbook (XLSX).", "Save it as XLSX or as CSV UTF-8."
        ) from error


def _problem(slug: str, called: str, cell: str, what: str) -> Problem:
    fix = "Paste the values into single cells, and save again."
    return Problem(
        slug=slug, severity="error", place=f"{called}, cell {cell}", message=what, fix=fix
    )


def _text(value: object) -> str:
    """Return a cell's value as text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() else NumberText(repr(value))
    if isinstance(value, datetime.datetime):
        is_day = value.time() == datetime.time()
        return value.date().isoformat() if is_day else value.isoformat()
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    return str(value)


def write_table_xlsx(
    sheets: Mapping[str, tuple[Sequence[str], Iterable[Sequence[object]]]],
) -> bytes:
    """Write sheets with their columns and rows as a workbook; text is never a formula."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    for title, (columns, rows) in sheets.items():
        page = book.create_sheet(title)
        page.append(list(columns))
        for row in rows:
            cells = []
            for value in row:
                cell = WriteOnlyCell(page, value=value)  # type: ignore[arg-type]
                if isinstance(value, str):
                    cell.data_type = "s"
                cells.append(cell)
            page.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
