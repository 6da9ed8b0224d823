"""What one unit adds to each figure, its blanks kept blank."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from dryslate.core.survey.designs import COVER_KINDS, SurveyRow, UnitDesign

NamedRow = tuple[SurveyRow, Sequence[str]]
"""A row, and the things it counts to: its category, that one's group, its name."""


@dataclass(slots=True, kw_only=True)
class UnitTally:
    """
    The sums of one unit.

    Parameters
    ----------
    design : UnitDesign
    on : dict
        Metres of tape, points, or shares of cells (in cells) on each thing.
    read : float
        Metres, points or cells that were read.
    unreadable : float
        Those that were not: they leave the denominator.
    counts : dict
        Colonies or animals of each thing; what was looked for and not seen is 0.
    colonies : dict
        Rows of the corals noted one by one, for sizes, widths and health.
    chosen : dict
        Colonies that were chosen because they were stressed, and are in the counts alone.
    looked_for : frozenset of str
        Names that would have been noted here, where the unit says which it searched for.
    """

    design: UnitDesign
    on: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    read: float = 0.0
    unreadable: float = 0.0
    counts: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    colonies: dict[str, list[SurveyRow]] = field(default_factory=lambda: defaultdict(list))
    chosen: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    looked_for: frozenset[str] = frozenset()


def tally_unit(design: UnitDesign, rows: Iterable[NamedRow]) -> UnitTally:
    """
    Sum what was noted in one unit.

    Parameters
    ----------
    design : UnitDesign
    rows : iterable of (SurveyRow, sequence of str)
        Checked (`unit_checks.check_unit`), each with the things it counts to.

    Returns
    -------
    UnitTally

    Notes
    -----
    A count without a number adds nothing, not a zero; "none seen" adds a zero. A row of several
    alike colonies stands once for each of them.
    """
    tally = UnitTally(design=design)
    for row, things in rows:
        if row.kind in COVER_KINDS:
            add_cover(tally, amount_of(row), things, is_unreadable=bool(row.unreadable))
        elif row.kind == "none_seen":
            for thing in things:
                tally.counts[thing] += 0
        elif row.kind == "count":
            for thing in things:
                if row.n is not None:
                    tally.counts[thing] += row.n
        else:
            n = 1 if row.n is None else row.n
            for thing in things:
                tally.counts[thing] += n
                tally.colonies[thing] += [row] * n
    return tally


def amount_of(row: SurveyRow) -> float:
    """
    Return how much of the bottom a row stands for.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    float
        Metres of tape; 1 for a point; the share of a cell.

    Examples
    --------
    >>> amount_of(SurveyRow(kind="cell", cell=1, cover_pct=25.0))
    0.25
    """
    if row.kind == "intercept":
        return (row.to_m or 0.0) - (row.from_m or 0.0)
    if row.kind == "cell":
        return 1.0 if row.cover_pct is None else row.cover_pct / 100
    return 1.0


def add_cover(
    tally: UnitTally, amount: float, things: Sequence[str], *, is_unreadable: bool
) -> None:
    """
    Add tape, points or cells to the sums of a unit.

    Parameters
    ----------
    tally : UnitTally
    amount : float
        Metres, points or cells.
    things : sequence of str
        What lies there.
    is_unreadable : bool
        It then leaves the denominator.
    """
    if is_unreadable:
        tally.unreadable += amount
        return
    tally.read += amount
    for thing in things:
        tally.on[thing] += amount
