"""Reading a Darwin Core archive into an empty project: every fault listed, all of it or nothing."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_check import MOST_TOLD, check_archive
from dryslate.app.archive_others import NameFinder, OthersReader
from dryslate.app.archive_reading import (
    EVENT_TERMS,
    OCCURRENCE_TERMS,
    ReadRow,
    metadata_of,
    rows_of_table,
    site_place,
    tables_of,
    terms_not_read,
)
from dryslate.app.archive_rows import SIZES
from dryslate.app.archive_settings import KINDS, VERSION, rows_of
from dryslate.app.archive_words import noted_of, stated_of, unit_of
from dryslate.app.coral_health import HealthRow
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewOutcomeRow,
)
from dryslate.app.publication_records import UnitPlace
from dryslate.app.records import Visit
from dryslate.app.visits import require_observer, visit_id_of
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.survey.unit_checks import check_unit
from dryslate.formats.darwin_core import table_of_row_type
from dryslate.formats.eml import settings_text

if TYPE_CHECKING:
    from dryslate.app.archive_check import ZipFiles
    from dryslate.app.ports import SurveyStore
    from dryslate.app.publication_records import SitePlace
    from dryslate.app.survey_records import NotedRow, StatedDesign
    from dryslate.app.unit_records import Unit
    from dryslate.formats.dwca_meta import MetaFile

MEASUREMENT_TERMS = ("occurrenceID", "measurementType", "measurementValue", "measurementUnit")
SIZE_OF = {what: (name, unit) for name, what, unit in SIZES}
"""Type of a measurement to our field and the unit it is in."""
MILD = frozenset({"archive-term-absent", "archive-cell-empty", "archive-no-eml"})
"""Faults that make an archive unfit to publish, and not unfit to read."""
BROKEN = (KeyError, TypeError, ValueError, AttributeError)


@dataclass(kw_only=True)
class ArchiveRead:
    """
    What was read.

    Parameters
    ----------
    name : str
    region : str or None
    facts : dict
    sites, settings : list, dict
        Settings by word, each a list of rows.
    places, unit_places, visits, units, designs : dict or list
    rows : dict
        By unit.
    corals : list
    problems : list of Problem
        Nothing is stored while one is an error.
    """

    name: str
    region: str | None = None
    facts: dict[str, str] = field(default_factory=dict)
    sites: list[str] = field(default_factory=list)
    settings: dict[str, list[Any]] = field(default_factory=dict)
    places: dict[str, SitePlace] = field(default_factory=dict)
    unit_places: list[UnitPlace] = field(default_factory=list)
    visits: dict[str, Visit] = field(default_factory=dict)
    units: list[Unit] = field(default_factory=list)
    designs: dict[str, StatedDesign] = field(default_factory=dict)
    rows: dict[str, list[NotedRow]] = field(default_factory=lambda: defaultdict(list))
    corals: list[Coral] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    n_more: dict[str, int] = field(default_factory=dict)

    @property
    def is_sound(self) -> bool:
        """Tell whether it can be stored."""
        return not any(one.severity == "error" for one in self.problems)

    def add(self, problem: Problem) -> None:
        """Tell a problem, or count it where many alike were told."""
        n = self.n_more.get(problem.slug, 0) + 1
        self.n_more[problem.slug] = n
        if n <= MOST_TOLD:
            self.problems.append(problem)

    def told_more(self) -> list[str]:
        """Say in words what was counted and not told."""
        return [
            f"{n - MOST_TOLD} more of the kind {slug}"
            for slug, n in self.n_more.items()
            if n > MOST_TOLD
        ]

    def counts(self) -> dict[str, int]:
        """Count what was read."""
        return {
            "visits": len(self.visits),
            "units": len(self.units),
            "rows": sum(len(rows) for rows in self.rows.values()),
            "corals": len(self.corals),
            "colonies": len(self.settings.get("colonies", ())),
        }

    def as_dict(self) -> dict[str, Any]:
        """Return counts and problems, for JSON."""
        return {
            "n": self.counts(),
            "is_sound": self.is_sound,
            "problems": [one.as_dict() for one in self.problems],
            "more": self.told_more(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Coral:
    """A coral noted on a visit, with every look at it."""

    record: RecordRow
    looks: tuple[IdentificationRow, ...]
    chances: tuple[ReviewChanceRow, ...]
    outcomes: tuple[ReviewOutcomeRow, ...]
    health: tuple[HealthRow, ...]


def read_archive(files: ZipFiles, name: str, names: NameFinder) -> ArchiveRead:
    """
    Read an archive with Event core, of this program or of another.

    Parameters
    ----------
    files : ZipFiles
    name : str
        For messages.
    names : NameFinder
        What names of others are looked up in; who reads them, when.

    Returns
    -------
    ArchiveRead
        ``archive-not-understood`` for what a record needs and nothing here can read,
        ``archive-left-out`` for what is understood to be something else.

    Raises
    ------
    InputError
        ``archive-newer``.
    """
    read = ArchiveRead(name=name)
    checked = check_archive(files, name)
    for problem in checked.problems:
        if problem.slug not in MILD and not problem.slug.startswith("archive-eml"):
            read.problems.append(problem)
    if not read.is_sound:
        return read
    tables = {table_of_row_type(one.row_type): one for one in tables_of(files)}
    core = tables.get("Event")
    if core is None or not core.is_core:
        read.add(_not_understood("meta.xml", "core", "the core is not Event"))
        return read
    is_ours = _settings(read, files)
    _Reader(read, files, tables, names, is_ours=is_ours).run()
    _check_units(read)
    return read


def _not_understood(place: str, term: str, message: str) -> Problem:
    return Problem(
        slug="archive-not-understood",
        severity="error",
        place=f"{place}, {term}",
        message=message,
        fix="",
    )


def _left_out(place: str, term: str, message: str) -> Problem:
    return Problem(
        slug="archive-left-out",
        severity="warning",
        place=f"{place}, {term}",
        message=message,
        fix="",
    )


def _settings(read: ArchiveRead, files: ZipFiles) -> bool:
    """Read what holds for the project as a whole; tells whether this program wrote it."""
    root = metadata_of(files)
    text = settings_text(root) if root is not None else None
    if text is None:
        return False
    try:
        said = json.loads(text)
        is_newer = int(said["archive"]) > VERSION
        read.region = said.get("region")
        read.facts = {str(key): str(value) for key, value in said.get("facts", {}).items()}
        read.sites = [str(one) for one in said.get("sites", ())]
        read.settings = {word: rows_of(said, word) for word in KINDS if not is_newer}
    except BROKEN as error:
        read.add(_not_understood("eml.xml", "additionalMetadata", f"{error!r}"))
        return True
    if is_newer:
        raise InputError(
            "archive-newer",
            f"{read.name}: written by a newer version of dryslate.",
            "Install the newer version to read it.",
        )
    return True


class _Reader:
    """Reads events, then occurrences with their measurements."""

    def __init__(
        self,
        read: ArchiveRead,
        files: ZipFiles,
        tables: Mapping[str, MetaFile],
        names: NameFinder,
        *,
        is_ours: bool,
    ) -> None:
        self.read, self.files, self.tables, self.is_ours = read, files, tables, is_ours
        self.names = names
        self.photo_of: dict[str, str] = {}
        self.unit_of: dict[str, str] = {}
        self.visit_of: dict[str, str] = {}
        self.unit_names: dict[str, str] = {}
        self.sizes: dict[str, dict[str, float]] = defaultdict(dict)
        self.bad: set[str] = set()

    def run(self) -> None:
        """Read everything."""
        events = {}
        for row in rows_of_table(self.files, self.tables["Event"], "Event", EVENT_TERMS):
            said = _json(row, self.read)
            if self.is_ours and "level" in said:
                self._event(row, said)
            else:
                events[row.core_id] = row
        others = OthersReader(self.read, events, self.names)
        if events:
            others.events()
        self._measurements()
        if "Occurrence" in self.tables:
            table = self.tables["Occurrence"]
            for row in rows_of_table(self.files, table, "Occurrence", OCCURRENCE_TERMS):
                if row.core_id in events:
                    others.occurrence(row, self.sizes.get(row.cells["occurrenceID"], {}))
                else:
                    self._occurrence(row)
        others.finish()
        for rows in self.read.rows.values():
            rows.sort(key=lambda noted: noted.row_no or 0)
        if events:
            for called, terms in (
                ("Event", EVENT_TERMS),
                ("Occurrence", OCCURRENCE_TERMS),
            ):
                self._columns(called, terms)

    def _columns(self, called: str, terms: Sequence[str]) -> None:
        """Name the columns that nothing here reads."""
        table = self.tables.get(called)
        left = terms_not_read(table, (*terms, "eventID", "occurrenceID")) if table else ()
        if table and left:
            message = "columns that are not read"
            self.read.add(_left_out(", ".join(table.locations), ", ".join(left), message))

    def _event(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        """Read an event of ours; its parents stand before it."""
        cells, level = row.cells, said["level"]
        if cells["parentEventID"] in self.bad:
            self.bad.add(row.core_id)  # told once, at the event that cannot be read
            return
        try:
            if level == "visit":
                self._visit(row, said)
            elif level == "unit":
                self._unit(row, said)
            elif level == "photo":
                unit = self.unit_of[cells["parentEventID"]]
                self.unit_of[row.core_id] = unit
                self.photo_of[row.core_id] = str(said["photo_id"])
                self.visit_of[row.core_id] = self.visit_of[cells["parentEventID"]]
            else:
                raise ValueError(f"level {level!r}")
            self._also(row, said)
        except BROKEN as error:
            self.bad.add(row.core_id)
            self.read.add(_not_understood(row.place, "dynamicProperties", repr(error)))

    def _visit(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        cells = row.cells
        site, date = cells["verbatimLocality"], cells["eventDate"][:10]
        visit = Visit(
            visit_id=visit_id_of(site, date), site=site, date=date, observer=str(said["noted_by"])
        )
        self.read.visits[visit.visit_id] = visit
        self.visit_of[row.core_id] = visit.visit_id
        self.read.places.setdefault(site, site_place(cells, site, visit.observer, self.names.at))

    def _unit(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        visit_id = self.visit_of[row.cells["parentEventID"]]
        unit, stated = unit_of(said, visit_id, row.cells), stated_of(said)
        self.read.units.append(unit)
        self.unit_of[row.core_id], self.visit_of[row.core_id] = unit.unit_id, visit_id
        self.unit_names[unit.unit_id] = unit.name or ""
        if stated is not None:
            self.read.designs[unit.unit_id] = stated
        place = self.read.places[self.read.visits[visit_id].site]
        own = site_place(row.cells, place.site, unit.observer, self.names.at)
        here = own.latitude_deg, own.longitude_deg
        if None not in here and here != (place.latitude_deg, place.longitude_deg):
            self.read.unit_places.append(
                UnitPlace(
                    unit_id=unit.unit_id,
                    latitude_deg=own.latitude_deg or 0.0,
                    longitude_deg=own.longitude_deg or 0.0,
                    precision_deg=own.precision_deg,
                    uncertainty_m=own.uncertainty_m,
                    observer=unit.observer,
                    stated_at=self.names.at,
                )
            )

    def _also(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        """Read the rows of an event that are no occurrence."""
        unit = self.unit_of.get(row.core_id, "")
        for one in said.get("also_noted", ()):
            noted = noted_of(one, self.read.designs[unit], self.photo_of.get(row.core_id))
            self.read.rows[unit].append(noted)

    def _measurements(self) -> None:
        """Read the sizes and shares of colonies; other measurements are left out, and named."""
        table = self.tables.get("ExtendedMeasurementOrFact")
        if table is None:
            return
        first: dict[str, tuple[str, int]] = {}
        called = "ExtendedMeasurementOrFact"
        for row in rows_of_table(self.files, table, called, MEASUREMENT_TERMS):
            cells = row.cells
            what = cells["measurementType"]
            field_name, unit = SIZE_OF.get(what, ("", ""))
            if field_name and cells["occurrenceID"] and cells["measurementUnit"] == unit:
                try:
                    value = float(cells["measurementValue"])
                except ValueError:
                    message = f"{cells['measurementValue']!r} is no number"
                    self.read.add(_not_understood(row.place, "measurementValue", message))
                    continue
                self.sizes[cells["occurrenceID"]].setdefault(field_name, value)
            elif not self.is_ours:
                place, n = first.get(f"{what} ({cells['measurementUnit']})", (row.place, 0))
                first[f"{what} ({cells['measurementUnit']})"] = place, n + 1
        for what, (place, n) in first.items():
            self.read.add(_left_out(place, "measurementType", f"{what}: {n} measurements"))

    def _occurrence(self, row: ReadRow) -> None:
        """Read an occurrence of ours."""
        if row.core_id in self.bad:
            return
        said = _json(row, self.read)
        cells = row.cells
        try:
            if "row" in said:
                self._row(row, said["row"])
            elif "coral" in said:
                self._coral(row, said["coral"])
            elif not said.get("searched") and not said.get("tagged"):
                raise ValueError("none of the words that tell what it is")
        except BROKEN as error:
            self.read.add(_not_understood(row.place, "dynamicProperties", repr(error)))
            return
        if said.get("row", {}).get("n") is not None and cells["individualCount"]:
            n = said["row"]["n"]
            if cells["individualCount"] != str(n):
                message = f"{cells['individualCount']}, and {n} in dynamicProperties"
                self.read.add(_not_understood(row.place, "individualCount", message))

    def _row(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        cells = row.cells
        unit = self.unit_of[row.core_id]
        noted = noted_of(
            {
                "place": cells["occurrenceRemarks"],
                **said,
                **(self.sizes.get(cells["occurrenceID"], {}) if said["kind"] == "colony" else {}),
                "no": int(cells["recordNumber"]),
                "by": cells["recordedBy"],
                "at": cells["dateIdentified"],
            },
            self.read.designs[unit],
            self.photo_of.get(row.core_id),
        )
        if noted.row.note or noted.row.lesion or noted.row.growth_form:
            noted = replace(noted, row=replace(noted.row, place=said.get("place", "")))
        self.read.rows[unit].append(noted)

    def _coral(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        """Read a coral; its photo is not here, so its unit or its photo is its place."""
        record = said["record"]
        photo, unit = record.pop("photo_id", None), self.unit_of.get(row.core_id)
        if photo is not None:
            told = self.unit_names[unit] if unit else f"photo {photo}"
            notes = [record.get("note", ""), record.get("place", "")]
            record |= {"place": told, "note": "; ".join(one for one in notes if one)}
        visit = self.visit_of[row.core_id]
        self.read.corals.append(
            Coral(
                record=RecordRow(visit_id=visit, **record),
                looks=tuple(_row_of(IdentificationRow, one) for one in said["looks"]),
                chances=tuple(_row_of(ReviewChanceRow, one) for one in said.get("chances", ())),
                outcomes=tuple(_row_of(ReviewOutcomeRow, one) for one in said.get("outcomes", ())),
                health=tuple(_row_of(HealthRow, one) for one in said.get("health", ())),
            )
        )


_LISTS = ("current_names", "conflicts", "reasons", "settled_names")
_MUST: Mapping[Any, Mapping[str, Any]] = {
    IdentificationRow: {"current_names": (), "name": "", "rank": ""},
    ReviewChanceRow: {"reasons": ()},
    ReviewOutcomeRow: {"is_agreed": None, "rank_shared": "", "agreed_at": ""},
}
"""What is left out of the words where it says nothing."""


def _row_of(kind: Any, said: Mapping[str, Any]) -> Any:
    values = {k: tuple(v) if k in _LISTS else v for k, v in said.items()}
    return kind(**{**_MUST.get(kind, {}), **values})


def _json(row: ReadRow, read: ArchiveRead) -> dict[str, Any]:
    """Return dynamicProperties as words; empty where it is no JSON object."""
    text = row.cells["dynamicProperties"]
    if not text.startswith("{"):
        return {}
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        read.add(_not_understood(row.place, "dynamicProperties", f"no JSON: {error}"))
        return {}
    return found if isinstance(found, dict) else {}


def _check_units(read: ArchiveRead) -> None:
    """Let each unit check itself; what it finds is told and stands in no one's way."""
    categories = {one.category for one in read.settings.get("categories", ())} or None
    names = {one.unit_id: f"{one.visit_id} {one.name or ''}" for one in read.units}
    for unit_id, stated in read.designs.items():
        rows = [one.row for one in read.rows.get(unit_id, ())]
        for one in check_unit(stated.design, rows, names[unit_id], categories):
            read.add(replace(one, severity="warning"))


def save_archive(store: SurveyStore, read: ArchiveRead, observer: str) -> int:
    """
    Store an archive in one transaction.

    Parameters
    ----------
    store : SurveyStore
        Open for writing, without visits.
    read : ArchiveRead
        Sound.
    observer : str
        Who imports it; for the change log.

    Returns
    -------
    int
        Rows of units stored.

    Raises
    ------
    InputError
        ``package-project-not-empty``.
    """
    from dryslate.app.archive_save import store_all
    from dryslate.app.package_import import require_empty

    require_empty(store)
    require_observer(store, observer)
    with store.write():
        return store_all(store, read)
