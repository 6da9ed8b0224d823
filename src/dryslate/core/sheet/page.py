"""
What a printed sheet is: pages, markers, and cells with their places in millimetres.

Origin is the page's top left corner, x to the right, y down. One geometry serves the PDF and the
reading of photographed sheets.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from dryslate.core.card.definition import Box, Marker

LAYOUT_VERSION = 1
"""Goes up when a cell moves; a printed sheet keeps the version it was laid out with."""

PAPERS_MM = {"a4": (210.0, 297.0), "a5": (148.0, 210.0), "letter": (215.9, 279.4)}
"""Width and height of papers, upright."""

CORNER_DICTIONARY = "36h11"
CORNER_IDS = (401, 402, 403, 404)
"""Top left, top right, bottom right, bottom left; no card may use them."""
DIGIT_DICTIONARY = "5X5_1000"
"""Each of its 1000 markers stands for three digits of a sheet's number."""

CellKind = Literal["text", "number", "tick", "sketch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCell:
    """
    A place to write in.

    Parameters
    ----------
    cell_id : str
        Unique on its page.
    kind : {"text", "number", "tick", "sketch"}
    field : str
        The column of a table of records that it becomes, or what it says of the sheet.
    row : int
        0 in the head of the page, else the row of the table from 1.
    column : int
        From 0, in the order in which people write.
    box : Box
    value : str
        What a tick stands for.
    printed : str
        What is printed in it beforehand.
    """

    cell_id: str
    kind: CellKind
    field: str
    row: int
    column: int
    box: Box
    value: str = ""
    printed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetText:
    """
    Something printed to be read by people; it shrinks where its box is too small.

    Parameters
    ----------
    box : Box
    size_mm : float
        Size of the letters.
    body : str
    is_bold : bool
    place : {"top", "middle", "low"}
        Where in its box it stands.
    """

    box: Box
    size_mm: float
    body: str
    is_bold: bool = False
    place: Literal["top", "middle", "low"] = "top"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """
    One printed page.

    Parameters
    ----------
    sheet_id : str
        Twelve digits, on this page only.
    kind : str
        How the unit is sampled, or what the sheet is for.
    layout_version : int
    paper : str
    width_mm, height_mm : float
    corners : tuple of Marker
        Four, in the order of `CORNER_IDS`.
    digits : tuple of Marker
        The number as markers, three digits each, from the left.
    cells : tuple of SheetCell
    texts : tuple of SheetText
    """

    sheet_id: str
    kind: str
    layout_version: int
    paper: str
    width_mm: float
    height_mm: float
    corners: tuple[Marker, ...]
    digits: tuple[Marker, ...]
    cells: tuple[SheetCell, ...]
    texts: tuple[SheetText, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetQuestion:
    """
    A character of a coral with the states to tick; without states a size in millimetres.

    Parameters
    ----------
    character, question : str
    states : tuple of (str, str)
        Name and plain words of each.
    """

    character: str
    question: str
    states: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetContent:
    """
    What one page is for: all that `lay_out` needs beside the language.

    Parameters
    ----------
    kind : str
        A key of `dryslate.core.sheet.columns.SHEET_KINDS`.
    part : {"first", "further", "colonies", "characters"}
        First page of a unit, a further one, its page of colonies under the tape, or the
        characters of a colony.
    paper : str
    page_no, n_pages : int
        Which page of the unit's.
    preset : dict
        Fields of the head that are printed beforehand.
    rows : tuple of dict
        Fields of the table's rows that are printed beforehand.
    is_counts_only : bool
        Rows without sizes and health.
    questions : tuple of SheetQuestion
        Of the colony sheet, in the order in which they are asked.
    """

    kind: str
    part: Literal["first", "further", "colonies", "characters"] = "first"
    paper: str = "a4"
    page_no: int = 1
    n_pages: int = 1
    preset: dict[str, str] = field(default_factory=dict)
    rows: tuple[dict[str, str], ...] = ()
    is_counts_only: bool = False
    questions: tuple[SheetQuestion, ...] = ()


def content_to_dict(content: SheetContent) -> dict[str, Any]:
    """Return the fields as plain values, for JSON; what is empty is left out."""
    return {key: value for key, value in asdict(content).items() if value}


def content_from_dict(values: Mapping[str, Any]) -> SheetContent:
    """Read what `content_to_dict` wrote."""
    questions = tuple(
        SheetQuestion(
            character=one["character"],
            question=one["question"],
            states=tuple((name, words) for name, words in one["states"]),
        )
        for one in values.get("questions", ())
    )
    rows = tuple(dict(row) for row in values.get("rows", ()))
    return SheetContent(**{**values, "questions": questions, "rows": rows})
