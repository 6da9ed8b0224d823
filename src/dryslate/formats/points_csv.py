"""Picked points as text: one outline a file, one corallite a line, or a table for a project."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import get_args

from dryslate.base.errors import FormatError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.measure.off_plane import OffPlane, OffPlaneKind
from dryslate.core.measure.result import Kind

Points = tuple[tuple[float, float], ...]

COLUMNS = ("photo", "colony", "kind", "points")
FIX_POINTS = "Write points as X,Y with a full stop as decimal mark, in pixels of the upright photo."


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """
    One thing to measure, as a line of the table says.

    Parameters
    ----------
    row : int
        Line in the file, the header being 1.
    photo : str
        Name of the photo's file, its hash, or the hash's first digits.
    colony : str
        Name of the coral or control object.
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    points_px : tuple of tuple of float
        In pixels of the upright original.
    observer : str
        Who picked the points; empty where the table does not say.
    off_plane : OffPlane or None
        From the columns off_plane_mm and off_plane_mm_u, or card_stood; None where empty.
    """

    row: int
    photo: str
    colony: str
    kind: Kind
    points_px: Points
    observer: str = ""
    off_plane: OffPlane | None = None


def parse_point(text: str, place: str) -> tuple[float, float]:
    """
    Read one point.

    Parameters
    ----------
    text : str
        ``X,Y``.
    place : str
        For messages.

    Returns
    -------
    tuple of float

    Raises
    ------
    FormatError
        ``points-not-numbers`` unless it is two plain numbers.

    Examples
    --------
    >>> parse_point("12.5, 7", "here")
    (12.5, 7.0)
    """
    parts = text.split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 2 or not all(math.isfinite(v) for v in numbers):
        raise FormatError(
            "points-not-numbers", f"{place}: expected a point X,Y, found {text!r}.", FIX_POINTS
        )
    return numbers[0], numbers[1]


def parse_points(text: str, place: str) -> Points:
    """
    Read points from one cell: X,Y pairs set apart by blanks or semicolons.

    Parameters
    ----------
    text, place : str

    Returns
    -------
    tuple of tuple of float

    Raises
    ------
    FormatError
        As `parse_point`.

    Examples
    --------
    >>> parse_points("1,2 3,4; 5,6", "here")
    ((1.0, 2.0), (3.0, 4.0), (5.0, 6.0))
    """
    return tuple(parse_point(part, place) for part in text.replace(";", " ").split())


def _numbers_by_line(text: str, place: str, width: int) -> list[list[float]]:
    """Rows of exactly `width` numbers; a first line of names and blank lines are left out."""
    rows: list[list[float]] = []
    for line, cells in enumerate(csv.reader(io.StringIO(text.lstrip("\ufeff"))), start=1):
        filled = [cell.strip() for cell in cells if cell.strip()]
        if not filled or filled[0].startswith("#"):
            continue
        try:
            numbers = [float(cell) for cell in filled]
        except ValueError:
            if not rows and all(not _is_number(cell) for cell in filled):
                continue
            numbers = []
        if len(numbers) != width or not all(math.isfinite(v) for v in numbers):
            raise FormatError(
                "points-not-numbers",
                f"{place}, line {line}: expected {width} numbers, found {','.join(cells)!r}.",
                FIX_POINTS,
            )
        rows.append(numbers)
    return rows


def _is_number(cell: str) -> bool:
    """Tell whether a cell reads as a number."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


def parse_outline(text: str, place: str) -> Points:
    r"""
    Read an outline: one point X,Y a line, in order around the coral.

    Parameters
    ----------
    text, place : str
        A first line of names, blank lines and lines that start with # are left out.

    Returns
    -------
    tuple of tuple of float

    Raises
    ------
    FormatError
        ``points-not-numbers`` for a line that is not two numbers.

    Examples
    --------
    >>> parse_outline("x_px,y_px\n0,0\n9,0\n9,9\n", "rim.csv")
    ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))
    """
    return tuple((x, y) for x, y in _numbers_by_line(text, place, 2))


def parse_corallites(text: str, place: str) -> Points:
    r"""
    Read corallites: two points X1,Y1,X2,Y2 a line, on opposite sides of each.

    Parameters
    ----------
    text, place : str

    Returns
    -------
    tuple of tuple of float
        Two points a corallite, one after the other.

    Raises
    ------
    FormatError
        ``points-not-numbers`` for a line that is not four numbers.

    Examples
    --------
    >>> parse_corallites("1,1,5,1\n2,2,2,7\n", "cups.csv")
    ((1.0, 1.0), (5.0, 1.0), (2.0, 2.0), (2.0, 7.0))
    """
    rows = _numbers_by_line(text, place, 4)
    return tuple(point for row in rows for point in ((row[0], row[1]), (row[2], row[3])))


def parse_picks(text: str, place: str) -> tuple[tuple[Pick, ...], tuple[Problem, ...]]:
    """
    Read a table of things to measure in a project.

    Parameters
    ----------
    text : str
        CSV with the columns photo, colony, kind and points; observer, card_stood, off_plane_mm
        and off_plane_mm_u if wanted.
    place : str
        What to call the file in messages.

    Returns
    -------
    picks : tuple of Pick
        The lines that can be used.
    problems : tuple of Problem
        One for each line that cannot: ``points-row-incomplete``, ``points-kind-unknown``,
        ``points-off-plane-unclear`` or ``points-not-numbers``.

    Raises
    ------
    FormatError
        ``points-columns-missing`` when the header lacks a column.
    """
    reader = csv.DictReader(io.StringIO(text.lstrip("\ufeff")), skipinitialspace=True)
    names = [name.strip() for name in reader.fieldnames or ()]
    reader.fieldnames = names
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        raise FormatError(
            "points-columns-missing",
            f"{place}: the header lacks {', '.join(missing)}; found {', '.join(names) or 'none'}.",
            f"The first line must be: {','.join(COLUMNS)}",
        )
    picks: list[Pick] = []
    problems: list[Problem] = []
    for cells in reader:
        where = f"{place}, line {reader.line_num}"
        row = {k: v.strip() for k, v in cells.items() if isinstance(k, str) and isinstance(v, str)}
        if not any(row.values()):
            continue
        try:
            picks.append(_pick(row, reader.line_num, where))
        except FormatError as error:
            problems.append(problem_of(error, where))
    return tuple(picks), tuple(problems)


def _pick(row: dict[str, str], line: int, where: str) -> Pick:
    """Build one pick from a row, or raise why it cannot be."""
    empty = [name for name in COLUMNS if not row.get(name)]
    if empty:
        raise FormatError(
            "points-row-incomplete",
            f"nothing under {', '.join(empty)}.",
            "Fill every column; points with commas in them need double quotes around the cell.",
        )
    kinds: dict[str, Kind] = {name: name for name in get_args(Kind)}
    kind = kinds.get(row["kind"].lower())
    if kind is None:
        raise FormatError(
            "points-kind-unknown",
            f"kind {row['kind']!r} is not known.",
            f"Use one of {', '.join(kinds)}.",
        )
    return Pick(
        row=line,
        photo=row["photo"],
        colony=row["colony"],
        kind=kind,
        points_px=parse_points(row["points"], where),
        observer=row.get("observer", ""),
        off_plane=_off_plane(row, where),
    )


def _off_plane(row: dict[str, str], where: str) -> OffPlane | None:
    """Read how far off the card's plane a line's coral lies, where it says so."""
    stood = row.get("card_stood", "").lower()
    given = [row.get("off_plane_mm", ""), row.get("off_plane_mm_u", "")]
    if not stood and not any(given):
        return None
    kinds: dict[str, OffPlaneKind] = {"top": "top", "edge": "edge", "base": "base"}
    if stood in kinds and not any(given):
        return OffPlane(kind=kinds[stood])
    if not stood and all(_is_number(cell) for cell in given):
        mm, mm_u = (float(cell) for cell in given)
        return OffPlane(kind="stated", mm=mm, mm_u=mm_u)
    raise FormatError(
        "points-off-plane-unclear",
        f"{where}: card_stood {stood or 'empty'}, off_plane_mm {given[0] or 'empty'}, "
        f"off_plane_mm_u {given[1] or 'empty'} do not say how far off the card's plane it lies.",
        "Give off_plane_mm with its off_plane_mm_u, or card_stood as top, edge or base.",
    )
