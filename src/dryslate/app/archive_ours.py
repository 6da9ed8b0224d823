"""Archives of this program: every record in its own words, those of others handed on."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_conditions import FIELD_OF, read_condition
from dryslate.app.archive_copies import find_copy, not_here
from dryslate.app.archive_loggers import CELSIUS, DAY_MEAN, read_deployment
from dryslate.app.archive_others import NameFinder, OthersReader
from dryslate.app.archive_photos import MEDIA_TERMS, read_photo
from dryslate.app.archive_read import BROKEN, ArchiveRead, Coral, left_out, not_understood, why
from dryslate.app.archive_reading import (
    EVENT_TERMS,
    OCCURRENCE_TERMS,
    ReadRow,
    rows_of_table,
    site_place,
    terms_not_read,
)
from dryslate.app.archive_rows import SIZES
from dryslate.app.archive_words import noted_of, stated_of, unit_of
from dryslate.app.checked_rows import checked_row
from dryslate.app.coral_health import HealthRow
from dryslate.app.corals_elsewhere import (
    clock_of,
    require_coral,
    require_size,
    unit_place,
    without_photo,
)
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewOutcomeRow,
)
from dryslate.app.logger_days import LoggerDay, LoggerDeployment, kept_of
from dryslate.app.publication_records import UnitPlace
from dryslate.app.records import MeasurementRow, Visit
from dryslate.app.visits import visit_id_of
from dryslate.formats.eventdate import days_of

if TYPE_CHECKING:
    from dryslate.app.archive_check import ZipFiles
    from dryslate.formats.dwca_meta import MetaFile

MEASUREMENT_TERMS = (
    "occurrenceID", "measurementType", "measurementValue", "measurementUnit",
    "measurementDeterminedDate", "measurementDeterminedBy",
)  # fmt: skip
SIZE_OF = {what: (name, unit) for name, what, unit in SIZES}
"""Type of a measurement to our field and the unit it is in."""


class ArchiveReader:
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
        self.visits: dict[str, str] = {}
        self.unit_names: dict[str, str] = {}
        self.sizes: dict[str, dict[str, float]] = defaultdict(dict)
        self.bad: set[str] = set()
        self.loggers: dict[str, tuple[LoggerDeployment, list[LoggerDay]]] = {}
        self.means: dict[str, dict[str, float]] = defaultdict(dict)

    def run(self) -> None:
        """Read everything."""
        events = {}
        for row in rows_of_table(self.files, self.tables["Event"], "Event", EVENT_TERMS):
            said = _json(row, self.read)
            if self.is_ours and row.cells["dynamicProperties"] and not said:
                self.bad.add(row.core_id)  # told where it was read
            elif self.is_ours and "level" in said:
                self._event(row, said)
            else:
                events[row.core_id] = row
        others = OthersReader(self.read, events, self.names)
        if events:
            others.events()
        self._measurements()
        self._loggers()
        if self.is_ours:
            self._photos()
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
            self.read.add(left_out(", ".join(table.locations), ", ".join(left), message))

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
            elif level == "logger":
                self._logger(row, said)
            else:
                raise ValueError(f"level {level!r}")
            self._also(row, said)
        except BROKEN as error:
            self.bad.add(row.core_id)
            self.read.add(not_understood(row.place, "dynamicProperties", why(error)))

    def _visit(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        cells = row.cells
        site, date = cells["verbatimLocality"], cells["eventDate"][:10]
        if not site or days_of(date) != (date,):
            raise ValueError(f"{site!r} on {date!r} is no site and day")
        visit = Visit(
            visit_id=visit_id_of(site, date), site=site, date=date, observer=str(said["noted_by"])
        )
        self.read.clocks += [clock_of(one, visit.visit_id) for one in said.get("clocks", ())]
        self.read.visits[visit.visit_id] = visit
        self.visit_of[row.core_id] = self.visits[row.core_id] = visit.visit_id
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

    def _logger(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        """Read a logger; its days have their means in the table of measurements."""
        site = row.cells["verbatimLocality"]
        stated, days = read_deployment(said, site)
        self.loggers[row.core_id] = stated, days
        if site not in self.read.sites:
            self.read.sites.append(site)
        self.read.places.setdefault(
            site, site_place(row.cells, site, stated.observer, self.names.at)
        )

    def _loggers(self) -> None:
        """Put loggers together with the means of their days."""
        for event, (stated, days) in self.loggers.items():
            means = self.means[event]
            told = [replace(day, temperature_c=means.get(day.date)) for day in days]
            self.read.loggers.append(kept_of(stated, told))

    def _photos(self) -> None:
        """Read which photos there were, and of which the archive holds the file."""
        table = self.tables.get("Multimedia")
        if table is None:
            return
        found: Counter[str] = Counter()
        box = self.files, frozenset(self.files.names())
        for row in rows_of_table(self.files, table, "Multimedia", MEDIA_TERMS):
            visit = self.visit_of.get(row.core_id)
            if visit is None:
                continue  # of an event that was told
            try:
                photo = read_photo(row.cells, visit)
            except ValueError as error:
                self.read.add(not_understood(row.place, "identifier", why(error)))
                continue
            if photo.photo_id in self.read.photos:
                continue
            self.read.photos[photo.photo_id] = photo
            found[find_copy(self.read, box, photo, row)] += 1
            if row.core_id in self.unit_of:
                self.read.unit_of_photo[photo.photo_id] = self.unit_of[row.core_id]
        if found["none"] or found["other"]:
            self.read.add(not_here(found["none"] + found["other"], found["other"]))

    def _of_event(self, row: ReadRow) -> bool:
        """Read what is measured of a visit or by a logger; tells whether it was such."""
        cells, what = row.cells, row.cells["measurementType"]
        if cells["occurrenceID"]:
            return False
        if row.core_id in self.loggers and (what, cells["measurementUnit"]) == (DAY_MEAN, CELSIUS):
            value = float(cells["measurementValue"])
            if not abs(value) < float("inf"):
                raise ValueError(f"{value} is no temperature")
            self.means[row.core_id][cells["measurementDeterminedDate"]] = value
            return True
        visit = self.visits.get(row.core_id)
        if visit is None or what not in FIELD_OF or FIELD_OF[what][1] != cells["measurementUnit"]:
            return False
        known = self.read.conditions.get(visit)
        self.read.conditions[visit] = read_condition(known, visit, cells)
        return True

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
            try:
                if self._of_event(row):
                    continue
            except BROKEN as error:
                self.read.add(not_understood(row.place, "measurementValue", why(error)))
                continue
            field_name, unit = SIZE_OF.get(what, ("", ""))
            if field_name and cells["occurrenceID"] and cells["measurementUnit"] == unit:
                try:
                    value = float(cells["measurementValue"])
                except ValueError:
                    message = f"{cells['measurementValue']!r} is no number"
                    self.read.add(not_understood(row.place, "measurementValue", message))
                    continue
                self.sizes[cells["occurrenceID"]].setdefault(field_name, value)
            elif not self.is_ours:
                place, n = first.get(f"{what} ({cells['measurementUnit']})", (row.place, 0))
                first[f"{what} ({cells['measurementUnit']})"] = place, n + 1
        for what, (place, n) in first.items():
            self.read.add(left_out(place, "measurementType", f"{what}: {n} measurements"))

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
            self.read.add(not_understood(row.place, "dynamicProperties", why(error)))
            return
        if said.get("row", {}).get("n") is not None and cells["individualCount"]:
            n = said["row"]["n"]
            if cells["individualCount"] != str(n):
                message = f"{cells['individualCount']}, and {n} in dynamicProperties"
                self.read.add(not_understood(row.place, "individualCount", message))

    def _row(self, row: ReadRow, said: Mapping[str, Any]) -> None:
        cells = row.cells
        unit = self.unit_of[row.core_id]
        noted = noted_of(
            {
                "place": cells["occurrenceRemarks"],
                **said,
                **(self.sizes.get(cells["occurrenceID"], {}) if said["kind"] == "colony" else {}),
                "no": _whole("recordNumber", cells["recordNumber"]),
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
        """Read a coral; where its photo is not here, its unit or its photo is its place."""
        record = said["record"]
        visit = self.visit_of[row.core_id]
        measured = tuple(_measured(one) for one in said.get("measured", ()))
        record |= {"visit_id": visit, "measurement_ids": tuple(m.measurement_id for m in measured)}
        noted = require_coral(checked_row(RecordRow, record))
        unit = self.unit_of.get(row.core_id)
        told = unit_place(self.unit_names[unit], unit) if unit else ""
        has_photo = noted.photo_id is not None
        self.read.corals.append(
            Coral(
                record=without_photo(noted, told) if has_photo else noted,
                in_photo=noted if has_photo else None,
                measured=measured,
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


def _whole(term: str, text: str) -> int:
    """Read a whole number."""
    if not text.isdecimal():
        raise ValueError(f"{term} {text!r} is no whole number")
    return int(text)


def _measured(said: Mapping[str, Any]) -> MeasurementRow:
    """Read a measurement of a coral."""
    points = [tuple(point) for point in said.get("points_px", ())]
    told = {"correction_key": "", **said, "points_px": points}
    return require_size(checked_row(MeasurementRow, told))


def _row_of(kind: Any, said: Mapping[str, Any]) -> Any:
    values = {k: tuple(v) if k in _LISTS else v for k, v in said.items()}
    return checked_row(kind, {**_MUST.get(kind, {}), **values})


def _json(row: ReadRow, read: ArchiveRead) -> dict[str, Any]:
    """Return dynamicProperties as words; empty where it is no JSON object."""
    text = row.cells["dynamicProperties"]
    if not text.startswith("{"):
        return {}
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        read.add(not_understood(row.place, "dynamicProperties", f"no JSON: {error}"))
        return {}
    return found if isinstance(found, dict) else {}
