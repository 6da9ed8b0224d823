"""What a document is made of, the same for a page of HTML and for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Tone = Literal["plain", "care", "hint", "warn"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """
    A piece of text.

    Parameters
    ----------
    text : str
    href : str
        An anchor of this document; empty: none.
    is_strong : bool
    """

    text: str
    href: str = ""
    is_strong: bool = False


Text = str | Sequence[Span | str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """
    One part of a document.

    Parameters
    ----------
    kind : {"title", "heading", "subheading", "para", "list", "table", "chart", "charts", \
            "beside", "ledger", "break"}
    anchor : str
        Where links lead.
    text : list of Span
        Of headings and paragraphs.
    tone : {"plain", "care", "hint", "warn"}
        Of paragraphs.
    items : list of list of Span
        Of a list; of a drawing with text beside it, its paragraphs.
    head : list of str
    rows : list of dict
        Of a table: ``anchor`` and ``cells``, each a list of spans.
    numeric : list of bool
        Columns set to the right.
    widths : list of float
        Of the columns, as shares.
    svg, alt : str
        Of a chart: the drawing, and what it shows in words; of a table that paper leaves out: what
        it is called where it is folded.
    drawings : list of dict
        Of charts set two in a row: ``svg`` and ``alt`` of each.
    lines : list of dict
        Of a ledger, which is a table on the screen and two columns of small lines on paper:
        ``anchor`` and ``cells``; a line of one cell is a heading.
    is_wide : bool
        A long list that paper leaves out.
    is_paper : bool
        Only on paper.
    is_small : bool
        A table in small letters on paper.
    share : float
        Of the width of the paper, for a chart.
    """

    kind: str
    anchor: str = ""
    text: list[Span] = field(default_factory=list)
    tone: Tone = "plain"
    items: list[list[Span]] = field(default_factory=list)
    head: list[str] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    numeric: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    svg: str = ""
    alt: str = ""
    drawings: list[dict[str, str]] = field(default_factory=list)
    lines: list[dict[str, Any]] = field(default_factory=list)
    is_wide: bool = False
    is_paper: bool = False
    is_small: bool = False
    share: float = 1.0

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for the typesetter."""
        return asdict(self)


def spans(text: Text) -> list[Span]:
    """
    Return text as spans.

    Parameters
    ----------
    text : str or sequence of Span or str

    Returns
    -------
    list of Span

    Examples
    --------
    >>> [one.text for one in spans(["a ", Span(text="b", href="c")])]
    ['a ', 'b']
    """
    parts = [text] if isinstance(text, str) else list(text)
    return [one if isinstance(one, Span) else Span(text=one) for one in parts]


def heading(text: str, anchor: str = "") -> Block:
    """Return a heading."""
    return Block(kind="heading", text=spans(text), anchor=anchor)


def subheading(text: str, anchor: str = "") -> Block:
    """Return a heading below one."""
    return Block(kind="subheading", text=spans(text), anchor=anchor)


def para(text: Text, tone: Tone = "plain") -> Block:
    """Return a paragraph."""
    return Block(kind="para", text=spans(text), tone=tone)


def bullets(items: Sequence[Text]) -> Block:
    """Return a list."""
    return Block(kind="list", items=[spans(item) for item in items])


def chart(svg: str, alt: str, share: float = 1.0) -> Block:
    """Return a drawing with what it shows in words, and its share of the width of paper."""
    return Block(kind="chart", svg=svg, alt=alt, share=share)


def beside(svg: str, alt: str, paragraphs: Sequence[Text]) -> Block:
    """Return a drawing with text beside it."""
    return Block(kind="beside", svg=svg, alt=alt, items=[spans(one) for one in paragraphs])


def charts(drawn: Sequence[tuple[str, str]]) -> Block:
    """Return drawings, two in a row, each with what it shows in words."""
    return Block(kind="charts", drawings=[{"svg": svg, "alt": alt} for svg, alt in drawn])


def table(
    columns: Sequence[tuple[str, bool, float]],
    rows: Sequence[tuple[str, Sequence[Text]]],
    *,
    is_wide: bool = False,
    is_small: bool = False,
) -> Block:
    """
    Return a table.

    Parameters
    ----------
    columns : sequence of (str, bool, float)
        Heading, whether numbers stand in it, and its share of the width.
    rows : sequence of (str, sequence of Text)
        Anchor and cells.
    is_wide : bool
        A long list that paper leaves out.
    is_small : bool
        In small letters on paper.
    """
    return Block(
        kind="table",
        head=[name for name, _, _ in columns],
        numeric=[is_number for _, is_number, _ in columns],
        widths=[width for _, _, width in columns],
        rows=[{"anchor": a, "cells": [spans(cell) for cell in cells]} for a, cells in rows],
        is_wide=is_wide,
        is_small=is_small,
    )
