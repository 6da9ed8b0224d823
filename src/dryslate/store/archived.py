"""Photos that are not here, named by archives, in SQLite."""

from __future__ import annotations

from dataclasses import asdict

from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.records import MeasurementRow
from dryslate.store.results import MEASUREMENT, measurement_of
from dryslate.store.rows import StoreRoom, from_json, to_json


class SqliteArchivedRoom(StoreRoom):
    """Implements `dryslate.app.archived_records.ArchivedStore`."""

    def archived_photos(self) -> tuple[ArchivedPhoto, ...]:
        """Return the photos that archives name, in the order read."""
        rows = self._rows("SELECT * FROM archived_photos ORDER BY rowid")
        return tuple(ArchivedPhoto(**dict(row)) for row in rows)

    def save_archived_photo(self, photo: ArchivedPhoto) -> None:
        """Store what an archive says of a photo."""
        self._put("archived_photos", asdict(photo), ["photo_id"])

    def archived_frames(self, organism_id: str | None = None) -> tuple[ArchivedFrame, ...]:
        """Return the frames of one colony, or of all, in the order read."""
        rows = self._rows(
            "SELECT * FROM archived_frames WHERE ?1 IS NULL OR organism_id = ?1 ORDER BY rowid",
            [organism_id],
        )
        return tuple(
            ArchivedFrame(
                **dict(row)
                | {
                    "outline_px": tuple(
                        (float(x), float(y)) for x, y in from_json(row["outline_px"])
                    ),
                    "is_reference": bool(row["is_reference"]),
                    "is_confirmed": bool(row["is_confirmed"]),
                    "measured": from_json(row["measured"]),
                }
            )
            for row in rows
        )

    def archived_measurements(self) -> tuple[MeasurementRow, ...]:
        """Return what was measured of corals in photos that are not here, in the order read."""
        rows = self._rows("SELECT * FROM archived_measurements ORDER BY rowid")
        return tuple(map(measurement_of, rows))

    def save_archived_measurement(self, record_id: str, row: MeasurementRow) -> None:
        """Store a measurement of a coral; the observer comes to be."""
        values = {name: getattr(row, name) for name in MEASUREMENT}
        values |= {"points_px": to_json(row.points_px), "values": to_json(row.values)}
        with self.write():
            self._keep("observers", {"observer": row.observer})
            self._put(
                "archived_measurements", {"record_id": record_id, **values}, ["measurement_id"]
            )

    def archived_sketches(self) -> tuple[ArchivedSketch, ...]:
        """Return which files show sketches and are not here."""
        rows = self._rows("SELECT * FROM archived_sketches ORDER BY rowid")
        return tuple(ArchivedSketch(**dict(row)) for row in rows)

    def save_archived_sketch(self, sketch: ArchivedSketch) -> None:
        """Store which file shows the sketch of a colony's place."""
        self._put("archived_sketches", asdict(sketch), ["organism_id"])

    def save_archived_frame(self, frame: ArchivedFrame) -> None:
        """Store a frame; the observer comes to be."""
        row = asdict(frame) | {
            "outline_px": to_json([list(p) for p in frame.outline_px]),
            "is_reference": int(frame.is_reference),
            "is_confirmed": int(frame.is_confirmed),
            "measured": to_json(frame.measured),
        }
        with self.write():
            self._keep("observers", {"observer": frame.observer})
            self._put("archived_frames", row, ["organism_id", "photo_id"])
