"""Figures put together as they are looked at: by subject, then one panel a figure and zone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.result_rows import ResultRow

SUBJECTS: Mapping[str, tuple[str, ...]] = {
    "cover": ("cover_",),
    "density": ("density_", "count_", "juvenile_"),
    "sizes": ("geometric_mean", "cv_", "log_", "size_", "class_share"),
    "health": ("prevalence_", "bleached_", "partial_", "bleaching_"),
    "diversity": (),
}
"""How the figures of each subject begin; the last takes all others."""
FAR = 2.0
"""An interval that ends beyond so many times the largest estimate goes over the axis' end."""
KINDS = ("category", "group", "name")


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """
    One figure of one zone, sampled in one way, for several things and visits.

    Parameters
    ----------
    zone, design, figure, about, weights : str
    things : tuple of tuple of ResultRow
        For each thing its rows by date.
    low, high : float
        Ends of the axis: from 0 or the smallest value, to the last end of an interval that lies
        within twice the largest estimate.
    """

    zone: str
    design: str
    figure: str
    about: str
    weights: str
    things: tuple[tuple[ResultRow, ...], ...]
    low: float
    high: float


def subject_of(figure: str) -> str:
    """
    Return the subject of a figure.

    Examples
    --------
    >>> subject_of("cover_frac"), subject_of("hill_1")
    ('cover', 'diversity')
    """
    for subject, starts in SUBJECTS.items():
        if figure.startswith(starts) and starts:
            return subject
    return "diversity"


def panels_of(rows: Sequence[ResultRow]) -> tuple[Panel, ...]:
    """
    Put rows of one site and subject into panels.

    Parameters
    ----------
    rows : sequence of ResultRow

    Returns
    -------
    tuple of Panel
        By design, figure, what it is about, and zone; things in the order of their largest figure.
    """

    def place(row: ResultRow) -> tuple[str, str, str, str, str]:
        return row.design, row.figure, row.about, row.zone, row.weights

    order = {figure: n for n, figure in enumerate(dict.fromkeys(row.figure for row in rows))}
    ordered = sorted(rows, key=lambda row: (row.design, order[row.figure], place(row), row.thing))
    return tuple(_panel(list(same)) for _, same in groupby(ordered, key=place))


def _panel(rows: Sequence[ResultRow]) -> Panel:
    """Make one panel."""
    by_thing: dict[str, list[ResultRow]] = {}
    for row in rows:
        by_thing.setdefault(row.thing, []).append(row)
    largest = {
        thing: max((row.estimate or 0.0) for row in same) for thing, same in by_thing.items()
    }
    things = sorted(by_thing, key=lambda thing: (-largest[thing], thing))
    low, high = _ends(rows)
    first = rows[0]
    return Panel(
        zone=first.zone,
        design=first.design,
        figure=first.figure,
        about=first.about,
        weights=first.weights,
        things=tuple(tuple(sorted(by_thing[t], key=lambda row: row.date)) for t in things),
        low=low,
        high=high,
    )


def _ends(rows: Sequence[ResultRow]) -> tuple[float, float]:
    """Choose where the axis begins and ends: all estimates, and intervals that end near them."""
    estimates = [row.estimate for row in rows if row.estimate is not None] or [0.0]
    largest = max(estimates)
    upper = [row.hi95 for row in rows if row.hi95 is not None]
    near = [value for value in upper if value <= FAR * largest] or upper[:1]
    high = max([1.1 * largest, *near])
    if rows[0].figure.endswith("_frac"):
        high = min(high, 1.0)
    low = min([0.0, *estimates, *(row.lo95 for row in rows if row.lo95 is not None)])
    return low, high if high > low else low + 1.0
