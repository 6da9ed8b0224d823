"""Rows of a table of a Darwin Core archive, as its meta.xml says that they are divided."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import TextIO

from dryslate.formats.dwca_meta import MetaFile

_CHUNK = 1 << 16
LONGEST_ROW = 16 << 20
"""Signs of a row that nothing encloses; where the line end is another one, a file is one row."""
csv.field_size_limit(1 << 27)


class RowReader:
    """
    Yields the number of each row, as a text editor counts lines without enclosed breaks, and cells.

    Parameters
    ----------
    text : TextIO
        Opened with ``newline=""``.
    table : MetaFile
    """

    def __init__(self, text: TextIO, table: MetaFile) -> None:
        self._text, self._table = text, table

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        table = self._table
        if table.enclosed_by and len(table.fields_by) == 1:
            rows: Iterator[list[str]] = csv.reader(
                self._text, delimiter=table.fields_by, quotechar=table.enclosed_by[0]
            )
        else:
            rows = (line.split(table.fields_by) for line in self._lines())
        for number, cells in enumerate(rows, start=1):
            if number > table.n_header and any(cells):
                if number == 1 and cells[0].startswith("\ufeff"):
                    cells[0] = cells[0].removeprefix("\ufeff")
                yield number, cells

    def _lines(self) -> Iterator[str]:
        """Divide the text at the line end that meta.xml states; CR LF is taken for LF too."""
        end = self._table.lines_by or "\n"
        left = ""
        while chunk := self._text.read(_CHUNK):
            *whole, left = (left + chunk).split(end)
            if len(left) > LONGEST_ROW:
                raise csv.Error(f"longer than {LONGEST_ROW} signs; is the line end another one?")
            yield from (line.removesuffix("\r") for line in whole) if end == "\n" else whole
        if left:
            yield left
