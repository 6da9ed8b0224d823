"""Photos that are not here, named by archives, in memory."""

from __future__ import annotations

from typing import Any

from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.records import MeasurementRow

NAMES = ("archived_photos", "archived_frames", "archived_measurements", "archived_sketches")


class MemoryArchived:
    """Implements `dryslate.app.archived_records.ArchivedStore`; the store mixes it in."""

    _tables: dict[str, Any]

    def archived_photos(self) -> tuple[ArchivedPhoto, ...]:
        return tuple(self._tables["archived_photos"].values())

    def save_archived_photo(self, photo: ArchivedPhoto) -> None:
        self._need("visits", (photo.visit_id,), "visit")
        self._put("archived_photos", (photo.photo_id,), photo)

    def archived_frames(self, organism_id: str | None = None) -> tuple[ArchivedFrame, ...]:
        rows = self._tables["archived_frames"].values()
        return tuple(f for f in rows if organism_id in (None, f.organism_id))

    def save_archived_frame(self, frame: ArchivedFrame) -> None:
        self._need("colonies", (frame.organism_id,), "colony")
        self._need("archived_photos", (frame.photo_id,), "photo")
        with self.write():
            self._see(frame.observer)
            self._put("archived_frames", (frame.organism_id, frame.photo_id), frame)

    def archived_measurements(self) -> tuple[MeasurementRow, ...]:
        return tuple(self._tables["archived_measurements"].values())

    def save_archived_measurement(self, record_id: str, row: MeasurementRow) -> None:
        self._need("records", (record_id,), "coral")
        with self.write():
            self._see(row.observer)
            self._put("archived_measurements", (row.measurement_id,), row)

    def archived_sketches(self) -> tuple[ArchivedSketch, ...]:
        return tuple(self._tables["archived_sketches"].values())

    def save_archived_sketch(self, sketch: ArchivedSketch) -> None:
        self._need("colonies", (sketch.organism_id,), "colony")
        self._put("archived_sketches", (sketch.organism_id,), sketch)
