"""What is typed of each kind of row, in the order of the hand: the columns of the entry pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dryslate.core.survey.designs import HEALTH, Design, RowKind

NONE_SEEN = "none_seen"
"""A tick in place of a count: looked for on purpose and not there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """
    Rows of one kind, typed into one grid.

    Parameters
    ----------
    kind : str
    fields : tuple of str
    carry : Mapping
        What a new line begins with: a field to another of the line above, or to a design's field
        or a number that is added to its own (``+spacing_m``, ``+1``).
    """

    kind: RowKind
    fields: tuple[str, ...]
    carry: Mapping[str, str] = field(default_factory=dict)


_WHAT = ("category", "name", "growth_form")
_SIZES = ("longest_cm", "across_cm")
_END = ("lesion", "note")
_ON_TAPE = Section(kind="colony", fields=("at_m", *_WHAT, *_SIZES, "across_line_m", *HEALTH, *_END))
_COUNTED = (
    Section(kind="count", fields=(*_WHAT, "n", NONE_SEEN, "note")),
    Section(kind="colony", fields=(*_WHAT, *_SIZES, *HEALTH, *_END)),
)
SECTIONS: Mapping[Design, tuple[Section, ...]] = {
    "line_intercept": (
        Section(
            kind="intercept",
            fields=("from_m", "to_m", *_WHAT, "unreadable", "note"),
            carry={"from_m": "to_m"},
        ),
        _ON_TAPE,
    ),
    "point_intercept": (
        Section(
            kind="point",
            fields=("at_m", *_WHAT, "unreadable", "note"),
            carry={"at_m": "+spacing_m"},
        ),
        _ON_TAPE,
    ),
    "belt": _COUNTED,
    "quadrat_counts": _COUNTED,
    "quadrat_cells": (
        Section(
            kind="cell",
            fields=("cell", "cover_pct", *_WHAT, "unreadable", "note"),
            carry={"cell": "+1"},
        ),
    ),
    "photo_points": (),
    "timed_swim": _COUNTED,
}
"""Photo points are named on their own page."""


def section_kind(kind: str) -> str:
    """Return the kind under whose section a row stands."""
    return "count" if kind == NONE_SEEN else kind
