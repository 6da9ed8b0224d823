"""Drawing up a page: markers, head and cells set one after another, in millimetres."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from dryslate.core.card.definition import Box, Marker
from dryslate.core.sheet.columns import Column, Tier
from dryslate.core.sheet.number import groups_of, spaced
from dryslate.core.sheet.page import (
    CORNER_DICTIONARY,
    CORNER_IDS,
    DIGIT_DICTIONARY,
    LAYOUT_VERSION,
    PAPERS_MM,
    CellKind,
    SheetCell,
    SheetContent,
    SheetPage,
    SheetText,
)
from dryslate.core.sheet.words import (
    BLANK_AND_ZERO,
    CAUTIONS,
    LABELS,
    PAGE_OF,
    PART_TITLES,
    STRIKE_OUT,
    TICKS,
    TITLES,
)

Words = Callable[[str], str]
"""Puts an English text into the sheet's language."""

MARGIN_MM = 6.5
GAP_MM = 2.5
LABEL_MM = 3.2
"""Room for the words over a cell of the head."""
HEAD_CELL_MM = 8.5
CELL_MM = 9.0
LARGEST_CELL_MM = 10.5
SMALL_MM = 2.3
"""Size of small letters."""


def round_mm(value: float) -> float:
    """Round to a hundredth of a millimetre, so that geometry is the same on every machine."""
    return round(value, 2)


class Draft:
    """
    A page that is being laid out.

    Parameters
    ----------
    content : SheetContent
    sheet_id : str
    words : callable
    """

    def __init__(self, content: SheetContent, sheet_id: str, words: Words) -> None:
        self.content, self.sheet_id, self.words = content, sheet_id, words
        self.width_mm, self.height_mm = PAPERS_MM[content.paper]
        self.corner_mm = 11.0 if content.paper == "a5" else 13.0
        self.digit_mm = 8.0 if content.paper == "a5" else 9.5
        self.left_mm = MARGIN_MM
        self.right_mm = self.width_mm - MARGIN_MM
        self.y_mm = MARGIN_MM + self.corner_mm + GAP_MM
        self.end_mm = self.height_mm - MARGIN_MM - self.corner_mm - GAP_MM
        self.cells: list[SheetCell] = []
        self.texts: list[SheetText] = []
        self._bands()

    def done(self) -> SheetPage:
        """Return the page."""
        return SheetPage(
            sheet_id=self.sheet_id,
            kind=self.content.kind,
            layout_version=LAYOUT_VERSION,
            paper=self.content.paper,
            width_mm=self.width_mm,
            height_mm=self.height_mm,
            corners=self._corners(),
            digits=self._digits(),
            cells=tuple(self.cells),
            texts=tuple(self.texts),
        )

    def _corners(self) -> tuple[Marker, ...]:
        """The four markers in the corners."""
        side = self.corner_mm
        near, right = MARGIN_MM, round_mm(self.right_mm - side)
        low = round_mm(self.height_mm - MARGIN_MM - side)
        places = ((near, near), (right, near), (right, low), (near, low))
        return tuple(
            Marker(dictionary=CORNER_DICTIONARY, marker_id=k, x_mm=x, y_mm=y, side_mm=side)
            for k, (x, y) in zip(CORNER_IDS, places, strict=True)
        )

    def _digits(self) -> tuple[Marker, ...]:
        """The number, as markers beside the top right corner."""
        step = self.digit_mm + GAP_MM
        first = self._digits_x()
        return tuple(
            Marker(
                dictionary=DIGIT_DICTIONARY,
                marker_id=group,
                x_mm=round_mm(first + k * step),
                y_mm=MARGIN_MM,
                side_mm=self.digit_mm,
            )
            for k, group in enumerate(groups_of(self.sheet_id))
        )

    def _digits_x(self) -> float:
        """Left end of the number."""
        whole = 4 * self.digit_mm + 3 * GAP_MM
        return self.right_mm - self.corner_mm - 2 * GAP_MM - whole

    def _bands(self) -> None:
        """What stands between the corner markers: title and number, cautions."""
        content, words = self.content, self.words
        x, y = self.left_mm + self.corner_mm + 2 * GAP_MM, MARGIN_MM
        number_x = self._digits_x()
        room = number_x - GAP_MM - x
        title = words(TITLES[content.kind])
        self.text(Box(x_mm=x, y_mm=y - 0.3, width_mm=room, height_mm=5.4), title, 4.4, bold=True)
        about = words(PAGE_OF).format(page_no=content.page_no, n_pages=content.n_pages)
        if content.part in PART_TITLES:
            about = f"{words(PART_TITLES[content.part])}, {about}"
        box = Box(x_mm=x, y_mm=y + 5.6, width_mm=room, height_mm=self.corner_mm - 5.6)
        self.text(box, about, 2.8)
        box = Box(
            x_mm=number_x - 0.2,
            y_mm=y + self.digit_mm + 0.7,
            width_mm=self.right_mm - self.corner_mm - GAP_MM - number_x,
            height_mm=3.0,
        )
        self.text(box, spaced(self.sheet_id), 2.6)
        low = self.height_mm - MARGIN_MM - self.corner_mm
        wide = self.right_mm - self.corner_mm - 2 * GAP_MM - x
        box = Box(x_mm=x, y_mm=low, width_mm=wide, height_mm=3.4)
        self.text(box, words(BLANK_AND_ZERO), 2.7, bold=True)
        box = Box(x_mm=x, y_mm=low + 3.6, width_mm=wide, height_mm=self.corner_mm - 3.6)
        self.text(box, f"{words(STRIKE_OUT)} {words(CAUTIONS)}", SMALL_MM)

    def text(
        self,
        box: Box,
        body: str,
        size_mm: float,
        *,
        bold: bool = False,
        place: Literal["top", "middle", "low"] = "top",
    ) -> None:
        """Print a text."""
        self.texts.append(
            SheetText(box=_rounded(box), size_mm=size_mm, body=body, is_bold=bold, place=place)
        )

    def cell(
        self, column: Column, box: Box, *, row: int = 0, at: int = 0, printed: str = ""
    ) -> None:
        """Set a cell."""
        value = f".{column.value}" if column.value else ""
        self.cells.append(
            SheetCell(
                cell_id=f"{row}.{column.field}{value}",
                kind=column.kind,
                field=column.field,
                row=row,
                column=at,
                box=_rounded(box),
                value=column.value,
                printed=printed,
            )
        )

    def label(self, field: str, x_mm: float, width_mm: float, height_mm: float = LABEL_MM) -> None:
        """Print the words of a field over its cell."""
        box = Box(x_mm=x_mm, y_mm=self.y_mm, width_mm=width_mm - 0.6, height_mm=height_mm - 0.4)
        self.text(box, self.words(LABELS[field]), SMALL_MM, place="low")

    def head(self, tiers: tuple[Tier, ...], preset: Mapping[str, str]) -> None:
        """Set lines of fields, each with its words above."""
        for tier in tiers:
            self._head_line(tier, preset)
        self.y_mm += GAP_MM

    def _head_line(self, tier: Tier, preset: Mapping[str, str]) -> None:
        """Set one line of fields; the ticks of one field share its words."""
        places = self.places(tier)
        told: set[str] = set()
        at_y = self.y_mm + LABEL_MM
        for at, (column, (x, width)) in enumerate(zip(tier, places, strict=True)):
            said = preset.get(column.field, "")
            if column.field not in told and column.field in LABELS:
                group = sum(
                    w for c, (_, w) in zip(tier, places, strict=True) if c.field == column.field
                )
                self.label(column.field, x, group)
                told.add(column.field)
            if column.kind == "tick":
                box = Box(x_mm=x, y_mm=at_y, width_mm=HEAD_CELL_MM, height_mm=HEAD_CELL_MM)
                self.cell(column, box, at=at, printed="x" if said == column.value else "")
                self._beside(column, x, at_y, width)
            else:
                box = Box(x_mm=x, y_mm=at_y, width_mm=width, height_mm=HEAD_CELL_MM)
                self.cell(column, box, at=at, printed=said)
        self.y_mm = at_y + HEAD_CELL_MM

    def _beside(self, column: Column, x: float, y: float, width: float) -> None:
        """Print what a tick stands for, right of its box."""
        box = Box(
            x_mm=x + HEAD_CELL_MM + 1.2,
            y_mm=y + 1.0,
            width_mm=width - HEAD_CELL_MM - 2.0,
            height_mm=HEAD_CELL_MM - 2.0,
        )
        known = TICKS.get((column.field, column.value), column.value)
        self.text(box, self.words(known), 2.7, place="middle")

    def places(
        self, tier: Tier, left_mm: float | None = None, right_mm: float | None = None
    ) -> list[tuple[float, float]]:
        """Left end and width of each column of a line, by their shares."""
        left = self.left_mm if left_mm is None else left_mm
        right = self.right_mm if right_mm is None else right_mm
        total = sum(column.share for column in tier)
        x, found = left, []
        for column in tier:
            width = (right - left) * column.share / total
            found.append((x, width))
            x += width
        return found


def _rounded(box: Box) -> Box:
    """Return a box with its edges on hundredths of a millimetre."""
    x, y = round_mm(box.x_mm), round_mm(box.y_mm)
    return Box(
        x_mm=x,
        y_mm=y,
        width_mm=round_mm(box.x_mm + box.width_mm - x),
        height_mm=round_mm(box.y_mm + box.height_mm - y),
    )


def free_cell(field: str, kind: CellKind, value: str = "") -> Column:
    """Return a column of its own, for a cell that stands in no line."""
    return Column(field=field, kind=kind, share=1.0, value=value)
