"""A table of confusions from outside (CSV): how often each true name is read as each name."""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from dataclasses import dataclass

from dryslate.base.errors import FormatError

COUNTED, SHARED = ("true", "read", "n"), ("true", "read", "share")


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfusionTable:
    """
    How often each true name is read as each name.

    Parameters
    ----------
    names : tuple of str
    rows : tuple of tuple of float
        Chance of being read as each name (columns), given the true one (rows).
    checked : tuple of float, or None
        Corals behind each row; None where shares were given without.
    source : str
        The notes at the head of the file.
    """

    names: tuple[str, ...]
    rows: tuple[tuple[float, ...], ...]
    checked: tuple[float, ...] | None
    source: str = ""


def parse_confusions(text: str, place: str) -> ConfusionTable:
    r"""
    Read a table of confusions.

    Parameters
    ----------
    text : str
        CSV with the columns true, read and n (corals checked), or true, read and share; lines that
        begin with ``#`` are notes and say where the table is from.
    place : str
        The file, for messages.

    Returns
    -------
    ConfusionTable

    Raises
    ------
    FormatError
        ``confusion-table-broken`` with the line: a column is missing, a cell is no number, a pair
        stands twice, a true name was never checked, or its shares do not add up to 1.

    Examples
    --------
    >>> found = parse_confusions("true,read,n\nA,A,8\nA,B,2\nB,B,10\n", "t.csv")
    >>> found.names, found.rows, found.checked
    (('A', 'B'), ((0.8, 0.2), (0.0, 1.0)), (10.0, 10.0))
    """
    lines = text.removeprefix("\ufeff").splitlines()
    notes = [line.lstrip("# ").strip() for line in lines if line.startswith("#")]
    body = [(k, line) for k, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    columns = tuple(c.strip() for c in body[0][1].split(",")) if body else ()
    if columns not in (COUNTED, SHARED):
        raise _broken(place, body[0][0] if body else 1, "expected the columns true, read, n")
    found: dict[str, dict[str, float]] = defaultdict(dict)
    for number, line in body[1:]:
        cells = [c.strip() for c in next(csv.reader([line]))]
        if len(cells) != len(columns) or not cells[0] or not cells[1]:
            raise _broken(place, number, f"expected {', '.join(columns)}, found {line.strip()!r}")
        if cells[1] in found[cells[0]]:
            raise _broken(place, number, f"{cells[0]} read as {cells[1]} stands twice")
        found[cells[0]][cells[1]] = _amount(cells[2], place, number)
    names = tuple(sorted({*found, *(read for row in found.values() for read in row)}))
    is_counted = columns == COUNTED
    rows, checked = [], []
    for name in names:
        row = [found.get(name, {}).get(read, 0.0) for read in names]
        total = math.fsum(row)
        if total <= 0 or (not is_counted and abs(total - 1) > 1e-6):
            told = f"the shares of {name} add up to {total:g}, not to 1"
            raise _broken(place, 0, told if found.get(name) else f"{name} was never checked")
        rows.append(tuple(value / total for value in row))
        checked.append(total)
    return ConfusionTable(
        names=names,
        rows=tuple(rows),
        checked=tuple(checked) if is_counted else None,
        source=" ".join(notes),
    )


def _amount(text: str, place: str, number: int) -> float:
    """A number of 0 or more."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 <= value < math.inf:
        raise _broken(place, number, f"expected a number of 0 or more, found {text!r}")
    return value


def _broken(place: str, number: int, told: str) -> FormatError:
    """The error, with its place."""
    at = f"{place}, line {number}" if number else place
    return FormatError(
        "confusion-table-broken", f"{at}: {told}.", "Put the table right; it was not used."
    )
