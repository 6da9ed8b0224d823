"""Tables of text with a heading: read from CSV with the place of each cell, and written."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem

DIVIDERS = ",;\t"
_ROWS_AT_ONCE = 1000
_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


class NumberText(str):
    """A number that a workbook holds as one, with a point: its tables' decimal sign is of texts."""

    __slots__ = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """
    A table as it was read: every cell is text, trimmed.

    Parameters
    ----------
    name : str
        How messages call it: the file, and the sheet where it has several.
    columns : tuple of str
    rows : tuple of (int, tuple of str)
        Number of the row as a spreadsheet counts (the heading is 1), and its cells.
    problems : tuple of Problem
        Cells and rows that could not be read; none of their values is in `rows`.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    problems: tuple[Problem, ...] = field(default=())


def read_table_csv(data: bytes, name: str) -> Table:
    """
    Read a table from CSV: UTF-8, divided by comma, semicolon or tab.

    Parameters
    ----------
    data : bytes
    name : str
        For messages.

    Returns
    -------
    Table

    Raises
    ------
    InputError
        ``table-not-utf8``, ``table-empty``, ``table-column-twice``.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            "table-not-utf8",
            f"{name}, row {line}: not UTF-8.",
            "Save the file as CSV UTF-8.",
        ) from error
    first = next((line for line in text.splitlines() if line.strip()), "")
    divider = max(DIVIDERS, key=first.count)
    lines = list(csv.reader(io.StringIO(text), delimiter=divider))
    return table_of(name, [(k, cells) for k, cells in enumerate(lines, start=1)])


def table_of(
    name: str, lines: Sequence[tuple[int, Sequence[str]]], problems: Sequence[Problem] = ()
) -> Table:
    """
    Make a table of numbered lines of cells, the first that is not empty being its heading.

    Raises
    ------
    InputError
        ``table-empty``, ``table-column-twice``.
    """
    kept = [
        (k, [cell if isinstance(cell, NumberText) else cell.strip() for cell in cells])
        for k, cells in lines
    ]
    kept = [(k, cells) for k, cells in kept if any(cells)]
    if not kept:
        raise InputError("table-empty", f"{name}: the table is empty.")
    heading = kept[0][1]
    while heading and not heading[-1]:
        heading.pop()
    twice = sorted({c for c in heading if c and heading.count(c) > 1})
    if twice:
        raise InputError(
            "table-column-twice",
            f"{name}: two columns are called {', '.join(twice)}.",
            "Give each column a name of its own.",
        )
    found, rows = list(problems), []
    for k, cells in kept[1:]:
        over = [cell for cell in cells[len(heading) :] if cell]
        if over:
            found.append(
                Problem(
                    slug="table-row-long",
                    severity="error",
                    place=f"{name}, row {k}",
                    message=f"{len(cells)} cells under {len(heading)} columns",
                    fix="A comma inside a cell needs quotes around the cell.",
                )
            )
            continue
        rows.append((k, tuple([*cells, *[""] * len(heading)][: len(heading)])))
    return Table(name=name, columns=tuple(heading), rows=tuple(rows), problems=tuple(found))


def write_table_csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """
    Write a table as CSV, UTF-8 with a mark that spreadsheets need to see it.

    A cell of text that a spreadsheet would run as a formula begins with an apostrophe.
    """
    return b"".join(table_csv_parts(columns, rows))


def table_csv_parts(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[bytes]:
    """Write a table as `write_table_csv` does, some thousand rows after the other."""
    left = itertools.chain([columns], rows)
    mark = b"\xef\xbb\xbf"
    while some := list(itertools.islice(left, _ROWS_AT_ONCE)):
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerows(
            [_safe(cell) if isinstance(cell, str) else cell for cell in row] for row in some
        )
        yield mark + out.getvalue().encode("utf-8")
        mark = b""


def _safe(cell: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    if cell.startswith(_STARTS_FORMULA) and not _is_number(cell):
        return f"'{cell}"
    return cell


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
