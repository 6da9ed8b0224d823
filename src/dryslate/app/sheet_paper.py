"""The paper beside what was typed from it: pages of a unit, and where on them a row stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryslate.app.entry_lines import in_order
from dryslate.app.sheets import page_of

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.sheet_records import PrintedSheet, SheetPhoto
    from dryslate.app.survey_records import NotedRow

PRINTED_FIELDS = ("at_m", "cell", "name")
"""Fields that can stand in a row beforehand, and then tell the row."""
IN_ORDER = ("intercept", "point", "cell")
"""Kinds of rows whose order on the tape or in the frame is the order on the paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRow:
    """
    A row of a photographed page.

    Parameters
    ----------
    row : int
        Its number on the page, from 1.
    order : int
        Its number over the pages of the unit, of its part of the sheet.
    top, height : float
        Where it lies, as fractions of the page's height.
    printed : Mapping
        What stood in it beforehand.
    """

    row: int
    order: int
    top: float
    height: float
    printed: Mapping[str, str]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "row": self.row,
            "order": self.order,
            "top": round(self.top, 5),
            "height": round(self.height, 5),
            "printed": dict(self.printed),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """
    A photographed page of a unit.

    Parameters
    ----------
    photo_id : str
    photo : SheetPhoto
    sheet : PrintedSheet
    rows : tuple of PaperRow
    """

    photo_id: str
    photo: SheetPhoto
    sheet: PrintedSheet
    rows: tuple[PaperRow, ...]

    def line_places(self) -> dict[str, Any]:
        """Return where its rows lie as plain values, for JSON."""
        rows = [one.as_dict() for one in self.rows]
        return {"of_colonies": self.is_of_colonies, "rows": rows}

    @property
    def is_of_colonies(self) -> bool:
        """Whether it is the page of colonies under the tape."""
        return self.sheet.content.part == "colonies"


def papers_of(store: SurveyStore, unit_id: str) -> tuple[Paper, ...]:
    """
    Return the photographed pages of a unit, in their order.

    Parameters
    ----------
    store : SurveyStore
    unit_id : str

    Returns
    -------
    tuple of Paper
        Where one page was photographed twice, the photo that was joined last.
    """
    return make_papers(store.sheet_photos(unit_id), store.printed_sheets())


def make_papers(photos: Sequence[SheetPhoto], printed: Sequence[PrintedSheet]) -> tuple[Paper, ...]:
    """
    Put photos of sheets together with their pages, one photo a page, in the pages' order.

    Parameters
    ----------
    photos : sequence of SheetPhoto
        Of one unit.
    printed : sequence of PrintedSheet
        All of the project, in the order printed: the pages of a unit follow one another.
    """
    place = {one.sheet_id: k for k, one in enumerate(printed)}
    newest = {one.sheet_id: one for one in photos}
    papers: list[Paper] = []
    run, start = -1, {True: 0, False: 0}
    last = {True: 0, False: 0}
    for k in sorted(place[sheet_id] for sheet_id in newest):
        sheet = printed[k]
        first = k - sheet.content.page_no + 1
        if first != run:  # another set of pages goes on where the one before ended
            run, start = first, dict(last)
        is_of_colonies = sheet.content.part == "colonies"
        before = sum(
            len(rows_of(one))
            for one in printed[first:k]
            if (one.content.part == "colonies") == is_of_colonies
        )
        rows = rows_of(sheet, start[is_of_colonies] + before)
        last[is_of_colonies] = max((row.order for row in rows), default=last[is_of_colonies])
        photo = newest[sheet.sheet_id]
        papers.append(Paper(photo_id=photo.photo_id, photo=photo, sheet=sheet, rows=rows))
    return tuple(papers)


def rows_of(sheet: PrintedSheet, before: int = 0) -> tuple[PaperRow, ...]:
    """
    Return where the rows of a printed page lie.

    Parameters
    ----------
    sheet : PrintedSheet
    before : int
        Rows on the pages before it.
    """
    page = page_of(sheet)
    bands: dict[int, tuple[float, float]] = {}
    for cell in page.cells:
        if cell.row < 1 or sheet.content.part == "characters":
            continue
        top, low = bands.get(cell.row, (cell.box.y_mm, cell.box.y_mm))
        end = cell.box.y_mm + cell.box.height_mm
        bands[cell.row] = (min(top, cell.box.y_mm), max(low, end))
    said = sheet.content.rows
    return tuple(
        PaperRow(
            row=row,
            order=before + row,
            top=top / page.height_mm,
            height=(low - top) / page.height_mm,
            printed=said[row - 1] if row <= len(said) else {},
        )
        for row, (top, low) in sorted(bands.items())
    )


def find_row(
    papers: Sequence[Paper], noted: NotedRow, rows: Sequence[NotedRow]
) -> tuple[Paper, PaperRow] | None:
    """
    Say where on the paper a row stands.

    Parameters
    ----------
    papers : sequence of Paper
        Of the row's unit.
    noted : NotedRow
    rows : sequence of NotedRow
        All rows of the unit.

    Returns
    -------
    tuple of Paper and PaperRow, or None
        Told by what is printed in the row (a point of the tape, a cell, a name that was to be
        looked for), else by the order along the tape or in the frame. None where neither tells,
        such as for the colonies of a belt: the whole page is shown for those.
    """
    kind = noted.row.kind
    wants_colonies = kind == "colony" and any(paper.is_of_colonies for paper in papers)
    meant = [paper for paper in papers if paper.is_of_colonies == wants_colonies]
    for paper in meant:
        for line in paper.rows:
            if line.printed and all(_says(noted, k, v) for k, v in line.printed.items()):
                return paper, line
    if kind not in IN_ORDER or any(line.printed for paper in meant for line in paper.rows):
        return None
    alike = in_order([one for one in rows if one.row.kind == kind])
    order = 1 + next((k for k, one in enumerate(alike) if one.row_no == noted.row_no), len(alike))
    for paper in meant:
        for line in paper.rows:
            if line.order == order:
                return paper, line
    return None


def _says(noted: NotedRow, field: str, printed: str) -> bool:
    """Whether a row has what is printed."""
    value = getattr(noted.row, field, None)
    if value is None or field not in PRINTED_FIELDS:
        return False
    if isinstance(value, str):
        return value.casefold() == printed.casefold()
    return abs(float(value) - float(printed)) < 1e-6
