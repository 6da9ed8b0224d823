"""From a change back to what it rests on: the units of its visits, and their rows about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.result_tallies import ALL, rows_about
from dryslate.app.result_trail import TrailUnit, with_papers

if TYPE_CHECKING:
    from dryslate.app.change_categories import CategoryLists
    from dryslate.app.change_rows import ChangeRow
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category
    from dryslate.app.unit_records import Unit

MOST_UNITS = 60
"""Units whose rows are shown; of more, the units alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitTrail:
    """
    The units of one visit that a change rests on.

    Parameters
    ----------
    site, date : str
    units : tuple of TrailUnit
        Without rows where there are too many units.
    """

    site: str
    date: str
    units: tuple[TrailUnit, ...]


def change_trail(
    store: SurveyStore, usual: Sequence[Category], lists: CategoryLists, row: ChangeRow
) -> tuple[VisitTrail, ...]:
    """
    Follow a change to its units and rows.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.
    lists : CategoryLists
    row : ChangeRow

    Returns
    -------
    tuple of VisitTrail
        By date and site.
    """
    visits = {visit.visit_id: visit for visit in store.visits()}
    units = {unit.unit_id: unit for unit in store.units()}
    aside = {one.photo_id for one in store.photos_set_aside()}
    used = (j for j in store.unit_photos() if j.how != "slate")
    joined = [join for join in used if join.photo_id not in aside]
    has_rows = len(row.unit_ids) <= MOST_UNITS
    told: dict[tuple[str, str], list[TrailUnit]] = {}
    for unit_id in dict.fromkeys(row.unit_ids):
        unit = units[unit_id]
        stored = store.survey_rows(unit_id) if has_rows else ()
        noted = [one for one in stored if one.row.photo_id not in aside]
        about = {
            one.row_no: one
            for thing in _things(row, lists, unit)
            for one in rows_about(store, usual, noted, thing)
        }
        visit = visits[unit.visit_id]
        told.setdefault((visit.date, visit.site), []).append(
            TrailUnit(
                unit=unit,
                rows=tuple(one for one in noted if one.row_no in about),
                n_rows=len(noted),
                n_photos=sum(join.unit_id == unit_id for join in joined),
            )
        )
    return tuple(
        VisitTrail(site=site, date=date, units=with_papers(store, found))
        for (date, site), found in sorted(told.items())
    )


def _things(row: ChangeRow, lists: CategoryLists, unit: Unit) -> tuple[str, ...]:
    """Name what rows of a unit count to that count to the change: names, or its list's words."""
    own = f"{row.kind_of_thing}\t{row.thing}"
    if row.kind_of_thing == "name":
        return tuple(f"name\t{name}" for name in row.together) or (own,)
    version = lists.used.get(unit.unit_id)
    target = max((lists.used[one] for one in row.unit_ids if one in lists.used), default=version)
    if own == ALL or version is None or target is None or version == target:
        return (own,)
    newest, found = lists.lists[target], []
    for category in lists.lists[version]:
        to = lists.stands_for(version, category, target)
        if to is not None and row.thing in (to, newest[to].group):
            found.append(f"category\t{category}")
    return tuple(found)
