"""Changes put together as they are looked at: one panel a figure, zone and way of sampling."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS
from dryslate.app.result_tallies import ALL
from dryslate.core.survey.colony_health import examined

if TYPE_CHECKING:
    from dryslate.app.change_rows import ChangeRow
    from dryslate.app.result_tallies import SampledAlike

FAR = 3.0
"""What reaches beyond so many times the median reach of a panel goes over the axis' end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePanel:
    """
    Changes of one figure in one zone, sampled in one way.

    Parameters
    ----------
    figure, zone, design, site : str
    rows : tuple of ChangeRow
        The thing of which there is most first; of a thing by date.
    reach : float
        The axis goes as far on both sides of 0.
    """

    figure: str
    zone: str
    design: str
    site: str
    rows: tuple[ChangeRow, ...]
    reach: float


def compared_subjects(groups: Sequence[SampledAlike]) -> set[str]:
    """
    Return the subjects of figures that can be compared between visits.

    Parameters
    ----------
    groups : sequence of SampledAlike

    Returns
    -------
    set of str
        Of `dryslate.app.result_panels.SUBJECTS`.
    """
    designs = {group.design for group in groups}
    found = {"cover"} if designs & set(COVER_DESIGNS) else set()
    found |= {"density"} if designs & set(COUNT_DESIGNS) else set()
    rows = [
        row for group in groups for tally in group.tallies for row in tally.colonies.get(ALL, ())
    ]
    found |= {"sizes"} if any(row.longest_cm is not None for row in rows) else set()
    return found | ({"health"} if examined(rows) else set())


def change_panels(rows: Sequence[ChangeRow]) -> tuple[ChangePanel, ...]:
    """
    Put changes into panels.

    Parameters
    ----------
    rows : sequence of ChangeRow

    Returns
    -------
    tuple of ChangePanel
        By design, figure, zone and site.
    """

    def place(row: ChangeRow) -> tuple[str, str, str, str]:
        return row.design, row.figure, row.zone, row.site

    found = []
    for (design, figure, zone, site), same in groupby(sorted(rows, key=place), key=place):
        here = list(same)
        most: dict[str, float] = {}
        for row in here:
            level = max(row.before or 0.0, row.after or 0.0)
            most[row.thing] = max(most.get(row.thing, 0.0), level)
        here.sort(key=lambda row: (-most[row.thing], row.thing, row.last))
        panel = ChangePanel(
            figure=figure, zone=zone, design=design, site=site, rows=tuple(here), reach=_reach(here)
        )
        found.append(panel)
    return tuple(found)


def _reach(rows: Sequence[ChangeRow]) -> float:
    """Choose how far the axis goes: all estimates, and intervals that are not far out."""
    estimates = [abs(row.estimate) for row in rows if row.estimate is not None] or [0.0]
    ends = [
        max(abs(row.lo95), abs(row.hi95))
        for row in rows
        if row.lo95 is not None and row.hi95 is not None
    ]
    near = min(max(ends), FAR * statistics.median(ends)) if ends else 0.0
    return max(1.1 * max(estimates), near) or 1.0
