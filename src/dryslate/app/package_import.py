"""Reading a data package of ours into an empty project: all of it or nothing."""

from __future__ import annotations

import csv
import io
import json
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import IO, TYPE_CHECKING, Any, Protocol, cast

from dryslate.app.archived_frames import keep_sketches
from dryslate.app.empty_project import filling, placed
from dryslate.app.logger_days import LoggerDay, kept_of
from dryslate.app.package_corals import save_corals
from dryslate.app.package_make import DESCRIPTOR, VERSION
from dryslate.app.package_tables import TABLES, PackageTable, kind_of, neighbours, record_of
from dryslate.app.visit_conditions import NUMBERS
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.condition_records import VisitConditions
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import NotedRow

MOST_BYTES = 4 << 30
MOST_TOLD = 200
SINCE_NEWER = 5
"""Version from which on the columns of `PackageTable.newer` must be there."""


class PackageFiles(Protocol):
    """The files of a package."""

    def names(self) -> tuple[str, ...]:
        """Return the names of all files."""

    def open(self, name: str) -> IO[bytes]:
        """Open a file for reading."""

    def read(self, name: str, most_bytes: int) -> bytes:
        """Read a file whole."""


@dataclass(frozen=True, kw_only=True)
class PackageRead:
    """
    What was read.

    Parameters
    ----------
    records : Mapping
        By table.
    facts : Mapping
    region : str or None
    problems : tuple of Problem
        Nothing is stored while one is an error.
    """

    records: Mapping[str, list[Any]]
    facts: Mapping[str, str]
    region: str | None
    problems: tuple[Problem, ...]

    @property
    def is_sound(self) -> bool:
        """Tell whether it can be stored."""
        return not any(one.severity == "error" for one in self.problems)

    def as_dict(self) -> dict[str, Any]:
        """Return counts and problems, for JSON."""
        return {
            "n_rows": {name: len(rows) for name, rows in self.records.items()},
            "is_sound": self.is_sound,
            "problems": [one.as_dict() for one in self.problems],
        }


def read_package(files: PackageFiles, name: str) -> PackageRead:
    """
    Read a data package, with every fault.

    Parameters
    ----------
    files : PackageFiles
    name : str
        For messages.

    Raises
    ------
    InputError
        ``package-not-ours``, ``package-newer``.
    """
    said = _descriptor(files, name)
    faults: list[Problem] = []
    version, names = int(said["package"]), files.names()
    records: dict[str, list[Any]] = {}
    for table in TABLES:
        was = f"data/{table.was}.csv"
        file = was if version < VERSION and was in names else _file(table)
        is_older = table.since > version and file not in names
        found = [] if is_older else _records(files, (table, file, version), faults)
        records[table.name] = list(found)
    _check_rows(records, faults)
    facts = said.get("facts") or {}
    return PackageRead(
        records=records,
        facts={str(k): str(v) for k, v in facts.items()},
        region=said.get("region"),
        problems=tuple(faults),
    )


def _file(table: PackageTable) -> str:
    return f"data/{table.name}.csv"


def _descriptor(files: PackageFiles, name: str) -> Mapping[str, Any]:
    """Return what the descriptor says of us."""
    try:
        found = json.loads(files.read(DESCRIPTOR, 50 << 20))
        said = found["dryslate"]
        version = int(said["package"])
    except (ValueError, KeyError, TypeError) as error:
        if isinstance(error, DryslateError):
            raise
        raise InputError(
            "package-not-ours",
            f"{name}: {DESCRIPTOR} is none that dryslate wrote.",
            "Tables of others are imported as CSV with a mapping.",
        ) from error
    if version > VERSION:
        raise InputError(
            "package-newer",
            f"{name}: written by a newer version of dryslate.",
            "Install the newer version to read it.",
        )
    return cast("Mapping[str, Any]", said)


def _fault(slug: str, place: str, message: str) -> Problem:
    return Problem(slug=slug, severity="error", place=place, message=message, fix="")


def _records(
    files: PackageFiles, asked: tuple[PackageTable, str, int], faults: list[Problem]
) -> Iterator[Any]:
    """Read the records of a table of a version; a row with a fault is told and left out."""
    table, file, version = asked
    if file not in files.names():
        faults.append(_fault("package-file-missing", file, "not in the package"))
        return
    kinds = {name: (hint, *kind_of(hint)) for name, hint in table.columns().items()}
    with files.open(file) as raw:
        reader = csv.reader(io.TextIOWrapper(raw, "utf-8", newline=""))
        try:
            heading = next(reader, [])
            older = table.newer if version < SINCE_NEWER else ()
            missing = [n for n in kinds if n not in heading and n not in older]
            if missing:
                message = f"no column {', '.join(missing)}"
                faults.append(_fault("package-column-missing", file, message))
                return
            for number, cells in enumerate(reader, start=2):
                found = _record(
                    table,
                    kinds,
                    dict(zip(heading, cells, strict=False)),
                    faults,
                    f"{file}, row {number}",
                )
                if found is not None:
                    yield found
        except (csv.Error, UnicodeDecodeError) as error:
            faults.append(_fault("package-file-broken", file, str(error)))


def _record(
    table: PackageTable,
    kinds: Mapping[str, tuple[Any, str, bool]],
    cells: Mapping[str, str],
    faults: list[Problem],
    place: str,
) -> Any:
    """Read one record; None where a cell of it cannot be."""
    said: dict[str, Any] = {}
    n = len(faults)
    for name, (hint, kind, may_lack) in kinds.items():
        text = cells.get(name, "")
        try:
            said[name] = _value(text, hint, kind, may_lack)
        except ValueError:
            message = f"{text!r}: expected {kind}"
            faults.append(_fault("package-cell", f"{place}, column {name}", message))
    if len(faults) > n:
        return None
    if "neighbours" in said:
        said["neighbours"] = neighbours(said["neighbours"])
    try:
        return record_of(table, said)
    except (ValueError, TypeError) as error:
        faults.append(_fault("package-cell", place, str(error)))
        return None


def _value(text: str, hint: Any, kind: str, may_lack: bool) -> Any:
    """Return a cell's value."""
    from typing import get_args

    if not text:
        if may_lack:
            return None
        if kind in ("string",):
            return ""
        raise ValueError
    if kind == "boolean":
        return {"true": True, "false": False}[text] if text in ("true", "false") else _bad()
    if kind == "integer":
        return int(text)
    if kind == "number":
        value = float(text)
        return value if math.isfinite(value) else _bad()
    if kind == "object":
        told = json.loads(text)
        return told if isinstance(told, dict) else _bad()
    if kind == "array":
        found = json.loads(text)
        return tuple(found) if isinstance(found, list) else _bad()
    choices = [c for c in _choices(hint, get_args) if isinstance(c, str)]
    return text if not choices or text in choices else _bad()


def _choices(hint: Any, get_args: Any) -> list[Any]:
    """Return the words that a column may hold; none where any will do."""
    found: list[Any] = []
    for one in get_args(hint):
        found += [one] if isinstance(one, str) else _choices(one, get_args)
    return found


def _bad() -> Any:
    raise ValueError


def _check_rows(records: Mapping[str, list[Any]], faults: list[Problem]) -> None:
    """Ids are there once and lead somewhere, and each unit checks itself."""
    from dryslate.core.survey.unit_checks import check_unit

    known: dict[tuple[str, str], set[Any]] = {}
    for table in TABLES:
        for field in {field for _, field in table.parents.values()} | set(table.key):
            known[table.name, field] = {getattr(r, field, None) for r in records[table.name]}
        if table.key:
            keys: set[tuple[Any, ...]] = set()
            for record in records[table.name]:
                key = tuple(getattr(record, field) for field in table.key)
                if key in keys:
                    message = f"{', '.join(map(str, key))} stands twice"
                    faults.append(_fault("package-row-twice", table.name, message))
                keys.add(key)
    for table in TABLES:
        for field, (parent, other) in table.parents.items():
            there = known.get((parent, other)) or {getattr(r, other) for r in records[parent]}
            for record in records[table.name]:
                value = getattr(record, field)
                if value is not None and value not in there:
                    message = f"{parent} has no {other} {value!r}"
                    faults.append(_fault("package-link", f"{table.name}, {field}", message))
    _check_conditions(records["visit_conditions"], faults)
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    for noted in records["survey_rows"]:
        rows[noted.unit_id].append(noted)
    units = {unit.unit_id: unit for unit in records["units"]}
    for stated in records["unit_designs"]:
        unit = units.get(stated.unit_id)
        name = f"{unit.visit_id} {unit.name or ''}" if unit is not None else stated.unit_id
        checked = check_unit(stated.design, [one.row for one in rows[stated.unit_id]], name)
        faults.extend(replace(one, severity="warning") for one in checked[:MOST_TOLD])


def _check_conditions(stated: Sequence[VisitConditions], faults: list[Problem]) -> None:
    """What was measured on visits can be."""
    for one in stated:
        for name, (low, high) in NUMBERS.items():
            value = getattr(one, name)
            if value is not None and not low <= value <= high:
                message = f"{value:g}: expected {low:g} to {high:g}"
                place = f"visit_conditions, {one.visit_id}, column {name}"
                faults.append(_fault("package-cell", place, message))


def save_package(store: SurveyStore, read: PackageRead, observer: str) -> int:
    """
    Store a package that is sound; see `dryslate.app.empty_project.filling`.

    Returns
    -------
    int
        Rows of units stored.
    """
    photos = set(store.photo_ids())
    records = read.records
    with filling(store, observer):
        if read.region:
            store.save_region(read.region)
        for name, value in read.facts.items():
            store.save_project_fact(name, value)
        days: dict[str, list[LoggerDay]] = defaultdict(list)
        for day in records["logger_days"]:
            days[day.logger_id].append(day)
        for table, save in _places(store):
            for record in records[table]:
                save(record)
        save_corals(store, records, photos)
        for table, save in _colonies(store):
            for record in records[table]:
                save(record)
        for stated in records["loggers"]:
            if days[stated.logger_id]:
                store.save_site_logger(*kept_of(stated, days[stated.logger_id]))
        store.replace_name_ids(records["name_ids"])
        for site in {one.site for one in records["zone_weights"]}:
            store.replace_zone_weights(
                site, [one for one in records["zone_weights"] if one.site == site]
            )
        store.save_categories(records["categories"])
        store.save_category_mappings(records["category_mappings"])
        keep_sketches(store, records["colony_sketches"])
        for stated in records["unit_designs"]:
            store.save_unit_design(stated)
        return store.save_survey_rows(placed(one, photos) for one in records["survey_rows"])


def _places(store: SurveyStore) -> list[tuple[str, Any]]:
    """Return what stores the records of each table that corals refer to."""
    return [
        ("observers", store.save_observer),
        ("sites", store.save_site),
        ("zones", store.save_zone),
        ("site_places", store.save_site_place),
        ("people", store.save_project_person),
        ("visits", store.save_visit),
        ("visit_conditions", store.save_visit_conditions),
        ("clocks", store.save_clock_offset),
        ("units", store.save_unit),
        ("unit_places", store.save_unit_place),
    ]


def _colonies(store: SurveyStore) -> list[tuple[str, Any]]:
    """Return what stores the records of each table of tagged colonies."""
    return [
        ("colonies", store.save_colony),
        ("colony_sightings", store.save_colony_sighting),
        ("colony_fractions", store.save_colony_fractions),
        ("stress_onsets", store.save_stress_onset),
        ("photos", store.save_archived_photo),
        ("colony_frames", store.save_archived_frame),
    ]
