"""Records from tables: every fault listed first, then all stored in one transaction or nothing."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.import_mapping import ImportMapping
from dryslate.app.import_reading import (
    ImportSource,
    Key,
    Reader,
    RowMaker,
    column_faults,
    fault,
    keep_unit,
    searched_names,
)
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_words import UnitWords, new_unit
from dryslate.app.visits import require_observer, require_visit, visit_id_of
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.survey.designs import DESIGNS, UnitDesign
from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.formats.table_csv import Table

_WORDS = {
    "kind": "unit_kind",
    "zone": "zone",
    "depth_m": "depth_m",
    "depth_m_u": "depth_m_u",
    "note": "unit_note",
}
"""What a table can add to a unit that the project knows already."""
_DESIGN = tuple(f.name for f in fields(UnitDesign))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedUnit:
    """A unit with its design and rows, as read from tables; `place` is where it is first told."""

    key: Key
    place: str
    said: Mapping[str, Any]
    design: UnitDesign
    rows: tuple[NotedRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportPlan:
    """
    What would be stored, and every fault.

    Parameters
    ----------
    units : tuple of PlannedUnit
    problems : tuple of Problem
        Nothing is stored while one of them is an error.
    tables : tuple of Table
        What was read.
    mapping : ImportMapping
    """

    units: tuple[PlannedUnit, ...]
    problems: tuple[Problem, ...]
    tables: tuple[Table, ...] = ()
    mapping: ImportMapping = field(default_factory=ImportMapping)

    @property
    def is_sound(self) -> bool:
        """Tell whether it can be stored."""
        return not any(problem.severity == "error" for problem in self.problems)

    @property
    def n_rows(self) -> int:
        """Count the rows."""
        return sum(len(unit.rows) for unit in self.units)

    def as_dict(self) -> dict[str, Any]:
        """Return counts and problems as plain values, for JSON."""
        return {
            "n_units": len(self.units),
            "n_rows": self.n_rows,
            "is_sound": self.is_sound,
            "units": [
                {"site": u.key[0], "date": u.key[1], "unit": u.key[2], "n_rows": len(u.rows)}
                for u in self.units
            ],
            "problems": [problem.as_dict() for problem in self.problems],
        }


def plan_import(
    tables: Sequence[Table],
    mapping: ImportMapping,
    source: ImportSource,
    categories: Collection[str] | None,
) -> ImportPlan:
    """
    Read tables of units and of rows, and list every fault; nothing is stored.

    Parameters
    ----------
    tables : sequence of Table
        One table with both, or one of units and one of rows, in any order.
    mapping : ImportMapping
    source : ImportSource
    categories : collection of str or None
        The project's list; None: it has none, and categories are not looked at.

    Returns
    -------
    ImportPlan
    """
    problems = [p for table in tables for p in table.problems]
    problems += column_faults(tables, mapping)
    maker = RowMaker(source)
    units: dict[Key, dict[str, Any]] = {}
    rows: dict[Key, list[NotedRow]] = {}
    for table in tables:
        reader = Reader(table, mapping)
        if not table.rows and not table.problems:
            problems.append(fault("table-empty", table.name, "a heading and no rows"))
        for number, cells in table.rows:
            said = reader.read(number, cells, problems)
            key = reader.key(number, said, problems)
            if key is None:
                continue
            place = f"{table.name}, row {number}"
            keep_unit(units, key, said, place, problems)
            if reader.has_rows:
                row = maker.make(key, said, place, problems)
                if row is not None:
                    rows.setdefault(key, []).append(row)
    for said in units.values():
        place = f"{said['place']}, column searched"
        said["searched"] = searched_names(said.get("searched", ()), source, place, problems)
    planned = tuple(_planned(key, said, rows.get(key, []), problems) for key, said in units.items())
    kept = tuple(unit for unit in planned if unit is not None)
    for unit in kept:
        name = " ".join(unit.key)
        if not unit.rows:
            problems.append(
                fault(
                    "unit-without-rows",
                    unit.place,
                    f"{name}: nothing is noted in it, so it stays blank",
                    'Where somebody looked and there was none, note a 0 or "none seen".',
                    "warning",
                )
            )
        problems += check_unit(unit.design, [r.row for r in unit.rows], name, categories)
    return ImportPlan(units=kept, problems=tuple(problems), tables=tuple(tables), mapping=mapping)


def _planned(
    key: Key, said: Mapping[str, Any], rows: Sequence[NotedRow], problems: list[Problem]
) -> PlannedUnit | None:
    """Put a unit together; None and a problem where nobody says how it was sampled."""
    if "design" not in said:
        problems.append(
            fault(
                "unit-without-design",
                said["place"],
                f"nothing says how unit {key[2]} was sampled",
                f"Give `design`: one of {', '.join(DESIGNS)}.",
            )
        )
        return None
    design = UnitDesign(**{name: said[name] for name in _DESIGN if name in said})
    return PlannedUnit(key=key, place=said["place"], said=said, design=design, rows=tuple(rows))


def units_with_rows(store: SurveyStore, plan: ImportPlan) -> tuple[Problem, ...]:
    """Name the units of a plan in which something is noted already: a table imported twice."""
    visits = {unit.key[:2] for unit in plan.units}
    there = {
        (site, date, unit.name)
        for site, date in visits
        for unit in store.units(visit_id_of(site, date))
        if store.has_survey_rows(unit.unit_id)
    }
    return tuple(
        fault(
            "unit-has-rows",
            unit.place,
            f"{' '.join(unit.key)}: something is noted in this unit already",
            "Was the table imported before?",
        )
        for unit in plan.units
        if unit.key in there
    )


def save_import(
    store: SurveyStore, plan: ImportPlan, source: ImportSource, list_version: int | None
) -> int:
    """
    Store a plan in one transaction: all of it or nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    plan : ImportPlan
        Sound.
    source : ImportSource
    list_version : int or None
        Version of the list of categories that the rows use.

    Returns
    -------
    int
        Rows stored.

    Raises
    ------
    InputError
        ``unit-has-rows`` where a unit has rows already: the same table twice stores nothing twice.
    """
    n = 0
    observer = require_observer(store, source.observer)
    visits = {visit.visit_id for visit in store.visits()}
    with store.write():
        for unit in plan.units:
            unit_id = _unit_id(store, unit, observer, visits)
            if store.has_survey_rows(unit_id):
                raise InputError(
                    "unit-has-rows",
                    f"{' '.join(unit.key)}: something is noted in this unit already.",
                    "Was the table imported before? Nothing of it was stored now.",
                )
            store.save_unit_design(
                StatedDesign(
                    unit_id=unit_id,
                    design=unit.design,
                    list_version=list_version,
                    observer=unit.said.get("observer", observer),
                    stated_at=source.at,
                )
            )
            n += store.save_survey_rows(replace(row, unit_id=unit_id) for row in unit.rows)
    return n


def _unit_id(store: SurveyStore, planned: PlannedUnit, observer: str, visits: set[str]) -> str:
    """Find or make the unit of a plan, with its visit, which `visits` then knows."""
    site, date, name = planned.key
    said = planned.said
    who = said.get("observer", observer)
    visit_id = visit_id_of(site, date)
    if visit_id not in visits:
        store.save_visit(require_visit(store, site, date, who))
        visits.add(visit_id)
    for unit in store.units(visit_id):
        if unit.name == name:
            more = {
                field: said[column]
                for field, column in _WORDS.items()
                if column in said and getattr(unit, field) in (None, "")
            }
            if more:
                store.save_unit(replace(unit, **more))
            return unit.unit_id
    depth = said.get("depth_m")
    words = UnitWords(
        name=name,
        kind=said.get("unit_kind"),
        zone=said.get("zone"),
        depth_m=depth,
        depth_m_u=said.get("depth_m_u"),
        note=said.get("unit_note", ""),
    )
    made = new_unit(store, visit_id, words, who, f"import {name}")
    store.save_unit(made)
    return made.unit_id
