"""The millimetre-true PDF of field sheets: their geometry in millimetres, set by typst."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryslate.core.card.definition import Box
from dryslate.core.sheet.page import SheetCell, SheetPage, SheetText
from dryslate.documents.card_pdf import draw_marker
from dryslate.documents.typesetting import typeset

Item = dict[str, Any]
STROKES_MM = {"text": 0.25, "number": 0.25, "tick": 0.5, "sketch": 0.25}


def sheet_pdf(pages: Sequence[SheetPage], language: str) -> bytes:
    """
    Return the PDF of pages.

    Parameters
    ----------
    pages : sequence of SheetPage
        At least one.
    language : str
        For the document's own words on itself.

    Returns
    -------
    bytes
        The same pages give the same bytes.
    """
    sheets = [
        {"width_mm": page.width_mm, "height_mm": page.height_mm, "items": draw_page(page)}
        for page in pages
    ]
    numbers = ", ".join(page.sheet_id for page in pages[:3])
    return typeset("sheet.typ", {"sheets": sheets, "title": numbers, "language": language})


def draw_page(page: SheetPage) -> list[Item]:
    """Return what is printed on a page: markers, cells and texts."""
    items: list[Item] = []
    for marker in (*page.corners, *page.digits):
        items += draw_marker(marker)
    for cell in page.cells:
        items += _cell(cell)
    items += [_text(text) for text in page.texts]
    return items


def _cell(cell: SheetCell) -> list[Item]:
    """The frame of a cell, and what is printed in it."""
    items: list[Item] = [
        {
            "kind": "frame",
            "x": cell.box.x_mm,
            "y": cell.box.y_mm,
            "w": cell.box.width_mm,
            "h": cell.box.height_mm,
            "stroke": STROKES_MM[cell.kind],
        }
    ]
    if cell.printed:
        box = Box(
            x_mm=cell.box.x_mm + 0.8,
            y_mm=cell.box.y_mm + 0.8,
            width_mm=cell.box.width_mm - 1.6,
            height_mm=cell.box.height_mm - 1.6,
        )
        size = 5.0 if cell.kind == "tick" else 3.4
        items.append(_text(SheetText(box=box, size_mm=size, body=cell.printed, place="middle")))
    return items


def _text(text: SheetText) -> Item:
    """A text within its box."""
    return {
        "kind": "text",
        "x": text.box.x_mm,
        "y": text.box.y_mm,
        "w": text.box.width_mm,
        "h": text.box.height_mm,
        "size": text.size_mm,
        "body": text.body,
        "bold": text.is_bold,
        "place": text.place,
    }
