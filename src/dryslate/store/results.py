"""Corrections, measurements, residuals, control objects, derived files and the log in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import fields
from typing import Any

from dryslate.app.project_records import Change, DerivedFile, PatchResidual
from dryslate.app.records import ControlObject, CorrectionRow, MeasurementRow
from dryslate.store.rows import KeptJson, StoreRoom, from_json, to_json

_CORRECTION = tuple(f.name for f in fields(CorrectionRow))
_CORRECTION_JSON = ("result", "geometry", "colour")
MEASUREMENT = tuple(f.name for f in fields(MeasurementRow))
_RESIDUAL = tuple(f.name for f in fields(PatchResidual))


class SqliteResultRoom(StoreRoom):
    """Implements `dryslate.app.store_ports.ResultStore`."""

    def photo_ids(self, visit_id: str | None = None) -> tuple[str, ...]:
        """Return the photos' ids in the order they were taken."""
        raise NotImplementedError

    def correction(self, photo_id: str) -> CorrectionRow | None:
        """Return the latest correction of a photo."""
        row = self._db.execute(
            "SELECT * FROM corrections WHERE photo_id = ? ORDER BY correction_no DESC LIMIT 1",
            [photo_id],
        ).fetchone()
        return None if row is None else _correction(row)

    def corrections(self, visit_id: str | None = None) -> tuple[CorrectionRow, ...]:
        """Return the latest correction of every photo that has one, in the photos' order."""
        latest = self._recall("latest corrections", ("corrections",), self._latest_corrections)
        ids = self.photo_ids(visit_id)
        return tuple(latest[photo_id] for photo_id in ids if photo_id in latest)

    def _latest_corrections(self) -> dict[str, CorrectionRow]:
        """Read the latest correction of every photo that has one."""
        rows = self._rows(
            "SELECT * FROM corrections WHERE correction_no IN "
            "(SELECT max(correction_no) FROM corrections GROUP BY photo_id)"
        )
        return {row["photo_id"]: _correction(row, KeptJson) for row in rows}

    def correction_keys(self) -> dict[str, str]:
        """Return the key of the latest correction of every photo that has one."""
        rows = self._rows(
            "SELECT photo_id, key FROM corrections WHERE correction_no IN "
            "(SELECT max(correction_no) FROM corrections GROUP BY photo_id)"
        )
        return {row["photo_id"]: row["key"] for row in rows}

    def visit_counts(self) -> dict[str, tuple[int, int]]:
        """Return how many photos each visit has, and how many of them are corrected."""
        rows = self._rows(
            "SELECT p.visit_id, count(*) AS n_photos, "
            "total(c.outcome IN ('corrected', 'borrowed')) AS n_corrected FROM photos AS p "
            "LEFT JOIN corrections AS c ON c.correction_no = "
            "(SELECT max(correction_no) FROM corrections AS l WHERE l.photo_id = p.photo_id) "
            "GROUP BY p.visit_id"
        )
        return {row["visit_id"]: (row["n_photos"], int(row["n_corrected"])) for row in rows}

    def photo_corrections(self, photo_id: str) -> tuple[CorrectionRow, ...]:
        """Return every correction that a photo ever had, oldest first."""
        rows = self._rows(
            "SELECT * FROM corrections WHERE photo_id = ? ORDER BY correction_no", [photo_id]
        )
        return tuple(_correction(row) for row in rows)

    def save_correction(self, row: CorrectionRow) -> None:
        """Store a correction as the latest; the latest one's key again changes nothing."""
        with self.write():
            latest = self.correction(row.photo_id)
            if latest is not None and latest.key == row.key:
                return
            values = {name: getattr(row, name) for name in _CORRECTION}
            for name in _CORRECTION_JSON:
                values[name] = to_json(values[name])
            self._insert("corrections", values)

    def measurements(
        self, photo_id: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[MeasurementRow, ...]:
        """Return the latest of every standing measurement, of one photo or all, as first saved."""
        rows = self._rows(
            "SELECT m.* FROM measurements AS m JOIN (SELECT min(measurement_no) AS first, "
            "max(measurement_no) AS last FROM measurements WHERE ?1 IS NULL OR photo_id = ?1 "
            "GROUP BY measurement_id) AS g ON m.measurement_no = g.last ORDER BY g.first",
            [photo_id],
        )
        latest = (measurement_of(row) for row in rows)
        return tuple(m for m in latest if with_taken_back or not m.is_taken_back)

    def photo_measurements(self, photo_id: str) -> tuple[MeasurementRow, ...]:
        """Return every entry about measurements in a photo, also those followed, oldest first."""
        rows = self._rows(
            "SELECT * FROM measurements WHERE photo_id = ? ORDER BY measurement_no", [photo_id]
        )
        return tuple(measurement_of(row) for row in rows)

    def measurements_of(self, measurement_ids: Iterable[str]) -> tuple[MeasurementRow, ...]:
        """Return those of some that stand, in the order first saved; then those of archives."""
        ids = sorted(set(measurement_ids))
        rows = self._rows(
            "SELECT m.* FROM measurements AS m JOIN (SELECT min(measurement_no) AS first, "
            "max(measurement_no) AS last FROM measurements WHERE measurement_id IN "
            "(SELECT value FROM json_each(?)) GROUP BY measurement_id) AS g "
            "ON m.measurement_no = g.last ORDER BY g.first",
            [to_json(ids)],
        )
        elsewhere = self._rows(
            "SELECT * FROM archived_measurements WHERE measurement_id IN "
            "(SELECT value FROM json_each(?)) ORDER BY rowid",
            [to_json(ids)],
        )
        found = (*map(measurement_of, rows), *map(measurement_of, elsewhere))
        return tuple(m for m in found if not m.is_taken_back)

    def save_measurements(self, rows: Iterable[MeasurementRow]) -> None:
        """Store measurements; what is there already in the same words changes nothing."""
        with self.write():
            for row in rows:
                values = {name: getattr(row, name) for name in MEASUREMENT}
                values["points_px"] = to_json(row.points_px)
                values["values"] = to_json(row.values)
                latest = self._db.execute(
                    "SELECT * FROM measurements WHERE measurement_id = ? "
                    "ORDER BY measurement_no DESC LIMIT 1",
                    [row.measurement_id],
                ).fetchone()
                if latest is None or any(latest[name] != values[name] for name in MEASUREMENT):
                    self._insert("measurements", values)

    def patch_residuals(self, card_key: str | None = None) -> tuple[PatchResidual, ...]:
        """Return the residuals of one printed card, or all, in the order saved."""
        rows = self._rows(
            "SELECT * FROM patch_residuals WHERE ?1 IS NULL OR card_key = ?1 ORDER BY residual_no",
            [card_key],
        )
        return tuple(_residual(row) for row in rows)

    def photo_residuals(self, photo_id: str, correction_key: str) -> tuple[PatchResidual, ...]:
        """Return the residuals of one correction of one photo."""
        rows = self._rows(
            "SELECT * FROM patch_residuals WHERE photo_id = ? AND correction_key = ? "
            "ORDER BY residual_no",
            [photo_id, correction_key],
        )
        return tuple(_residual(row) for row in rows)

    def save_patch_residuals(self, rows: Iterable[PatchResidual]) -> None:
        """Store residuals; the same photo, correction, card and patch again changes nothing."""
        with self.write():
            for row in rows:
                values = {name: getattr(row, name) for name in _RESIDUAL}
                lab = row.residual_lab
                values["residual_lab"] = None if lab is None else to_json([float(v) for v in lab])
                self._keep("patch_residuals", values)

    def control_objects(self) -> tuple[ControlObject, ...]:
        """Return the control objects the project has named."""
        return tuple(
            ControlObject(
                name=row["name"],
                kind=row["kind"],
                value=tuple(from_json(row["value"])),
                value_u=tuple(from_json(row["value_u"])),
            )
            for row in self._rows("SELECT * FROM control_objects ORDER BY name")
        )

    def save_control_object(self, control: ControlObject) -> None:
        """Store a control object, or its changed values."""
        values = {
            "name": control.name,
            "kind": control.kind,
            "value": to_json(list(control.value)),
            "value_u": to_json(list(control.value_u)),
        }
        self._put("control_objects", values, ["name"])

    def derived_files(self) -> tuple[DerivedFile, ...]:
        """Return every recorded derived file by path."""

        def read() -> tuple[DerivedFile, ...]:
            rows = self._rows("SELECT * FROM derived_files ORDER BY path")
            return tuple(
                DerivedFile(**dict(row) | {"steps": KeptJson(row["steps"])}) for row in rows
            )

        return self._recall("derived files", ("derived_files",), read)

    def save_derived_file(self, derived: DerivedFile) -> None:
        """Store a derived file; the same path again is replaced."""
        values = {f.name: getattr(derived, f.name) for f in fields(derived)}
        values["steps"] = to_json(derived.steps)
        self._put("derived_files", values, ["path"])

    def changes(self, table_name: str | None = None) -> tuple[Change, ...]:
        """Return the change log, oldest first; nothing in it can be changed or taken out."""
        rows = self._rows(
            "SELECT * FROM change_log WHERE ?1 IS NULL OR table_name = ?1 ORDER BY change_no",
            [table_name],
        )
        return tuple(map(_change, rows))

    def changes_of(self, table_name: str, first_key: str) -> tuple[Change, ...]:
        """Return the lines about rows of a table whose key begins with this, oldest first."""
        rows = self._rows(
            "SELECT * FROM change_log WHERE table_name = ? AND json_extract(row_key, '$[0]') = ? "
            "ORDER BY change_no",
            [table_name, first_key],
        )
        return tuple(map(_change, rows))

    def _insert(self, table: str, values: dict[str, Any]) -> None:
        """Insert a row that follows earlier ones."""
        names = ", ".join(f'"{name}"' for name in values)
        marks = ", ".join("?" for _ in values)
        self._db.execute(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', [*values.values()])


def _change(row: sqlite3.Row) -> Change:
    """Read one line of the change log."""
    sides = {side: None if row[side] is None else from_json(row[side]) for side in ("old", "new")}
    return Change(**dict(row) | sides)


def _correction(row: sqlite3.Row, read: Callable[[str], Any] = from_json) -> CorrectionRow:
    """Read one correction; `read` takes its JSON columns."""
    values = {name: row[name] for name in _CORRECTION}
    for name in _CORRECTION_JSON:
        values[name] = read(values[name])
    return CorrectionRow(**values)


def measurement_of(row: sqlite3.Row) -> MeasurementRow:
    """Read one measurement."""
    values = {name: row[name] for name in MEASUREMENT}
    values["points_px"] = tuple((float(x), float(y)) for x, y in from_json(values["points_px"]))
    values["values"] = from_json(values["values"])
    return MeasurementRow(**values)


def _residual(row: sqlite3.Row) -> PatchResidual:
    """Read one patch residual."""
    values = {name: row[name] for name in _RESIDUAL}
    lab = values["residual_lab"]
    values["residual_lab"] = None if lab is None else tuple(from_json(lab))
    return PatchResidual(**values)
