"""The tables of a data package: what the figures rest on, each field with its kind and unit."""

from __future__ import annotations

import json
import types
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any, Literal, Union, get_args, get_origin, get_type_hints

from dryslate.app.archive_loggers import loggers_to_archive
from dryslate.app.archive_settings import sketches_of
from dryslate.app.archived_frames import frames_to_archive, photos_to_archive, require_measured
from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.checked_rows import checked_row
from dryslate.app.colony_records import Colony, ColonyFractions, Neighbour, Sighting, StressOnset
from dryslate.app.condition_records import VisitConditions
from dryslate.app.coral_health import HealthRow
from dryslate.app.corals_elsewhere import require_clock, require_coral, require_size
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.app.import_template import MEANINGS
from dryslate.app.logger_days import LoggerDay, LoggerDeployment, days_of
from dryslate.app.package_corals import (
    chances_to_package,
    corals_to_package,
    health_to_package,
    looks_to_package,
    outcomes_to_package,
    photo_units_to_package,
    sizes_to_package,
)
from dryslate.app.package_meanings import FIELDS, UNITS
from dryslate.app.project_records import ClockOffset, Observer, Site, Zone
from dryslate.app.publication_records import NameId, ProjectPerson, SitePlace, UnitPlace
from dryslate.app.records import MeasurementRow, Visit
from dryslate.app.result_rows import ResultRow
from dryslate.app.survey_records import Category, CategoryMapping, NotedRow, StatedDesign
from dryslate.app.unit_records import Unit, UnitPhoto
from dryslate.app.zone_records import ZoneWeight
from dryslate.core.survey.designs import SurveyRow, UnitDesign

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

_KNOWN: dict[str, dict[str, Any]] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageTable:
    """
    One table.

    Parameters
    ----------
    name : str
    kinds : tuple of type
        Record types whose fields are its columns; a field that is a record of the next kind is
        not a column itself.
    key : tuple of str
        Fields that tell one row from another.
    rows : callable
        Store to records.
    parents : Mapping
        Field to table and field that it refers to.
    left : tuple of str
        Fields that are no columns.
    since : int
        Version of the package from which on it must be there.
    was : str
        Its name in packages of before.
    newer : tuple of str
        Columns that packages of before 5 do not have.
    """

    name: str
    kinds: tuple[type, ...]
    key: tuple[str, ...]
    rows: Callable[[SurveyStore], Iterable[Any]]
    parents: Mapping[str, tuple[str, str]]
    left: tuple[str, ...] = ()
    since: int = 1
    was: str = ""
    newer: tuple[str, ...] = ()

    def columns(self) -> dict[str, Any]:
        """Return the columns with their types."""
        if self.name in _KNOWN:
            return _KNOWN[self.name]
        found: dict[str, Any] = {}
        for kind in self.kinds:
            hints = get_type_hints(kind)
            for field in fields(kind):
                hint = hints[field.name]
                if hint in self.kinds or field.name in self.left:
                    continue
                found.setdefault(_column(kind, field.name), hint)
        _KNOWN[self.name] = found
        return found


def _column(kind: type, name: str) -> str:
    """Name a column; the name as recorded is told from today's."""
    return "name_as_recorded" if kind is SurveyRow and name == "name" else name


def _rows_in_results(store: SurveyStore) -> Iterable[NotedRow]:
    """Return what was noted, unit by unit, without points on photos that are set aside."""
    aside = {one.photo_id for one in store.photos_set_aside()}
    for stated in store.unit_designs():
        for noted in store.survey_rows(stated.unit_id):
            if noted.row.photo_id not in aside:
                yield noted


def _onsets(store: SurveyStore) -> Iterable[StressOnset]:
    return store.stress_onsets()


def _sketches(store: SurveyStore) -> Iterable[ArchivedSketch]:
    """Return which file shows where a colony stands, but for those of sensitive sites."""
    hidden = {one.site for one in store.site_places() if one.grid_deg is not None}
    stands = {one.organism_id: one.site for one in store.colonies()}
    return [one for one in sketches_of(store) if stands[one.organism_id] not in hidden]


def _unit_places(store: SurveyStore) -> Iterable[UnitPlace]:
    """Return where units lie, but for those of sensitive sites: the cell of the site is all."""
    hidden = {one.site for one in store.site_places() if one.grid_deg is not None}
    open_visits = {one.visit_id for one in store.visits() if one.site not in hidden}
    shown = {one.unit_id for one in store.units() if one.visit_id in open_visits}
    return [one for one in store.unit_places() if one.unit_id in shown]


def _logger_days(store: SurveyStore) -> Iterable[LoggerDay]:
    """Return each day of each logger; one file at two sites is one logger."""
    seen: set[str] = set()
    for stated, found in loggers_to_archive(store):
        if stated.logger_id not in seen:
            seen.add(stated.logger_id)
            yield from days_of(stated.logger_id, found)


_SITE, _VISIT, _UNIT = ("sites", "site"), ("visits", "visit_id"), ("units", "unit_id")
_PHOTO, _CORAL = ("photos", "photo_id"), ("corals", "record_id")
_LOOK = ("coral_looks", "identification_id")
TABLES: tuple[PackageTable, ...] = (
    PackageTable(name="sites", kinds=(Site,), key=("site",), rows=lambda s: s.sites(), parents={}),
    PackageTable(
        name="site_places",
        kinds=(SitePlace,),
        key=("site",),
        rows=lambda s: s.site_places(),
        parents={"site": _SITE},
    ),
    PackageTable(
        name="zones",
        kinds=(Zone,),
        key=("site", "zone"),
        rows=lambda s: s.zones(),
        parents={"site": _SITE},
    ),
    PackageTable(
        name="zone_weights",
        kinds=(ZoneWeight,),
        key=("site", "zone"),
        rows=lambda s: s.zone_weights(),
        parents={"site": _SITE},
    ),
    PackageTable(
        name="observers",
        kinds=(Observer,),
        key=("observer",),
        rows=lambda s: s.observers(),
        parents={},
    ),
    PackageTable(
        name="people",
        kinds=(ProjectPerson,),
        key=("person", "role"),
        rows=lambda s: s.project_people(),
        parents={},
    ),
    PackageTable(
        name="name_ids", kinds=(NameId,), key=("name",), rows=lambda s: s.name_ids(), parents={}
    ),
    PackageTable(
        name="visits",
        kinds=(Visit,),
        key=("visit_id",),
        rows=lambda s: s.visits(),
        parents={"site": _SITE},
        left=("clock_offset_s",),
    ),
    PackageTable(
        name="visit_conditions",
        kinds=(VisitConditions,),
        key=("visit_id",),
        rows=lambda s: s.visit_conditions(),
        parents={"visit_id": _VISIT},
        since=2,
    ),
    PackageTable(
        name="categories",
        kinds=(Category,),
        key=("list_version", "category"),
        rows=lambda s: s.categories(),
        parents={},
    ),
    PackageTable(
        name="category_mappings",
        kinds=(CategoryMapping,),
        key=("from_version", "category", "to_version"),
        rows=lambda s: s.category_mappings(),
        parents={},
    ),
    PackageTable(
        name="units",
        kinds=(Unit,),
        key=("unit_id",),
        rows=lambda s: s.units(),
        parents={"visit_id": _VISIT},
    ),
    PackageTable(
        name="unit_places",
        kinds=(UnitPlace,),
        key=("unit_id",),
        rows=_unit_places,
        parents={"unit_id": _UNIT},
        since=5,
    ),
    PackageTable(
        name="unit_designs",
        kinds=(StatedDesign, UnitDesign),
        key=("unit_id",),
        rows=lambda s: s.unit_designs(),
        parents={"unit_id": _UNIT},
    ),
    PackageTable(
        name="survey_rows",
        kinds=(NotedRow, SurveyRow),
        key=("row_no",),
        rows=_rows_in_results,
        parents={"unit_id": ("unit_designs", "unit_id")},
    ),
    PackageTable(
        name="photos",
        kinds=(ArchivedPhoto,),
        key=("photo_id",),
        rows=photos_to_archive,
        parents={"visit_id": _VISIT},
        since=3,
        was="colony_photos",
    ),
    PackageTable(
        name="photo_units",
        kinds=(UnitPhoto,),
        key=("photo_id",),
        rows=photo_units_to_package,
        parents={"photo_id": _PHOTO, "unit_id": _UNIT},
        since=5,
    ),
    PackageTable(
        name="clocks",
        kinds=(ClockOffset,),
        key=("visit_id", "camera"),
        rows=lambda s: s.clock_offsets(),
        parents={"visit_id": _VISIT},
        since=5,
    ),
    PackageTable(
        name="corals",
        kinds=(RecordRow,),
        key=("record_id",),
        rows=corals_to_package,
        parents={"visit_id": _VISIT, "photo_id": _PHOTO},
        since=5,
    ),
    PackageTable(
        name="coral_sizes",
        kinds=(MeasurementRow,),
        key=("measurement_id",),
        rows=sizes_to_package,
        parents={},
        since=5,
    ),
    PackageTable(
        name="coral_looks",
        kinds=(IdentificationRow,),
        key=("identification_id",),
        rows=looks_to_package,
        parents={"record_id": _CORAL},
        left=("photo_regions",),
        since=5,
    ),
    PackageTable(
        name="coral_health",
        kinds=(HealthRow,),
        key=(),
        rows=health_to_package,
        parents={"record_id": _CORAL},
        since=5,
    ),
    PackageTable(
        name="review_draws",
        kinds=(ReviewDrawRow,),
        key=("draw_id",),
        rows=lambda s: s.review_draws(),
        parents={},
        since=5,
    ),
    PackageTable(
        name="review_chances",
        kinds=(ReviewChanceRow,),
        key=("identification_id",),
        rows=chances_to_package,
        parents={
            "identification_id": _LOOK,
            "record_id": _CORAL,
            "draw_id": ("review_draws", "draw_id"),
        },
        since=5,
    ),
    PackageTable(
        name="review_outcomes",
        kinds=(ReviewOutcomeRow,),
        key=("outcome_id",),
        rows=outcomes_to_package,
        parents={
            "record_id": _CORAL,
            "first_id": _LOOK,
            "second_id": _LOOK,
            "third_id": _LOOK,
        },
        since=5,
    ),
    PackageTable(
        name="colonies",
        kinds=(Colony,),
        key=("organism_id",),
        rows=lambda s: s.colonies(),
        parents={"site": _SITE},
        left=("sketch_sha256",),
    ),
    PackageTable(
        name="colony_sightings",
        kinds=(Sighting,),
        key=("organism_id", "visit_id"),
        rows=lambda s: s.colony_sightings(),
        parents={
            "organism_id": ("colonies", "organism_id"),
            "visit_id": _VISIT,
            "record_id": _CORAL,
        },
        newer=("record_id",),
    ),
    PackageTable(
        name="colony_fractions",
        kinds=(ColonyFractions,),
        key=("organism_id", "visit_id"),
        rows=lambda s: s.colony_fractions(),
        parents={"organism_id": ("colonies", "organism_id"), "visit_id": _VISIT},
    ),
    PackageTable(
        name="stress_onsets",
        kinds=(StressOnset,),
        key=("onset_id",),
        rows=_onsets,
        parents={},
    ),
    PackageTable(
        name="colony_frames",
        kinds=(ArchivedFrame,),
        key=("organism_id", "photo_id"),
        rows=frames_to_archive,
        parents={
            "organism_id": ("colonies", "organism_id"),
            "photo_id": _PHOTO,
        },
        since=3,
    ),
    PackageTable(
        name="colony_sketches",
        kinds=(ArchivedSketch,),
        key=("organism_id",),
        rows=_sketches,
        parents={"organism_id": ("colonies", "organism_id")},
        since=4,
    ),
    PackageTable(
        name="loggers",
        kinds=(LoggerDeployment,),
        key=("logger_id", "site"),
        rows=lambda s: (stated for stated, _ in loggers_to_archive(s)),
        parents={"site": _SITE},
        since=3,
    ),
    PackageTable(
        name="logger_days",
        kinds=(LoggerDay,),
        key=("logger_id", "date"),
        rows=_logger_days,
        parents={"logger_id": ("loggers", "logger_id")},
        since=3,
    ),
)
"""Tables in an order in which each can be stored after those it refers to."""
RESULTS = PackageTable(name="results", kinds=(ResultRow,), key=(), rows=lambda _: (), parents={})


def cells_of(table: PackageTable, record: Any) -> list[object]:
    """Return a record as the cells of its row; what is not stated is empty."""
    found: dict[str, object] = {}
    for kind in table.kinds:
        held = record if type(record) is kind else _held(record, kind)
        for field in fields(kind):
            value = getattr(held, field.name)
            if type(value) not in table.kinds:
                found.setdefault(_column(kind, field.name), value)
    return [_cell(found[name]) for name in table.columns()]


def _held(record: Any, kind: type) -> Any:
    """Return the record of a kind that another one holds."""
    return next(v for f in fields(record) if type(v := getattr(record, f.name)) is kind)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list | Mapping):
        return json.dumps(_plain(value), ensure_ascii=False, separators=(",", ":"))
    return "" if value is None else value


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return dict(value) if isinstance(value, Mapping) else value


def kind_of(hint: Any) -> tuple[str, bool]:
    """Return the kind of a column by the words of the package standard, and whether it may lack."""
    options = [hint]
    if get_origin(hint) in (types.UnionType, Union):
        options = [one for one in get_args(hint) if one is not type(None)]
        return kind_of(options[0])[0], len(options) < len(get_args(hint))
    for known, word in ((bool, "boolean"), (int, "integer"), (float, "number"), (str, "string")):
        if hint is known:
            return word, False
    if get_origin(hint) is Mapping:
        return "object", False
    return ("string" if get_origin(hint) is Literal else "array"), False


def schema_of(table: PackageTable) -> dict[str, Any]:
    """Return the schema of a table by the package standard, with units."""
    found: list[dict[str, Any]] = []
    for name, hint in table.columns().items():
        kind, may_lack = kind_of(hint)
        field: dict[str, Any] = {"name": name, "type": kind}
        unit = next((word for ending, word in UNITS if name.endswith(ending)), "")
        if unit and kind in ("number", "integer"):
            field["unit"] = unit
        meaning = FIELDS.get(f"{table.name}.{name}") or FIELDS.get(name) or MEANINGS.get(name)
        if meaning:
            field["description"] = meaning
        if name in table.key or (kind != "string" and not may_lack):
            field["constraints"] = {"required": True}
        found.append(field)
    schema: dict[str, Any] = {"fields": found, "missingValues": [""]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.parents:
        schema["foreignKeys"] = [
            {"fields": [field], "reference": {"resource": parent, "fields": [other]}}
            for field, (parent, other) in table.parents.items()
        ]
    return schema


def record_of(table: PackageTable, said: Mapping[str, Any]) -> Any:
    """Put a record together from its values."""
    inner: Any = None
    for kind in reversed(table.kinds):
        values = {
            field.name: said[column]
            for field in fields(kind)
            if (column := _column(kind, field.name)) in said and field.name not in table.left
        }
        if inner is not None:
            holder = "design" if type(inner) is UnitDesign else "row"
            values[holder] = inner
        if kind is NotedRow:
            values["name"] = said["name"]
        inner = checked_row(kind, values) if kind in _CHECKED else kind(**values)
    sound = _CHECKED.get(type(inner))
    return sound(inner) if sound else inner


_CHECKED: Mapping[type, Callable[[Any], Any] | None] = {
    ArchivedFrame: require_measured,
    ClockOffset: require_clock,
    RecordRow: require_coral,
    MeasurementRow: require_size,
    IdentificationRow: None,
    HealthRow: None,
    ReviewDrawRow: None,
    ReviewChanceRow: None,
    ReviewOutcomeRow: None,
}
"""Kinds whose fields are looked through one by one, and what else must hold of them."""


def neighbours(values: Sequence[Mapping[str, Any]]) -> tuple[Neighbour, ...]:
    """Read what stands beside a colony."""
    return tuple(Neighbour(**one) for one in values)
