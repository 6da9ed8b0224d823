"""Laying out a sheet: the same content gives the same cells, for print and for reading."""

from __future__ import annotations

from dryslate.core.card.definition import Box
from dryslate.core.sheet.colony_layout import draw_characters, draw_colony
from dryslate.core.sheet.columns import (
    COLONIES_UNDER_TAPE,
    COUNTED,
    COUNTS,
    FURTHER_COLONY,
    FURTHER_HEAD,
    HEADS,
    SHEET_KINDS,
    Tiers,
)
from dryslate.core.sheet.drafting import (
    CELL_MM,
    LABEL_MM,
    LARGEST_CELL_MM,
    Draft,
    Words,
    free_cell,
)
from dryslate.core.sheet.page import SheetContent, SheetPage
from dryslate.core.sheet.words import HUNDRED

COLUMN_HEAD_MM = 6.0
NUMBER_MM = 5.0
"""Room for the number of a row, left of it."""
BETWEEN_MM = 1.2
"""Between rows of two lines."""


def lay_out(content: SheetContent, sheet_id: str, words: Words = str) -> SheetPage:
    """
    Lay out one page.

    Parameters
    ----------
    content : SheetContent
    sheet_id : str
        Twelve digits.
    words : callable
        Puts an English text into the sheet's language; places do not depend on it.

    Returns
    -------
    SheetPage
    """
    draft = Draft(content, sheet_id, words)
    if content.part == "characters":
        draft.head((FURTHER_COLONY,), content.preset)
        draw_characters(draft)
    elif content.kind == "tagged_colony":
        draft.head(HEADS[content.kind], content.preset)
        draw_colony(draft)
    else:
        is_first = content.part == "first"
        draft.head(HEADS[content.kind] if is_first else (FURTHER_HEAD,), content.preset)
        if is_first and content.kind == "permanent_plot":
            _plan_of_plot(draft)
        else:
            _table(draft, row_tiers(content))
    return draft.done()


def row_tiers(content: SheetContent) -> Tiers:
    """Return the columns of the table's rows, on one line or on two."""
    if content.part == "colonies":
        return COLONIES_UNDER_TAPE
    if content.is_counts_only and content.kind in COUNTED:
        return COUNTS
    return SHEET_KINDS[content.kind]


def count_rows(content: SheetContent) -> int:
    """Count the rows of the table of a page."""
    page = lay_out(content, "0" * 12)
    return max((cell.row for cell in page.cells), default=0)


def _plan_of_plot(draft: Draft) -> None:
    """Set a square to draw the plot in, and room for notes below it; the rows follow overleaf."""
    draft.label("plan", draft.left_mm, draft.right_mm - draft.left_mm)
    top = draft.y_mm + LABEL_MM
    wide = draft.right_mm - draft.left_mm
    side = min(wide, draft.end_mm - top - LABEL_MM - CELL_MM)
    box = Box(x_mm=draft.left_mm, y_mm=top, width_mm=side, height_mm=side)
    draft.cell(free_cell("plan", "sketch"), box)
    draft.y_mm = top + side
    draft.label("unit_note", draft.left_mm, wide)
    low = draft.y_mm + LABEL_MM
    box = Box(x_mm=draft.left_mm, y_mm=low, width_mm=wide, height_mm=draft.end_mm - low)
    draft.cell(free_cell("unit_note", "text"), box, at=1)


def _table(draft: Draft, tiers: Tiers) -> None:
    """Set as many rows as fit, their heads above."""
    left = draft.left_mm + NUMBER_MM
    for tier in tiers:
        for column, (x, width) in zip(tier, draft.places(tier, left), strict=True):
            draft.label(column.field, x, width, COLUMN_HEAD_MM)
        draft.y_mm += COLUMN_HEAD_MM
    between = BETWEEN_MM if len(tiers) > 1 else 0.0
    room = draft.end_mm - draft.y_mm - (3.4 if len(tiers) > 1 else 0.0)
    n_rows = int((room + between) / (len(tiers) * CELL_MM + between))
    height = min(LARGEST_CELL_MM, ((room + between) / n_rows - between) / len(tiers))
    for row in range(1, n_rows + 1):
        _row(draft, tiers, row, height)
        draft.y_mm += between
    if len(tiers) > 1:
        wide = draft.right_mm - left
        box = Box(x_mm=left, y_mm=draft.y_mm - 0.4, width_mm=wide, height_mm=3.0)
        draft.text(box, draft.words(HUNDRED), 2.3)


def _row(draft: Draft, tiers: Tiers, row: int, height: float) -> None:
    """Set one row, its number beside it."""
    given = draft.content.rows[row - 1] if row <= len(draft.content.rows) else {}
    box = Box(x_mm=draft.left_mm, y_mm=draft.y_mm + 3.0, width_mm=NUMBER_MM - 0.8, height_mm=3.4)
    draft.text(box, str(row), 2.6)
    at = 0
    for tier in tiers:
        for column, (x, width) in zip(
            tier, draft.places(tier, draft.left_mm + NUMBER_MM), strict=True
        ):
            box = Box(x_mm=x, y_mm=draft.y_mm, width_mm=width, height_mm=height)
            draft.cell(column, box, row=row, at=at, printed=given.get(column.field, ""))
            at += 1
        draft.y_mm += height
