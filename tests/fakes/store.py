"""A survey store in memory, held to the same tests as the one on SQLite."""

from __future__ import annotations

import contextlib
import copy
import importlib.util
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from dryslate.app.backup_records import Backup
from dryslate.app.coral_health import HealthRow
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.app.project_records import (
    CardFile,
    Change,
    ClockOffset,
    CopyProof,
    DerivedFile,
    LogFault,
    Observer,
    Original,
    PatchResidual,
    Site,
    Zone,
)
from dryslate.app.records import ControlObject, CorrectionRow, MeasurementRow, Photo, Visit
from dryslate.app.shots import camera_key, corrected_time, order_of
from dryslate.app.survey_records import Category, CategoryMapping, NotedRow, StatedDesign
from dryslate.app.unit_records import SetAside, Unit, UnitPhoto
from dryslate.base.errors import StoreError
from dryslate.base.problems import Problem

Table = dict[tuple[Any, ...], Any]


def _part(module_name: str, name: str) -> Any:
    """Load a part that lies in a module of its own (test folders are no packages)."""
    path = Path(__file__).with_name(f"{module_name}.py")
    spec = importlib.util.spec_from_file_location(f"fake_{module_name}", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return getattr(module, name)


PARTS = ("publication", "zone_weights", "conditions", "loggers", "archived", "visit_edits")
NAMES = (
    "sites",
    "zones",
    "observers",
    "visits",
    "clock_offsets",
    "originals",
    "card_files",
    "copies",
    "photos",
    "corrections",
    "measurements",
    "patch_residuals",
    "control_objects",
    "derived_files",
    "project",
    "records",
    "identifications",
    "review_draws",
    "review_chances",
    "review_outcomes",
    "coral_health",
    "units",
    "unit_photos",
    "photos_set_aside",
    "backups",
    "printed_sheets",
    "sheet_photos",
    "categories",
    "category_mappings",
    "unit_designs",
    "survey_rows",
    "sent_batches",
    "colonies",
    "colony_sightings",
    "colony_fractions",
    "colony_frames",
    "colony_colours",
    "stress_onsets",
    *(n for part in PARTS for n in _part(part, "NAMES")),
)


class MemorySurveyStore(
    _part("store_rows", "MemoryRows"),
    _part("store_sums", "MemorySums"),
    _part("store_colonies", "MemoryColonyRoom"),
    _part("printed_sheets", "MemoryPrintedSheets"),
    _part("publication", "MemoryPublication"),
    _part("zone_weights", "MemoryZoneWeights"),
    _part("conditions", "MemoryConditions"),
    _part("loggers", "MemoryLoggers"),
    _part("archived", "MemoryArchived"),
    _part("visit_edits", "MemoryVisitEdits"),
):
    """Implements `dryslate.app.ports.SurveyStore` without a disk."""

    def __init__(self, *, write: bool = True, who: str = "somebody") -> None:
        self.who = who
        self._can_write = write
        self._tables: dict[str, Table] = {name: {} for name in NAMES}
        self._log: list[Change] = []
        self._depth = 0

    @contextlib.contextmanager
    def write(self) -> Iterator[None]:
        if not self._can_write:
            raise StoreError("store-read-only", "opened for reading, nothing can be stored.")
        kept = (copy.deepcopy(self._tables), len(self._log)) if self._depth == 0 else None
        self._depth += 1
        try:
            yield
        except BaseException:
            if kept is not None:
                self._tables, n = kept
                del self._log[n:]
            raise
        finally:
            self._depth -= 1

    def problems(self) -> tuple[Problem, ...]:
        return ()

    def close(self) -> None:
        self._can_write = False

    def _put(self, table: str, key: tuple[Any, ...], row: Any, *, keep: bool = False) -> None:
        with self.write():
            rows = self._tables[table]
            old = rows.get(key)
            if old is not None and (keep or old == row):
                return
            rows[key] = row
            self._note("insert" if old is None else "update", table, key, old, row)

    def _note(self, what: Any, table: str, key: tuple[Any, ...], old: Any, new: Any) -> None:
        self._log.append(
            Change(
                change_no=len(self._log) + 1,
                changed_utc="2026-01-01T00:00:00Z",
                who=self.who,
                what=what,
                table_name=table,
                row_key=json.dumps(list(key), separators=(",", ":")),
                old=None if old is None else asdict(old),
                new=None if new is None else asdict(new),
            )
        )

    def _need(self, table: str, key: tuple[Any, ...], what: str) -> None:
        if key not in self._tables[table]:
            raise StoreError("store-refused", f"there is no {what} {key[0]!r}.")

    def _sorted(self, table: str) -> list[Any]:
        rows = self._tables[table]
        return [rows[key] for key in sorted(rows)]

    # places

    def sites(self) -> tuple[Site, ...]:
        return tuple(self._sorted("sites"))

    def save_site(self, site: Site) -> None:
        self._put("sites", (site.site,), site)

    def zones(self, site: str | None = None) -> tuple[Zone, ...]:
        return tuple(z for z in self._sorted("zones") if site in (None, z.site))

    def save_zone(self, zone: Zone) -> None:
        self._need("sites", (zone.site,), "site")
        self._put("zones", (zone.site, zone.zone), zone)

    def observers(self) -> tuple[Observer, ...]:
        return tuple(self._sorted("observers"))

    def save_observer(self, observer: Observer) -> None:
        self._put("observers", (observer.observer,), observer)

    def visits(self) -> tuple[Visit, ...]:
        rows = sorted(self._tables["visits"].values(), key=lambda v: (v.date, v.site))
        return tuple(
            replace(
                visit,
                clock_offset_s={o.camera: o.offset_s for o in self.clock_offsets(visit.visit_id)},
            )
            for visit in rows
        )

    def save_visit(self, visit: Visit) -> None:
        with self.write():
            self._put("sites", (visit.site,), Site(site=visit.site), keep=True)
            self._put("observers", (visit.observer,), Observer(observer=visit.observer), keep=True)
            self._put("visits", (visit.visit_id,), replace(visit, clock_offset_s={}))
            known = {o.camera: o for o in self.clock_offsets(visit.visit_id)}
            for camera, offset_s in visit.clock_offset_s.items():
                if camera not in known or known[camera].offset_s != offset_s:
                    self.save_clock_offset(
                        ClockOffset(visit_id=visit.visit_id, camera=camera, offset_s=offset_s)
                    )

    def clock_offsets(self, visit_id: str | None = None) -> tuple[ClockOffset, ...]:
        rows = self._sorted("clock_offsets")
        return tuple(o for o in rows if visit_id in (None, o.visit_id))

    def save_clock_offset(self, offset: ClockOffset) -> None:
        self._need("visits", (offset.visit_id,), "visit")
        self._put("clock_offsets", (offset.visit_id, offset.camera), offset)

    # files and photos

    def originals(self) -> tuple[Original, ...]:
        return tuple(self._sorted("originals"))

    def save_original(self, original: Original) -> None:
        self._put("originals", (original.sha256,), original, keep=True)

    def card_files(self) -> tuple[CardFile, ...]:
        return tuple(self._sorted("card_files"))

    def save_card_file(self, card_file: CardFile) -> None:
        self._need("visits", (card_file.visit_id,), "visit")
        self._need("originals", (card_file.sha256,), "original")
        with self.write():
            observer = Observer(observer=card_file.observer)
            self._put("observers", (card_file.observer,), observer, keep=True)
            key = (card_file.visit_id, card_file.card_path, card_file.sha256)
            self._put("card_files", key, card_file, keep=True)

    def copies(self) -> tuple[CopyProof, ...]:
        return tuple(self._sorted("copies"))

    def save_copy(self, copy: CopyProof) -> None:
        self._need("originals", (copy.sha256,), "original")
        self._put("copies", (copy.sha256, copy.folder), copy)

    def photos(self, visit_id: str | None = None) -> tuple[Photo, ...]:
        clocks = {(o.visit_id, o.camera): o for o in self.clock_offsets()}
        found = []
        for photo in self._tables["photos"].values():
            if visit_id not in (None, photo.visit_id):
                continue
            offset = clocks.get((photo.visit_id, camera_key(photo.metadata)))
            taken = corrected_time(photo.metadata, offset)
            found.append(replace(photo, taken_corrected=taken))
        return tuple(sorted(found, key=order_of))

    def photo_ids(self, visit_id: str | None = None) -> tuple[str, ...]:
        return tuple(photo.photo_id for photo in self.photos(visit_id))

    def photo(self, photo_id: str) -> Photo | None:
        for photo in self.photos():
            if photo_id == photo.photo_id or photo_id in {f.sha256 for f in photo.files}:
                return photo
        return None

    def save_photo(self, photo: Photo) -> None:
        self._need("visits", (photo.visit_id,), "visit")
        for file in photo.files:
            self._need("originals", (file.sha256,), "original")
        self._put("photos", (photo.photo_id,), replace(photo, taken_corrected=None))

    def delete_photo(self, photo_id: str) -> bool:
        resting = ("corrections", "measurements", "patch_residuals", "derived_files")
        resting += ("clock_offsets", "records", "unit_photos", "photos_set_aside", "survey_rows")
        resting += ("colony_frames",)
        for table in resting:
            rows = self._tables[table].values()
            if any(getattr(row, "row", row).photo_id == photo_id for row in rows):
                return False
        boxes = [b for r in self._tables["identifications"].values() for b in r.photo_regions]
        if any(box[0] == photo_id for box in boxes):
            return False
        with self.write():
            old = self._tables["photos"].pop((photo_id,), None)
            if old is not None:
                self._note("delete", "photos", (photo_id,), old, None)
        return True

    # results

    def correction(self, photo_id: str) -> CorrectionRow | None:
        rows = [r for r in self._tables["corrections"].values() if r.photo_id == photo_id]
        return rows[-1] if rows else None

    def corrections(self, visit_id: str | None = None) -> tuple[CorrectionRow, ...]:
        found = [self.correction(photo.photo_id) for photo in self.photos(visit_id)]
        return tuple(row for row in found if row is not None)

    def correction_keys(self) -> dict[str, str]:
        return {row.photo_id: row.key for row in self.corrections()}

    def visit_counts(self) -> dict[str, tuple[int, int]]:
        counts = {}
        for photo in self.photos():
            row = self.correction(photo.photo_id)
            is_done = row is not None and row.outcome in ("corrected", "borrowed")
            n, n_done = counts.get(photo.visit_id, (0, 0))
            counts[photo.visit_id] = (n + 1, n_done + is_done)
        return counts

    def photo_corrections(self, photo_id: str) -> tuple[CorrectionRow, ...]:
        return tuple(r for r in self._tables["corrections"].values() if r.photo_id == photo_id)

    def save_correction(self, row: CorrectionRow) -> None:
        self._need("photos", (row.photo_id,), "photo")
        with self.write():
            latest = self.correction(row.photo_id)
            if latest is None or latest.key != row.key:
                self._put("corrections", (len(self._tables["corrections"]) + 1,), row)

    def measurements(
        self, photo_id: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[MeasurementRow, ...]:
        rows = self._tables["measurements"].values()
        latest = {r.measurement_id: r for r in rows if photo_id in (None, r.photo_id)}
        return tuple(r for r in latest.values() if with_taken_back or not r.is_taken_back)

    def measurements_of(self, measurement_ids: Iterable[str]) -> tuple[MeasurementRow, ...]:
        wanted = set(measurement_ids)
        rows = (*self.measurements(), *self.archived_measurements())
        return tuple(r for r in rows if r.measurement_id in wanted)

    def photo_measurements(self, photo_id: str) -> tuple[MeasurementRow, ...]:
        return tuple(r for r in self._tables["measurements"].values() if r.photo_id == photo_id)

    def save_measurements(self, rows: Iterable[MeasurementRow]) -> None:
        with self.write():
            for row in rows:
                self._need("photos", (row.photo_id,), "photo")
                rows_before = self.measurements(with_taken_back=True)
                known = {r.measurement_id: r for r in rows_before}
                if known.get(row.measurement_id) != row:
                    self._put("measurements", (len(self._tables["measurements"]) + 1,), row)

    def patch_residuals(self, card_key: str | None = None) -> tuple[PatchResidual, ...]:
        rows = self._tables["patch_residuals"].values()
        return tuple(r for r in rows if card_key in (None, r.card_key))

    def photo_residuals(self, photo_id: str, correction_key: str) -> tuple[PatchResidual, ...]:
        rows = self._tables["patch_residuals"].values()
        return tuple(
            r for r in rows if (r.photo_id, r.correction_key) == (photo_id, correction_key)
        )

    def save_patch_residuals(self, rows: Iterable[PatchResidual]) -> None:
        with self.write():
            for row in rows:
                self._need("photos", (row.photo_id,), "photo")
                key = (row.photo_id, row.correction_key, row.card_key, row.patch_id)
                self._put("patch_residuals", key, row, keep=True)

    def control_objects(self) -> tuple[ControlObject, ...]:
        return tuple(self._sorted("control_objects"))

    def save_control_object(self, control: ControlObject) -> None:
        self._put("control_objects", (control.name,), control)

    def derived_files(self) -> tuple[DerivedFile, ...]:
        return tuple(self._sorted("derived_files"))

    def save_derived_file(self, derived: DerivedFile) -> None:
        self._need("photos", (derived.photo_id,), "photo")
        self._put("derived_files", (derived.path,), derived)

    # corals and their names

    def region(self) -> str | None:
        fact = self._tables["project"].get(("region",))
        return None if fact is None else fact.note

    def save_region(self, region: str) -> None:
        self._put("project", ("region",), Observer(observer="region", note=region))

    def records(self, visit_id: str | None = None) -> tuple[RecordRow, ...]:
        rows = self._tables["records"].values()
        return tuple(r for r in rows if visit_id in (None, r.visit_id))

    def record(self, record_id: str) -> RecordRow | None:
        return self._tables["records"].get((record_id,))

    def named_records(self) -> frozenset[str]:
        rows = self._tables["identifications"].values()
        return frozenset(r.record_id for r in rows if r.role == "first")

    def _see(self, observer: str) -> None:
        self._put("observers", (observer,), Observer(observer=observer), keep=True)

    def save_record(self, row: RecordRow) -> None:
        self._need("visits", (row.visit_id,), "visit")
        if row.photo_id is not None:
            self._need("photos", (row.photo_id,), "photo")
        with self.write():
            self._see(row.observer)
            self._put("records", (row.record_id,), row)

    def identifications(self, record_id: str | None = None) -> tuple[IdentificationRow, ...]:
        rows = self._tables["identifications"].values()
        return tuple(r for r in rows if record_id in (None, r.record_id))

    def save_identification(self, row: IdentificationRow) -> None:
        self._need("records", (row.record_id,), "record")
        with self.write():
            for who in sorted(row.who()):
                self._see(who)
            self._put("identifications", (row.identification_id,), row, keep=True)

    def coral_health(self) -> tuple[HealthRow, ...]:
        latest = {r.record_id: r for r in self._tables["coral_health"].values()}
        numbers = {id(r): key for key, r in self._tables["coral_health"].items()}
        return tuple(sorted(latest.values(), key=lambda r: numbers[id(r)]))

    def coral_health_history(self, record_id: str) -> tuple[HealthRow, ...]:
        return tuple(r for r in self._tables["coral_health"].values() if r.record_id == record_id)

    def save_coral_health(self, row: HealthRow) -> None:
        self._need("records", (row.record_id,), "record")
        with self.write():
            history = self.coral_health_history(row.record_id)
            if history and replace(history[-1], noted_at=row.noted_at) == row:
                return
            self._see(row.observer)
            self._put("coral_health", (len(self._tables["coral_health"]) + 1,), row)

    def units(self, visit_id: str | None = None) -> tuple[Unit, ...]:
        rows = self._tables["units"].values()
        return tuple(u for u in rows if visit_id in (None, u.visit_id))

    def has_unit(self, unit_id: str) -> bool:
        return (unit_id,) in self._tables["units"]

    def save_unit(self, unit: Unit) -> None:
        self._need("visits", (unit.visit_id,), "visit")
        same = [u for u in self.units(unit.visit_id) if unit.name and u.name == unit.name]
        if any(u.unit_id != unit.unit_id for u in same):
            raise StoreError("store-refused", f"two units are called {unit.name!r}.")
        with self.write():
            self._see(unit.observer)
            if unit.zone is not None:
                site = self._tables["visits"][unit.visit_id,].site
                self._put("zones", (site, unit.zone), Zone(site=site, zone=unit.zone), keep=True)
            self._put("units", (unit.unit_id,), unit)

    def delete_unit(self, unit_id: str) -> None:
        if any(j.unit_id == unit_id for j in self._tables["unit_photos"].values()):
            raise StoreError("store-refused", f"photos belong to the unit {unit_id!r}.")
        if (unit_id,) in self._tables["unit_designs"]:
            raise StoreError("store-refused", f"the unit {unit_id!r} was sampled.")
        self._drop("unit_places", unit_id)
        self._drop("units", unit_id)

    def _drop(self, table: str, key: str) -> None:
        with self.write():
            old = self._tables[table].pop((key,), None)
            if old is not None:
                self._note("delete", table, (key,), old, None)

    def _of_visit(self, table: str, visit_id: str | None) -> tuple[Any, ...]:
        photos = self._tables["photos"]
        rows = self._sorted(table)
        return tuple(r for r in rows if visit_id in (None, photos[r.photo_id,].visit_id))

    def unit_photos(self, visit_id: str | None = None) -> tuple[UnitPhoto, ...]:
        return self._of_visit("unit_photos", visit_id)

    def save_unit_photo(self, joined: UnitPhoto) -> None:
        self._need("photos", (joined.photo_id,), "photo")
        if joined.unit_id is not None:
            self._need("units", (joined.unit_id,), "unit")
        self._put("unit_photos", (joined.photo_id,), joined)

    def delete_unit_photo(self, photo_id: str) -> None:
        self._drop("unit_photos", photo_id)

    def photos_set_aside(self, visit_id: str | None = None) -> tuple[SetAside, ...]:
        return self._of_visit("photos_set_aside", visit_id)

    def save_set_aside(self, aside: SetAside) -> None:
        self._need("photos", (aside.photo_id,), "photo")
        with self.write():
            self._see(aside.observer)
            self._put("photos_set_aside", (aside.photo_id,), aside)

    def delete_set_aside(self, photo_id: str) -> None:
        self._drop("photos_set_aside", photo_id)

    def backups(self) -> tuple[Backup, ...]:
        return tuple(self._tables["backups"].values())

    def save_backup(self, backup: Backup) -> None:
        with self.write():
            self._see(backup.observer)
            self._put("backups", (backup.folder, backup.made_utc), backup, keep=True)

    def last_change_no(self) -> int:
        return len(self._log)

    def n_changes_after(self, change_no: int) -> int:
        return sum(c.table_name != "backups" for c in self._log[change_no:])

    def copy_to(self, path: Path) -> int:
        raise NotImplementedError("nothing on a disk to copy")

    def categories(self, list_version: int | None = None) -> tuple[Category, ...]:
        rows = sorted(self._tables["categories"].values(), key=lambda c: c.list_version)
        return tuple(c for c in rows if list_version in (None, c.list_version))

    def save_categories(self, categories: Sequence[Category]) -> None:
        with self.write():
            for one in categories:
                self._put("categories", (one.list_version, one.category), one, keep=True)

    def category_mappings(self) -> tuple[CategoryMapping, ...]:
        return tuple(self._tables["category_mappings"].values())

    def save_category_mappings(self, mappings: Sequence[CategoryMapping]) -> None:
        with self.write():
            for m in mappings:
                self._need("categories", (m.from_version, m.category), "category")
                self._need("categories", (m.to_version, m.to_category), "category")
                key = (m.from_version, m.category, m.to_version)
                self._put("category_mappings", key, m)

    def unit_designs(self, visit_id: str | None = None) -> tuple[StatedDesign, ...]:
        stated = self._tables["unit_designs"]
        units = [u.unit_id for u in self.units(visit_id)]
        return tuple(stated[u,] for u in units if (u,) in stated)

    def save_unit_design(self, stated: StatedDesign) -> None:
        self._need("units", (stated.unit_id,), "unit")
        with self.write():
            self._see(stated.observer)
            self._put("unit_designs", (stated.unit_id,), stated)

    def survey_rows(self, unit_id: str | None = None) -> tuple[NotedRow, ...]:
        rows = self._tables["survey_rows"].values()
        return tuple(r for r in rows if unit_id in (None, r.unit_id))

    def save_survey_rows(self, rows: Iterable[NotedRow]) -> int:
        n = 0
        with self.write():
            for noted in rows:
                self._need("unit_designs", (noted.unit_id,), "design of the unit")
                self._see(noted.observer)
                last = self.last_row_no()
                number = last + 1 if noted.row_no is None else noted.row_no
                self._put("survey_rows", (number,), replace(noted, row_no=number))
                n += 1
        return n

    def delete_survey_rows(self, unit_id: str) -> int:
        gone = [r.row_no for r in self.survey_rows(unit_id)]
        with self.write():
            for number in gone:
                self._drop("survey_rows", number)
        return len(gone)

    def review_draws(self) -> tuple[ReviewDrawRow, ...]:
        return tuple(self._tables["review_draws"].values())

    def review_chances(self) -> tuple[ReviewChanceRow, ...]:
        return tuple(self._tables["review_chances"].values())

    def save_review_draw(self, draw: ReviewDrawRow, chances: Iterable[ReviewChanceRow]) -> None:
        with self.write():
            self._see(draw.observer)
            self._put("review_draws", (draw.draw_id,), draw, keep=True)
            for chance in chances:
                self._need("identifications", (chance.identification_id,), "identification")
                self._put("review_chances", (chance.identification_id,), chance, keep=True)

    def review_outcomes(self) -> tuple[ReviewOutcomeRow, ...]:
        return tuple(self._tables["review_outcomes"].values())

    def save_review_outcome(self, row: ReviewOutcomeRow) -> None:
        self._need("identifications", (row.first_id,), "identification")
        self._need("identifications", (row.second_id,), "identification")
        with self.write():
            self._see(row.observer)
            self._put("review_outcomes", (row.outcome_id,), row, keep=True)

    def log_faults(self) -> tuple[LogFault, ...]:
        return ()

    def changes(self, table_name: str | None = None) -> tuple[Change, ...]:
        return tuple(c for c in self._log if table_name in (None, c.table_name))
