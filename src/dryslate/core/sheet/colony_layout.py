"""The sheet of a tagged colony: its photos, where it stands, and what it looks like."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dryslate.core.card.definition import Box
from dryslate.core.sheet.columns import N_FRAMES, SHOTS
from dryslate.core.sheet.drafting import (
    CELL_MM,
    GAP_MM,
    LABEL_MM,
    Draft,
    free_cell,
)
from dryslate.core.sheet.page import PAPERS_MM, SheetQuestion
from dryslate.core.sheet.words import CANNOT_TELL, MILLIMETRES, SHOT_WORDS

LINE_MM = 8.5
"""One question or one state."""
SHORT_HEAD_MM = 14.2
FEWEST_LINES = 3
"""Of a question at the foot of a column, before it goes on in the next."""
N_NEIGHBOURS = 3


def draw_colony(draft: Draft) -> None:
    """Set the list of photos, then the sketch and the neighbours in what room is left."""
    draft.label("shots", draft.left_mm, draft.right_mm - draft.left_mm)
    draft.y_mm += LABEL_MM
    for row, shot in enumerate(SHOTS, 1):
        _shot(draft, shot, row)
        draft.y_mm += CELL_MM
    draft.y_mm += GAP_MM
    middle = draft.left_mm + 0.58 * (draft.right_mm - draft.left_mm)
    draft.label("sketch", draft.left_mm, middle - draft.left_mm)
    draft.label("neighbour", middle + GAP_MM, draft.right_mm - middle - GAP_MM)
    top = draft.y_mm + LABEL_MM
    box = Box(
        x_mm=draft.left_mm,
        y_mm=top,
        width_mm=middle - draft.left_mm,
        height_mm=draft.end_mm - top,
    )
    draft.cell(free_cell("sketch", "sketch"), box)
    height = (draft.end_mm - top) / N_NEIGHBOURS
    for k in range(N_NEIGHBOURS):
        x = middle + GAP_MM
        box = Box(x_mm=x, y_mm=top + k * height, width_mm=draft.right_mm - x, height_mm=height)
        draft.cell(free_cell("neighbour", "text", str(k + 1)), box, at=k + 1)


def _shot(draft: Draft, shot: str, row: int) -> None:
    """Set one line of the list of photos: a tick and a place for the number for each frame."""
    wide = draft.right_mm - draft.left_mm
    label = 0.31 * wide
    box = Box(x_mm=draft.left_mm, y_mm=draft.y_mm + 1.0, width_mm=label - 2, height_mm=CELL_MM - 2)
    draft.text(box, draft.words(SHOT_WORDS[shot]), 2.7, place="middle")
    frame = (wide - label) / N_FRAMES
    for k in range(N_FRAMES):
        x = draft.left_mm + label + k * frame
        value = f"{shot}_{k + 1}"
        box = Box(x_mm=x, y_mm=draft.y_mm, width_mm=CELL_MM, height_mm=CELL_MM)
        draft.cell(free_cell("shot", "tick", value), box, row=row, at=2 * k)
        box = Box(
            x_mm=x + CELL_MM,
            y_mm=draft.y_mm,
            width_mm=frame - CELL_MM - 1.5,
            height_mm=CELL_MM,
        )
        draft.cell(free_cell("photo", "text", value), box, row=row, at=2 * k + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line of a column of questions."""

    question: SheetQuestion
    what: str
    value: str
    words: str


def draw_characters(draft: Draft) -> None:
    """Set questions with the states to tick, down one column after the other."""
    n_columns, n_lines = _room(draft.content.paper)
    width = (draft.right_mm - draft.left_mm + GAP_MM) / n_columns
    row = 0
    for column, at, line in _places(draft.content.questions, n_columns, n_lines):
        x = draft.left_mm + column * width
        y = draft.y_mm + at * LINE_MM
        if line.what == "question":
            row += 1
        _set_line(draft, line, (x, y, width - GAP_MM), row)


def _set_line(draft: Draft, line: _Line, place: tuple[float, float, float], row: int) -> None:
    """Set a question, a state with its box, or a size."""
    x, y, width = place
    name = line.question.character
    if line.what == "question":
        room = width - (21.5 if not line.question.states else 0.0)
        box = Box(x_mm=x, y_mm=y + 0.8, width_mm=room, height_mm=LINE_MM - 1.2)
        draft.text(box, draft.words(line.words), 2.7, bold=True, place="low")
        if not line.question.states:
            box = Box(x_mm=x + room, y_mm=y, width_mm=15.0, height_mm=LINE_MM)
            draft.cell(free_cell(name, "number"), box, row=row)
            box = Box(x_mm=x + room + 15.6, y_mm=y + 3.0, width_mm=5.0, height_mm=3.6)
            draft.text(box, MILLIMETRES, 2.7)
        return
    box = Box(x_mm=x, y_mm=y, width_mm=LINE_MM, height_mm=LINE_MM)
    draft.cell(free_cell(name, "tick", line.value), box, row=row)
    box = Box(
        x_mm=x + LINE_MM + 1.2, y_mm=y + 1.2, width_mm=width - LINE_MM - 1.5, height_mm=LINE_MM - 2
    )
    draft.text(box, draft.words(line.words), 2.6, place="middle")


def _room(paper: str) -> tuple[int, int]:
    """Columns of questions on a page, and lines of each."""
    draft_corner = 11.0 if paper == "a5" else 13.0
    height = PAPERS_MM[paper][1] - 2 * (6.5 + draft_corner + GAP_MM) - SHORT_HEAD_MM
    return (2 if paper == "a5" else 3), int(height / LINE_MM)


def _lines(question: SheetQuestion) -> Iterator[_Line]:
    """The question, its states, and that it cannot be told."""
    yield _Line(question=question, what="question", value="", words=question.question)
    for name, words in question.states:
        yield _Line(question=question, what="state", value=name, words=words)
    if question.states:
        yield _Line(question=question, what="state", value="cannot_tell", words=CANNOT_TELL)


def _places(
    questions: tuple[SheetQuestion, ...], n_columns: int, n_lines: int
) -> Iterator[tuple[int, int, _Line]]:
    """Column and line of everything that fits; no question stands alone at a column's foot."""
    column = at = 0
    for question in questions:
        lines = list(_lines(question))
        if at and at + min(FEWEST_LINES, len(lines)) > n_lines:
            column, at = column + 1, 0
        for line in lines:
            if at == n_lines:
                column, at = column + 1, 0
            if column >= n_columns:
                return
            yield column, at, line
            at += 1


def split_questions(
    questions: tuple[SheetQuestion, ...], paper: str
) -> tuple[tuple[SheetQuestion, ...], ...]:
    """
    Divide questions over pages, each whole on its page.

    Parameters
    ----------
    questions : tuple of SheetQuestion
        In the order in which they are asked; the order stays.
    paper : str

    Returns
    -------
    tuple of tuple of SheetQuestion
        One a page.
    """
    n_columns, n_lines = _room(paper)
    pages: list[tuple[SheetQuestion, ...]] = []
    here: tuple[SheetQuestion, ...] = ()
    for question in questions:
        tried = (*here, question)
        n_set = sum(1 for _ in _places(tried, n_columns, n_lines))
        if n_set < sum(len(list(_lines(q))) for q in tried) and here:
            pages.append(here)
            here = (question,)
        else:
            here = tried
    return (*pages, here) if here else tuple(pages)
