"""Every figure of a report: tables on the screen, two columns of small lines on paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

from dryslate.app.survey_words import SURVEY_FLAGS, figure_words
from dryslate.documents.report_blocks import Block, Span, Text, heading, para, spans
from dryslate.documents.report_language import NBSP, Speech
from dryslate.documents.survey_figures import (
    NumberedRow,
    about_of,
    figure_table,
    group_words,
    links_to_units,
    thing_of,
    undetermined_of,
    unit_of,
    write_interval,
    write_value,
)

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport

SHORT = {
    f"hill_q{order}_{where}": f"Order {order}, {words}"
    for order in range(3)
    for where, words in (
        ("at_survey", "as surveyed"),
        ("at_size", "equal units"),
        ("at_coverage", "equal coverage"),
    )
} | {
    "sample_coverage_frac": "Coverage",
    "richness_chao2": "At least, Chao2",
    "richness_chao1_classic": "At least, Chao1 (classic)",
    "richness_chao1_bias_corrected": "At least, Chao1 (corrected)",
    "shannon_nat": "Shannon's entropy",
    "gini_simpson_frac": "Gini-Simpson index",
}
"""Names that fit a narrow column; the notes say the rest."""


MOST_ON_PAPER = 6_000
"""Figures; with more, paper names the file that has them."""


class Notes:
    """Texts that stand once, with a number for each."""

    def __init__(self) -> None:
        self.texts: dict[str, int] = {}

    def number(self, text: str) -> int:
        """Return the number of a text, a new one where it has none."""
        return self.texts.setdefault(text, len(self.texts) + 1)


def ledger(
    rows: Sequence[NumberedRow], report: SurveyReport, numbers: dict[str, int], speech: Speech
) -> list[Block]:
    """
    Return every figure, group by group, and the notes that paper puts at the end.

    Parameters
    ----------
    rows : sequence of NumberedRow
    report : SurveyReport
    numbers : dict
        Of units, by their id.
    speech : Speech

    Returns
    -------
    list of Block
    """
    notes, blocks, lines = Notes(), [], []
    for where, here in groupby(rows, key=lambda one: one.where):
        own = list(here)
        words = group_words(where, speech)
        title = f"{words}{speech.colon}{speech.say('{n} figures', n=len(own))}"
        table = figure_table(own, numbers, speech)
        lines += list(_lines(own, words, numbers, speech, notes))
        blocks.append(Block(kind="ledger", head=table.head, rows=table.rows,
                            numeric=table.numeric, widths=table.widths, alt=title))  # fmt: skip
    if not blocks:
        return []
    told = speech.say(
        "All {n} figures, with their numbers. The file {file} beside this report holds them too.",
        n=len(rows),
        file=report.table_name,
    )
    key = speech.say(
        "Columns: number, what, estimate, 95 % interval, units (and colonies), notes. Shares in "
        "per cent."
    )
    if len(rows) > MOST_ON_PAPER:
        said = speech.say("Too many for paper: see {file}.", file=report.table_name)
        return [heading(speech.say("Every figure"), "figures"), para(told), *blocks,
                replace(para(said), is_paper=True)]  # fmt: skip
    if notes.texts:
        lines.append(_line("", [[Span(text=speech.say("Notes"), is_strong=True)]], is_head=True))
        lines += [_line("", [f"{n}. {text}"]) for text, n in notes.texts.items()]
    on_paper = [
        replace(para(key, "hint"), is_paper=True),
        Block(kind="ledger", lines=lines, is_paper=True),
    ]
    return [heading(speech.say("Every figure"), "figures"), para(told), *blocks, *on_paper]


def _lines(
    rows: Sequence[NumberedRow],
    words: str,
    numbers: dict[str, int],
    speech: Speech,
    notes: Notes,
) -> Iterator[dict[str, Any]]:
    """Yield the lines of a group: its heading, then figure by figure."""
    units: list[Span | str] = [f" ({speech.say('units')} "]
    links = links_to_units([u for one in rows for u in one.row.unit_ids], numbers)
    yield _line("", [[Span(text=words, is_strong=True), *units, *links, ")"]], is_head=True)
    by_figure: dict[tuple[str, str], list[NumberedRow]] = {}
    for one in rows:
        by_figure.setdefault((one.row.figure, one.row.about), []).append(one)
    is_diversity_said = False
    for (figure, _), own in by_figure.items():
        short = SHORT.get(figure)
        name = speech.word(short) if short else speech.word(figure_words(figure))
        about = about_of(own[0].row, speech)
        if short is None:
            unit = speech.word(unit_of(figure))
            tail = f" ({unit})" if unit and f"({unit})" not in name else ""
            head = f"{name}{tail}{speech.colon}{about}" if about else f"{name}{tail}"
            yield _line("", [head])
        elif not is_diversity_said:
            is_diversity_said = True
            yield _line("", [speech.say("Diversity of genera (what the notes say)")])
        for one in own:
            label = f"{NBSP}{NBSP}{name if short else thing_of(one.row, speech)}"
            yield _line(one.anchor, _cells(one, label, speech, notes, has_about=short is not None))


def _cells(
    one: NumberedRow, label: str, speech: Speech, notes: Notes, *, has_about: bool
) -> list[Text]:
    """Return the cells of one figure."""
    row = one.row
    said = [speech.word(SURVEY_FLAGS.get(flag, flag)) for flag in row.flags]
    said += [text for text in (undetermined_of(row, speech),) if text]
    said += [about_of(row, speech)] if has_about and row.about else []
    n = str(row.n_units) + ("" if row.n_colonies is None else f"/{row.n_colonies}")
    value = "–" if row.estimate is None else write_value(row.figure, row.estimate, speech)
    return [
        str(one.number),
        label,
        [Span(text=value, is_strong=True)],
        write_interval(row, speech),
        n,
        " ".join(str(notes.number(text)) for text in said),
    ]


def _line(anchor: str, cells: Sequence[Text], *, is_head: bool = False) -> dict[str, Any]:
    """Return one line."""
    return {"anchor": anchor, "cells": [spans(cell) for cell in cells], "is_head": is_head}
