"""Records from tables: every fault listed first, then all stored in one transaction or nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.import_mapping import (
    ROW_FIELDS,
    UNIT_FIELDS,
    UNIT_KEY,
    ImportMapping,
    read_cell,
)
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_words import UnitWords, new_unit
from dryslate.app.visits import require_observer, require_visit, visit_id_of
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.identify.names import find_names
from dryslate.core.survey.designs import (
    DESIGNS,
    EDGE_RULES,
    POINT_RULES,
    ROW_KINDS,
    SurveyRow,
    UnitDesign,
)
from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.formats.table_csv import Table

Key = tuple[str, str, str]
"""Site, date and unit."""
_ALL_KINDS = frozenset(kind for kinds in ROW_KINDS.values() for kind in kinds)
_CHOICES: Mapping[str, Collection[str]] = {
    "design": DESIGNS,
    "edge_rule": EDGE_RULES,
    "point_rule": POINT_RULES,
}
_DESIGN = tuple(f.name for f in fields(UnitDesign))
_ROW = tuple(f.name for f in fields(SurveyRow) if f.name not in ("place", "photo_id"))


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
    """

    units: tuple[PlannedUnit, ...]
    problems: tuple[Problem, ...]

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Who imports, when, and from what data and region names are read."""

    observer: str
    at: str
    taxa: TaxaData
    region: str | None
    photos: Mapping[str, str]
    """Photo ids by name on the memory card, and by id."""


def plan_import(
    tables: Sequence[Table],
    mapping: ImportMapping,
    stamp: Stamp,
    categories: Collection[str] | None,
) -> ImportPlan:
    """
    Read tables of units and of rows, and list every fault; nothing is stored.

    Parameters
    ----------
    tables : sequence of Table
        One table with both, or one of units and one of rows, in any order.
    mapping : ImportMapping
    stamp : Stamp
    categories : collection of str or None
        The project's list; None: it has none, and categories are not looked at.

    Returns
    -------
    ImportPlan
    """
    problems = [p for table in tables for p in table.problems]
    problems += _missing_columns(tables, mapping)
    units: dict[Key, dict[str, Any]] = {}
    rows: dict[Key, list[NotedRow]] = {}
    for table in tables:
        reader = _Reader(table, mapping)
        for number, cells in table.rows:
            said = reader.read(number, cells, problems)
            key = reader.key(number, said, problems)
            if key is None:
                continue
            _keep_unit(units, key, said, f"{table.name}, row {number}", problems)
            if reader.has_rows:
                row = _row_of(said, stamp, f"{table.name}, row {number}", problems)
                if row is not None:
                    rows.setdefault(key, []).append(row)
    planned = tuple(_planned(key, said, rows.get(key, []), problems) for key, said in units.items())
    kept = tuple(unit for unit in planned if unit is not None)
    for unit in kept:
        name = " ".join(unit.key)
        problems += check_unit(unit.design, [r.row for r in unit.rows], name, categories)
    return ImportPlan(units=kept, problems=tuple(problems))


def _missing_columns(tables: Sequence[Table], mapping: ImportMapping) -> Iterator[Problem]:
    """Columns that the mapping names and no table has, and those that nobody can do without."""
    there = {column for table in tables for column in table.columns}
    for field, column in mapping.columns.items():
        if column not in there:
            yield Problem(
                slug="mapping-column-absent",
                severity="error",
                place=f"mapping, {field}",
                message=f"no table has a column {column!r}",
                fix=f"There are: {', '.join(sorted(there))}.",
            )
    for table in tables:
        named = {mapping.columns.get(field, field) for field in UNIT_KEY} - set(table.columns)
        named -= {mapping.columns.get(field, field) for field in mapping.constants}
        if named:
            yield Problem(
                slug="table-column-missing",
                severity="error",
                place=table.name,
                message=f"no column {', '.join(sorted(named))}",
                fix="Each row says its site, date and unit; the mapping can name other columns.",
            )


class _Reader:
    """Reads one table's rows by a mapping."""

    def __init__(self, table: Table, mapping: ImportMapping) -> None:
        self.table, self.mapping = table, mapping
        columns = {column: k for k, column in enumerate(table.columns)}
        self.at = {
            field: columns[mapping.columns.get(field, field)]
            for field in (*UNIT_FIELDS, *ROW_FIELDS)
            if mapping.columns.get(field, field) in columns
        }
        self.has_rows = "kind" in self.at or "kind" in mapping.constants

    def read(self, number: int, cells: Sequence[str], problems: list[Problem]) -> dict[str, Any]:
        """Return what a row says, by our fields."""
        said: dict[str, Any] = {}
        for field in (*UNIT_FIELDS, *ROW_FIELDS):
            at = self.at.get(field)
            text = cells[at] if at is not None else self.mapping.constants.get(field, "")
            column = self.table.columns[at] if at is not None else field
            place = f"{self.table.name}, row {number}, column {column}"
            value, problem = read_cell(field, text, self.mapping, place)
            known = _CHOICES.get(field)
            if problem is None and known is not None and value is not None and value not in known:
                problem, value = _not_a_choice(value, known, place), None
            if problem is not None:
                problems.append(problem)
            if value is not None:
                said[field] = value
        return said

    def key(self, number: int, said: Mapping[str, Any], problems: list[Problem]) -> Key | None:
        """Return site, date and unit; None where one is missing, which is a problem."""
        missing = [name for name in UNIT_KEY if name not in said]
        if not missing:
            return said["site"], said["date"], said["unit"]
        if all(name in self.at or name in self.mapping.constants for name in missing):
            problems.append(
                Problem(
                    slug="row-without-unit",
                    severity="error",
                    place=f"{self.table.name}, row {number}",
                    message=f"does not say its {', '.join(missing)}",
                )
            )
        return None


def _not_a_choice(value: str, known: Collection[str], place: str) -> Problem:
    return Problem(
        slug="cell-not-a-choice",
        severity="error",
        place=place,
        message=f"{value!r} is none of {', '.join(known)}",
        fix="Correct it, or give the table's word under `words` in the mapping.",
    )


def _keep_unit(
    units: dict[Key, dict[str, Any]],
    key: Key,
    said: Mapping[str, Any],
    place: str,
    problems: list[Problem],
) -> None:
    """Remember what is said of a unit; two rows may not say different things of it."""
    known = units.setdefault(key, {"place": place})
    for field in UNIT_FIELDS:
        if field in UNIT_KEY or field not in said:
            continue
        if known.setdefault(field, said[field]) != said[field]:
            problems.append(
                Problem(
                    slug="unit-said-twice",
                    severity="error",
                    place=place,
                    message=f"{field} of unit {key[2]} is {said[field]!r} here and "
                    f"{known[field]!r} in {known['place']}",
                )
            )


def _row_of(
    said: Mapping[str, Any], stamp: Stamp, place: str, problems: list[Problem]
) -> NotedRow | None:
    """Make the row that a line of a table says; None where it tells of the unit only."""
    values = {field: said[field] for field in _ROW if field in said}
    kind = values.get("kind")
    if kind not in _ALL_KINDS:
        problems.append(_not_a_choice(kind or "", sorted(_ALL_KINDS), f"{place}, column kind"))
        return None
    photo_id = None
    if "photo" in said:
        photo_id = stamp.photos.get(said["photo"])
        if photo_id is None:
            problems.append(
                Problem(
                    slug="row-photo-unknown",
                    severity="error",
                    place=place,
                    message=f"no photo {said['photo']!r} in the project, or several",
                    fix="Take the photos in first; give digits of the hash where names repeat.",
                )
            )
    row = SurveyRow(**values, photo_id=photo_id, place=place)
    noted = NotedRow(
        unit_id="", row=row, observer=said.get("observer", stamp.observer), noted_at=stamp.at
    )
    if not row.name:
        return noted
    match = find_names(row.name, stamp.taxa, stamp.region)
    told = {p.message for p in problems if p.severity == "note"}  # once for each name
    problems += [
        replace(problem, place=f"{place}, column name")
        for problem in match.problems
        if problem.message not in told
    ]
    return replace(noted, name=match.name, current_names=tuple(match.genera), rank=match.rank)


def _planned(
    key: Key, said: Mapping[str, Any], rows: Sequence[NotedRow], problems: list[Problem]
) -> PlannedUnit | None:
    """Put a unit together; None and a problem where nobody says how it was sampled."""
    if "design" not in said:
        problems.append(
            Problem(
                slug="unit-without-design",
                severity="error",
                place=said["place"],
                message=f"nothing says how unit {key[2]} was sampled",
                fix=f"Give `design`: one of {', '.join(DESIGNS)}.",
            )
        )
        return None
    design = UnitDesign(**{field: said[field] for field in _DESIGN if field in said})
    return PlannedUnit(key=key, place=said["place"], said=said, design=design, rows=tuple(rows))


def save_import(
    store: SurveyStore, plan: ImportPlan, stamp: Stamp, list_version: int | None
) -> int:
    """
    Store a plan in one transaction: all of it or nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    plan : ImportPlan
        Sound.
    stamp : Stamp
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
    observer = require_observer(store, stamp.observer)
    with store.write():
        for unit in plan.units:
            unit_id = _unit_id(store, unit, observer)
            if store.survey_rows(unit_id):
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
                    stated_at=stamp.at,
                )
            )
            n += store.save_survey_rows(replace(row, unit_id=unit_id) for row in unit.rows)
    return n


def _unit_id(store: SurveyStore, planned: PlannedUnit, observer: str) -> str:
    """Find or make the unit of a plan, with its visit."""
    site, date, name = planned.key
    said = planned.said
    who = said.get("observer", observer)
    visit_id = visit_id_of(site, date)
    if visit_id not in {visit.visit_id for visit in store.visits()}:
        store.save_visit(require_visit(store, site, date, who))
    for unit in store.units(visit_id):
        if unit.name == name:
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
