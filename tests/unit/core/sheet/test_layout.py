"""Cells of a sheet: large enough for gloves, apart from each other, one for each column."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.app.import_mapping import ROW_FIELDS, UNIT_FIELDS
from dryslate.app.import_template import template_sheets
from dryslate.app.sheet_request import DESIGN_OF
from dryslate.core.card.definition import Box
from dryslate.core.card.markers import rim_mm
from dryslate.core.sheet.colony_layout import split_questions
from dryslate.core.sheet.columns import COUNTED, SHEET_KINDS, TAPED
from dryslate.core.sheet.layout import count_rows, lay_out, row_tiers
from dryslate.core.sheet.page import (
    CORNER_IDS,
    PAPERS_MM,
    SheetContent,
    SheetQuestion,
    content_from_dict,
    content_to_dict,
)
from dryslate.core.sheet.words import LABELS, sheet_texts
from dryslate.files.reference_tables import FileReferenceTables

STATES = tuple((f"state_{k}", f"words {k}") for k in range(16))
QUESTIONS = tuple(
    SheetQuestion(character=f"c{k}", question=f"What of {k}?", states=STATES[: (3 * k) % 17])
    for k in range(12)
)
PARTS = ("first", "further")
NOT_OF_TABLES = {
    "buddy",
    "time_in",
    "time_out",
    "utc_offset",
    "none_seen",
    "camera_clock",
    "true_clock",
    "marks_found",
    "plan",
}
"""Written on the sheet and read by people; no column of a table of records."""


def contents():
    for paper in PAPERS_MM:
        for kind in SHEET_KINDS:
            for part in PARTS if kind != "tagged_colony" else ("first",):
                yield SheetContent(kind=kind, part=part, paper=paper)
            if kind in COUNTED:
                yield SheetContent(kind=kind, part="further", paper=paper, is_counts_only=True)
            if kind in TAPED:
                yield SheetContent(kind=kind, part="colonies", paper=paper)
        for some in split_questions(QUESTIONS, paper):
            yield SheetContent(kind="tagged_colony", part="characters", paper=paper, questions=some)


ALL = list(contents())


def name(content: SheetContent) -> str:
    return f"{content.kind}-{content.part}-{content.paper}"


def overlap(a: Box, b: Box) -> float:
    wide = min(a.x_mm + a.width_mm, b.x_mm + b.width_mm) - max(a.x_mm, b.x_mm)
    high = min(a.y_mm + a.height_mm, b.y_mm + b.height_mm) - max(a.y_mm, b.y_mm)
    return min(wide, high)


@pytest.mark.parametrize("content", ALL, ids=name)
def test_cells_are_big_apart_and_clear_of_the_markers(content) -> None:
    page = lay_out(content, "311689675917")
    ids = [cell.cell_id for cell in page.cells]
    assert len(set(ids)) == len(ids) > 3
    markers = [
        Box(
            x_mm=m.x_mm - rim_mm(m),
            y_mm=m.y_mm - rim_mm(m),
            width_mm=m.side_mm + 2 * rim_mm(m),
            height_mm=m.side_mm + 2 * rim_mm(m),
        )
        for m in (*page.corners, *page.digits)
    ]
    for k, cell in enumerate(page.cells):
        box = cell.box
        assert box.height_mm >= 8.0, cell
        assert box.width_mm >= 8.0, cell
        assert box.x_mm >= 5.0, cell
        assert box.y_mm >= 5.0, cell
        assert box.x_mm + box.width_mm <= page.width_mm - 5.0, cell
        assert box.y_mm + box.height_mm <= page.height_mm - 5.0, cell
        for other in page.cells[k + 1 :]:
            assert overlap(box, other.box) <= 0.02, (cell, other)
        for marker in markers:
            assert overlap(box, marker) <= 0.02, cell
    for one, rim in enumerate(markers):
        for k, marker in enumerate((*page.corners, *page.digits)):
            side = marker.side_mm
            square = Box(x_mm=marker.x_mm, y_mm=marker.y_mm, width_mm=side, height_mm=side)
            assert one == k or overlap(rim, square) <= 0.0


@pytest.mark.parametrize("content", ALL, ids=name)
def test_texts_stay_out_of_the_markers_and_the_cells(content) -> None:
    page = lay_out(content, "311689675917")
    for text in page.texts:
        for marker in (*page.corners, *page.digits):
            side = marker.side_mm
            box = Box(x_mm=marker.x_mm, y_mm=marker.y_mm, width_mm=side, height_mm=side)
            assert overlap(text.box, box) <= 0.0, text
        for cell in page.cells:
            assert overlap(text.box, cell.box) <= 0.02, (text, cell)


@pytest.mark.parametrize("content", ALL, ids=name)
def test_places_do_not_depend_on_the_language(content) -> None:
    plain = lay_out(content, "311689675917")
    long = lay_out(content, "311689675917", lambda text: f"{text} et bien plus encore {text}")
    assert long.cells == plain.cells
    assert long.corners == plain.corners


@pytest.mark.parametrize("kind", [k for k in SHEET_KINDS if k in DESIGN_OF])
def test_each_row_of_a_sheet_is_a_row_of_the_table(kind) -> None:
    """What stands in the template's rows stands on the sheet, and the other way round."""
    units, rows, _ = (s[0] for s in template_sheets(DESIGN_OF[kind]).values())
    on_sheet = set()
    for part in ("first", "further", *(["colonies"] if kind in TAPED else [])):
        page = lay_out(SheetContent(kind=kind, part=part), "311689675917")
        on_sheet |= {cell.field for cell in page.cells if cell.row}
    assert on_sheet <= set(rows)
    left_out = {
        "site", "date", "unit",  # in the head
        "kind", "category",  # told by what is filled in
        "tag",  # tagged colonies have a sheet of their own
        "unreadable",  # of points, cells and stretches only
        "x_px", "y_px", "name", "growth_form",  # of points on photos: keyed on the screen
    }  # fmt: skip
    assert set(rows) - on_sheet <= left_out
    if kind != "photo_points":
        assert {"name", "growth_form"} <= on_sheet
    head = {c.field for c in lay_out(SheetContent(kind=kind), "311689675917").cells if not c.row}
    assert head - set(units) <= NOT_OF_TABLES
    wanted = set(units) - {"design"} - ({"is_permanent"} if kind == "permanent_plot" else set())
    assert wanted - head <= {"unit_note"}


def test_every_field_on_a_sheet_is_known_to_tables_or_named_here() -> None:
    known = {*UNIT_FIELDS, *ROW_FIELDS, *NOT_OF_TABLES}
    of_colony = {"colony", "confidence", "colony_found", "height_cm", "shot", "sketch", "neighbour"}
    for content in ALL:
        for cell in lay_out(content, "311689675917").cells:
            if content.part != "characters":
                assert cell.field in known | of_colony, cell


def test_none_seen_has_a_box_of_its_own_where_corals_are_counted() -> None:
    for kind in COUNTED:
        for counts in (False, True):
            content = SheetContent(kind=kind, part="further", is_counts_only=counts)
            page = lay_out(content, "311689675917")
            boxes = {c.row: c for c in page.cells if c.field == "kind" and c.value == "none_seen"}
            numbers = {c.row: c for c in page.cells if c.field == "n"}
            assert set(boxes) == set(numbers) == set(range(1, count_rows(content) + 1))


def test_row_of_a_sheet_is_written_from_left_to_right() -> None:
    for content in ALL:
        for tier in row_tiers(content) if content.kind != "tagged_colony" else ():
            cells = lay_out(content, "311689675917").cells
            of_row = [c for c in cells if c.row == 1 and c.field in {t.field for t in tier}]
            assert [c.column for c in of_row] == sorted(c.column for c in of_row)


def test_no_built_in_card_uses_a_corner_of_sheets() -> None:
    used = {m.marker_id for card in FileReferenceTables().cards() for m in card.markers}
    assert not used & set(CORNER_IDS)


def test_questions_stay_whole_and_in_their_order() -> None:
    for paper in PAPERS_MM:
        pages = split_questions(QUESTIONS, paper)
        assert tuple(q for page in pages for q in page) == QUESTIONS
        for some in pages:
            page = lay_out(
                SheetContent(kind="tagged_colony", part="characters", paper=paper, questions=some),
                "311689675917",
            )
            wanted = {(q.character, s) for q in some for s, _ in q.states}
            wanted |= {(q.character, "cannot_tell") for q in some if q.states}
            wanted |= {(q.character, "") for q in some if not q.states}
            assert {(c.field, c.value) for c in page.cells if c.row} == wanted


@pytest.mark.parametrize("content", ALL, ids=name)
def test_content_comes_back_from_json(content) -> None:
    full = replace(content, preset={"unit": "T1"}, rows=({"name": "Acropora"}, {"n": "0"}))
    assert content_from_dict(content_to_dict(full)) == full


def test_texts_are_told_once_each_in_the_catalogue() -> None:
    texts = list(sheet_texts())
    assert "" not in texts
    assert {LABELS["site"], LABELS["utc_offset"]} <= set(texts)
