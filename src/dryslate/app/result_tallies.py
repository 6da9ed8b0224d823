"""From what was noted to the sums of each unit: the only step that reads every row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.core.survey.designs import Design
from dryslate.core.survey.tally import UnitTally, tally_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category, NotedRow
    from dryslate.app.unit_records import Unit

ALL = "all corals"


@dataclass(frozen=True, slots=True, kw_only=True)
class TalliedUnit:
    """A unit with what it adds to each figure."""

    unit: Unit
    tally: UnitTally


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledAlike:
    """
    Units that make a figure together.

    Parameters
    ----------
    visit_id, site, date : str
    zone : str
        Empty where the units state none.
    design : str
    is_permanent : bool
        Permanent plots, which speak of themselves.
    units : tuple of TalliedUnit
    """

    visit_id: str
    site: str
    date: str
    zone: str
    design: Design
    is_permanent: bool
    units: tuple[TalliedUnit, ...]

    @property
    def where(self) -> tuple[str, str, str]:
        """Site, date and zone."""
        return self.site, self.date, self.zone

    @property
    def tallies(self) -> tuple[UnitTally, ...]:
        """What each unit adds."""
        return tuple(one.tally for one in self.units)

    @property
    def unit_ids(self) -> tuple[str, ...]:
        """Return the units, in their order."""
        return tuple(one.unit.unit_id for one in self.units)


def tally_units(store: SurveyStore, usual: Sequence[Category]) -> tuple[SampledAlike, ...]:
    """
    Sum what was noted in every unit, and put units that were sampled alike together.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.

    Returns
    -------
    tuple of SampledAlike
        By visit, zone, design, permanent plots apart. Things are keyed by kind and word, with a
        tab between: ``category``, ``group`` or ``name``.

    Notes
    -----
    Points on photos that are set aside are left out. Units without rows stay, with empty sums. A
    name that a unit says was searched for counts 0 there if nothing says more.
    """
    visits = {visit.visit_id: visit for visit in store.visits()}
    lists: dict[int | None, dict[str, Category]] = defaultdict(dict)
    for one in store.categories():
        lists[one.list_version][one.category] = one
    lists[None] = {one.category: one for one in usual}
    units = {unit.unit_id: unit for unit in store.units()}
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    aside = {one.photo_id for one in store.photos_set_aside()}
    for noted in store.survey_rows():
        if noted.row.photo_id is None or noted.row.photo_id not in aside:
            rows[noted.unit_id].append(noted)
    groups: dict[tuple[str, str, Design, bool], list[TalliedUnit]] = defaultdict(list)
    for stated in store.unit_designs():
        unit, known = units[stated.unit_id], lists[stated.list_version]
        named = [(noted.row, tuple(_things(noted, known))) for noted in rows[unit.unit_id]]
        tally = tally_unit(stated.design, named)
        for name in stated.design.searched:
            tally.counts.setdefault(f"name\t{name}", 0)
        key = (unit.visit_id, unit.zone or "", stated.design.design, stated.design.is_permanent)
        groups[key].append(TalliedUnit(unit=unit, tally=tally))
    return tuple(
        SampledAlike(
            visit_id=visit_id,
            site=visits[visit_id].site,
            date=visits[visit_id].date,
            zone=zone,
            design=design,
            is_permanent=is_permanent,
            units=tuple(sampled),
        )
        for (visit_id, zone, design, is_permanent), sampled in sorted(groups.items())
    )


def _things(noted: NotedRow, known: Mapping[str, Category]) -> Iterator[str]:
    """Name what a row counts to: category, group, name, and all corals."""
    row, name = noted.row, noted.name or noted.row.name
    if row.category:
        yield f"category\t{row.category}"
        one = known.get(row.category)
        if one is not None and one.group != row.category:
            yield f"group\t{one.group}"
        if one is not None and one.is_hard_coral and row.kind == "colony":
            yield f"group\t{ALL}"
    elif row.kind == "colony":
        yield f"group\t{ALL}"
    if name:
        yield f"name\t{name}"
