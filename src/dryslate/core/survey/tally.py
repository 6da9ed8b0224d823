"""What one unit adds to each figure, its blanks kept blank."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from dryslate.core.survey.designs import SurveyRow, UnitDesign

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
    widths_m : dict
        How far each colony under a tape reaches across it, where noted.
    n_without_width : dict
        Colonies under a tape of which that was not noted.
    sizes_cm : dict
        Longest diameters.
    examined, with_bleached, with_pale_or_bleached : dict
        Colonies whose shares were noted, not wholly old dead; those with any such share.
    """

    design: UnitDesign
    on: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    read: float = 0.0
    unreadable: float = 0.0
    counts: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    widths_m: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    n_without_width: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    sizes_cm: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    examined: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    with_bleached: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    with_pale_or_bleached: dict[str, int] = field(default_factory=lambda: defaultdict(int))


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
    A count without a number adds nothing, not a zero; "none seen" adds a zero. Wholly old-dead
    colonies are not examined: they cannot bleach. A colony of unknown shares is not examined
    either.
    """
    tally = UnitTally(design=design)
    for row, things in rows:
        if row.kind in ("intercept", "point", "cell"):
            _add_cover(tally, row, things)
        elif row.kind == "none_seen":
            for thing in things:
                tally.counts[thing] += 0
        elif row.kind == "count":
            for thing in things:
                if row.n is not None:
                    tally.counts[thing] += row.n
        else:
            _add_colony(tally, row, things)
    return tally


def _add_cover(tally: UnitTally, row: SurveyRow, things: Sequence[str]) -> None:
    """Add a stretch of tape, a point or a part of a cell."""
    if row.kind == "intercept":
        amount = (row.to_m or 0.0) - (row.from_m or 0.0)
    elif row.kind == "cell":
        amount = 1.0 if row.cover_pct is None else row.cover_pct / 100
    else:
        amount = 1.0
    if row.unreadable:
        tally.unreadable += amount
        return
    tally.read += amount
    for thing in things:
        tally.on[thing] += amount


def _add_colony(tally: UnitTally, row: SurveyRow, things: Sequence[str]) -> None:
    """Add one colony."""
    shares = (row.normal_pct, row.pale_pct, row.bleached_pct, row.recently_dead_pct)
    is_examined = None not in shares and (row.old_dead_pct or 0.0) < 100
    for thing in things:
        tally.counts[thing] += 1 if row.n is None else row.n
        if row.longest_cm is not None:
            tally.sizes_cm[thing].append(row.longest_cm)
        if row.across_line_m is not None:
            tally.widths_m[thing].append(row.across_line_m)
        else:
            tally.n_without_width[thing] += 1
        if is_examined:
            tally.examined[thing] += 1
            tally.with_bleached[thing] += (row.bleached_pct or 0) > 0
            tally.with_pale_or_bleached[thing] += (row.bleached_pct or 0) + (row.pale_pct or 0) > 0
