"""Rows of the genus tables: columns, words and numbers, with row and column in each message."""

from __future__ import annotations

import csv
import difflib
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

from dryslate.base.problems import Problem, Severity

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "version": ("version", "what"),
    "regions": ("region", "made_of", "words"),
    "characters": ("character", "question", "seen_with", "is_hard"),
    "character_states": ("character", "state", "words"),
    "genera": ("genus", "family", "group", "region"),
    "profiles": ("genus", "profile", "region", "share", "kinds", "source"),
    "states": ("genus", "region", "character", "state", "frequency", "source"),
    "measures": (
        *("genus", "region", "measure", "low", "usual_low", "usual_high", "high", "unit"),
        "source",
    ),
    "species": (
        *("species", "genus", "region", "corallite_width_min_mm", "corallite_width_max_mm"),
        *("growth_form", "source"),
    ),
    "lookalikes": ("genus_a", "genus_b", "how_to_tell", "characters", "source"),
    "checklist": ("region", "genus", "source"),
    "met": ("genus", "region", "met", "source"),
    "frequencies": ("region", "genus", "frequency", "source"),
}
"""Tables by name, with the columns that each must have; further columns are allowed."""


@dataclass(frozen=True, slots=True)
class Row:
    """
    One row of a table.

    Parameters
    ----------
    table : str
        Name of the file, for messages.
    line : int
        Line in the file, the first being 1.
    layer : int
        0 for the first table of its kind, 1 for one that adds to it, and so on.
    cells : Mapping of str to str
        By column, without blanks around.
    """

    table: str
    line: int
    layer: int
    cells: Mapping[str, str]

    def get(self, column: str) -> str:
        """Return a cell; empty where the table has no such column."""
        return self.cells.get(column, "")

    def words(self, column: str) -> tuple[str, ...]:
        """Return the words of a cell, parted by ``|``."""
        cell = self.cells.get(column, "")
        return tuple(w for w in (p.strip() for p in cell.split("|")) if w) if cell else ()

    @property
    def place(self) -> str:
        """File and line, for messages."""
        return f"{self.table}, line {self.line}"

    def problem(
        self, slug: str, column: str, message: str, fix: str, severity: Severity = "error"
    ) -> Problem:
        """Return a problem with the place of one cell."""
        at = self.place + (f", column {column}" if column else "")
        return Problem(slug=slug, severity=severity, place=at, message=message, fix=fix)


def table_of(name: str) -> str:
    """
    Return which table a file holds, by its name.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> table_of("taxa/states.csv")
    'states'
    """
    return name.replace("\\", "/").rsplit("/", 1)[-1].removesuffix(".csv")


def read_rows(name: str, text: str, layer: int, found: list[Problem]) -> list[Row]:
    """
    Read a table; lines that start with ``#`` are notes.

    Parameters
    ----------
    name : str
        Of the file.
    text : str
    layer : int
    found : list of Problem
        Problems are added to it: ``taxa-columns-missing``, ``taxa-row-broken``,
        ``taxa-cell-empty``.

    Returns
    -------
    list of Row
        Those that can be used.
    """
    numbered = [
        (n, line)
        for n, line in enumerate(text.removeprefix("\ufeff").splitlines(keepends=True), start=1)
        if line.strip() and not line.startswith("#")
    ]
    reader = csv.reader(line for _, line in numbered)
    try:
        header = [c.strip() for c in next(reader, [])]
    except csv.Error:
        header = []
    wanted = COLUMNS[table_of(name)]
    missing = [c for c in wanted if c not in header]
    if missing:
        found.append(
            Problem(
                slug="taxa-columns-missing",
                severity="error",
                place=f"{name}, line {numbered[0][0] if numbered else 1}",
                message=f"the header lacks {', '.join(missing)}; found {', '.join(header)}",
                fix=f"The first line must name at least: {','.join(wanted)}",
            )
        )
        return []
    rows: list[Row] = []
    try:
        for line, cells in _numbered_cells(reader, numbered):
            row = Row(name, line, layer, dict(zip(header, map(str.strip, cells), strict=False)))
            if len(cells) == len(header):
                rows.append(row)
                continue
            found.append(
                row.problem(
                    "taxa-row-broken",
                    header[min(len(cells), len(header)) - 1],
                    f"expected {len(header)} cells, found {len(cells)}",
                    "Put double quotes around a cell that holds a comma.",
                )
            )
    except csv.Error as error:
        line = numbered[min(reader.line_num, len(numbered)) - 1][0]
        found.append(
            Row(name, line, layer, {}).problem(
                "taxa-row-broken",
                "",
                f"the row cannot be read ({error}); it and what follows were left out",
                "Look for a double quote that is not closed.",
            )
        )
    return rows


def _numbered_cells(
    reader: Iterator[list[str]], numbered: list[tuple[int, str]]
) -> Iterator[tuple[int, list[str]]]:
    """Cells of each row with the line on which it begins."""
    before = getattr(reader, "line_num", 0)
    for cells in reader:
        yield numbered[before][0], cells
        before = getattr(reader, "line_num", 0)


@dataclass(frozen=True, slots=True)
class Checker:
    """
    Checks cells and collects what is wrong with them.

    Parameters
    ----------
    found : list of Problem
    """

    found: list[Problem]

    def filled(self, row: Row, *columns: str) -> bool:
        """Whether the columns hold something (``taxa-cell-empty``)."""
        empty = [c for c in columns if not row.get(c)]
        for column in empty:
            self.found.append(
                row.problem("taxa-cell-empty", column, "the cell is empty", "Fill it in.")
            )
        return not empty

    def known(self, row: Row, column: str, word: str, known: Collection[str], slug: str) -> bool:
        """Whether a word is one of the known ones; names the nearest where it is not."""
        if word in known:
            return True
        near = difflib.get_close_matches(word, list(known), n=3, cutoff=0.6)
        said = f"Nearest: {', '.join(near)}." if near else f"Known: {_some(known)}."
        self.found.append(row.problem(slug, column, f"{word!r} is not known", said))
        return False

    def number(self, row: Row, column: str, *, least: float = 0.0) -> float | None:
        """A number above `least`, or None (``taxa-number-broken``)."""
        try:
            value = float(row.get(column))
        except ValueError:
            value = math.nan
        if math.isfinite(value) and value > least:
            return value
        self.found.append(
            row.problem(
                "taxa-number-broken",
                column,
                f"expected a number above {least:g}, found {row.get(column)!r}",
                "Write it with a full stop as decimal mark, without a unit.",
            )
        )
        return None

    def once(
        self, rows: list[Row], key: Callable[[Row], object], slug: str, column: str
    ) -> Iterator[Row]:
        """Rows whose key comes first in its table; tells of the others."""
        first: dict[object, Row] = {}
        for row in rows:
            of_row = (row.table, key(row))
            if of_row in first:
                self.found.append(
                    row.problem(
                        slug,
                        column,
                        f"{row.get(column)!r} stands in line {first[of_row].line} already",
                        "Keep one of the two.",
                    )
                )
                continue
            first[of_row] = row
            yield row


def _some(known: Collection[str]) -> str:
    """At most twelve known words, for a message."""
    words = sorted(known)
    return ", ".join(words[:12]) + (f" and {len(words) - 12} more" if len(words) > 12 else "")
