"""Original files, their places on the card, their copies, and photos in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from typing import Any

from dryslate.app.project_records import CardFile, ClockOffset, CopyProof, Original
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata
from dryslate.app.shots import camera_key, corrected_time, order_by, order_of
from dryslate.store.rows import StoreRoom

_METADATA = tuple(f.name for f in fields(PhotoMetadata))
_FILE = tuple(f.name for f in fields(PhotoFile))
_OF_CAMERA = ("taken_local", "camera_make", "camera_model", "camera_serial")
PHOTO_TABLES = ("photos", "photo_files", "originals", "clock_offsets")
"""What photos are put together from."""
_RESTING = (
    "corrections",
    "measurements",
    "patch_residuals",
    "derived_files",
    "clock_offsets",
    "records",
    "unit_photos",
    "photos_set_aside",
    "survey_rows",
    "colony_frames",
)
_TRUTHS = ("flash_fired", "white_balance_fixed")


class SqlitePhotoRoom(StoreRoom):
    """Implements `dryslate.app.store_ports.PhotoStore`."""

    def clock_offsets(self, visit_id: str | None = None) -> tuple[ClockOffset, ...]:
        """Return the clock offsets of one visit, or all."""
        raise NotImplementedError

    def originals(self) -> tuple[Original, ...]:
        """Return every kept file by hash."""
        rows = self._rows("SELECT * FROM originals ORDER BY sha256")
        return tuple(Original(**dict(row)) for row in rows)

    def save_original(self, original: Original) -> None:
        """Store a kept file; the same hash again changes nothing."""
        self._keep("originals", asdict(original))

    def card_files(self) -> tuple[CardFile, ...]:
        """Return where every file lay on its memory card."""
        rows = self._rows("SELECT * FROM card_files ORDER BY visit_id, card_path, sha256")
        return tuple(CardFile(**dict(row)) for row in rows)

    def save_card_file(self, card_file: CardFile) -> None:
        """Store where a file lay; the same visit, path and hash again changes nothing."""
        with self.write():
            self._keep("observers", {"observer": card_file.observer})
            self._keep("card_files", asdict(card_file))

    def copies(self) -> tuple[CopyProof, ...]:
        """Return every kept copy."""

        def read() -> tuple[CopyProof, ...]:
            rows = self._rows("SELECT * FROM copies ORDER BY sha256, folder")
            return tuple(
                CopyProof(**dict(row) | {"is_proved": bool(row["is_proved"])}) for row in rows
            )

        return self._recall("copies", ("copies",), read)

    def save_copy(self, copy: CopyProof) -> None:
        """Store a copy; a later proof in the same folder takes the place of an earlier one."""
        self._put("copies", asdict(copy), ["sha256", "folder"])

    def photos(self, visit_id: str | None = None) -> tuple[Photo, ...]:
        """Return photos in the order they were taken."""
        if self._memory is not None:
            found = self._recall("photos", PHOTO_TABLES, lambda: self._photos(None))
            return tuple(p for p in found if visit_id is None or p.visit_id == visit_id)
        return self._photos(visit_id)

    def _photos(self, visit_id: str | None) -> tuple[Photo, ...]:
        """Read photos from the database."""
        rows = self._rows("SELECT * FROM photos WHERE ?1 IS NULL OR visit_id = ?1", [visit_id])
        files = self._rows(
            "SELECT f.*, o.size_bytes, o.kind FROM photo_files AS f "
            "JOIN originals AS o USING (sha256) JOIN photos AS p USING (photo_id) "
            "WHERE ?1 IS NULL OR p.visit_id = ?1 ORDER BY f.photo_id, f.position",
            [visit_id],
        )
        return self._assemble(rows, files)

    def photo_ids(self, visit_id: str | None = None) -> tuple[str, ...]:
        """Return the photos' ids in the order they were taken."""
        clocks = {(o.visit_id, o.camera): o for o in self.clock_offsets()}
        rows = self._rows(
            "SELECT p.photo_id, p.visit_id, p.taken_local, p.camera_make, p.camera_model, "
            "p.camera_serial, f.original_name, min(f.position) FROM photos AS p "
            "LEFT JOIN photo_files AS f USING (photo_id) WHERE ?1 IS NULL OR p.visit_id = ?1 "
            "GROUP BY p.photo_id",
            [visit_id],
        )
        ordered = sorted(
            order_by(_taken(row, clocks), row["original_name"] or "", row["photo_id"])
            for row in rows
        )
        return tuple(photo_id for *_, photo_id in ordered)

    def photo(self, photo_id: str) -> Photo | None:
        """Return one photo by its id or by the hash of any of its files."""
        found = self._db.execute(
            "SELECT photo_id FROM photo_files WHERE sha256 = ?1 "
            "UNION SELECT photo_id FROM photos WHERE photo_id = ?1 LIMIT 1",
            [photo_id],
        ).fetchone()
        if found is None:
            return None
        key = [found["photo_id"]]
        rows = self._rows("SELECT * FROM photos WHERE photo_id = ?", key)
        files = self._rows(
            "SELECT f.*, o.size_bytes, o.kind FROM photo_files AS f "
            "JOIN originals AS o USING (sha256) WHERE f.photo_id = ? ORDER BY f.position",
            key,
        )
        photos = self._assemble(rows, files)
        return photos[0] if photos else None

    def save_photo(self, photo: Photo) -> None:
        """Store a photo or its changed files and metadata."""
        row: dict[str, Any] = {
            "photo_id": photo.photo_id,
            "visit_id": photo.visit_id,
            "observer": photo.observer,
            "depth_m": photo.depth_m,
        }
        row |= {name: getattr(photo.metadata, name) for name in _METADATA}
        with self.write():
            self._put("photos", row, ["photo_id"])
            for position, file in enumerate(photo.files):
                self._put(
                    "photo_files",
                    {
                        "sha256": file.sha256,
                        "photo_id": photo.photo_id,
                        "original_name": file.original_name,
                        "position": position,
                    },
                    ["sha256"],
                )

    def delete_photo(self, photo_id: str) -> bool:
        """Take out a photo (its files stay); False and nothing done where results rest on it."""
        with self.write():
            for table in _RESTING:
                if self._db.execute(
                    f'SELECT 1 FROM "{table}" WHERE photo_id = ? LIMIT 1', [photo_id]
                ).fetchone():
                    return False
            if self._db.execute(
                "SELECT 1 FROM identifications WHERE instr(photo_regions, ?) LIMIT 1", [photo_id]
            ).fetchone():
                return False
            self._db.execute("DELETE FROM photo_files WHERE photo_id = ?", [photo_id])
            self._db.execute("DELETE FROM photos WHERE photo_id = ?", [photo_id])
        return True

    def _assemble(
        self, rows: Iterable[sqlite3.Row], files: Iterable[sqlite3.Row]
    ) -> tuple[Photo, ...]:
        """Put photos together from their rows, files and clock offsets, in order of time."""
        clocks = {(o.visit_id, o.camera): o for o in self.clock_offsets()}
        by_photo: dict[str, list[PhotoFile]] = {}
        for row in files:
            by_photo.setdefault(row["photo_id"], []).append(
                PhotoFile(**{name: row[name] for name in _FILE})
            )
        photos = [_photo(row, tuple(by_photo.get(row["photo_id"], ())), clocks) for row in rows]
        return tuple(sorted(photos, key=order_of))


def _taken(row: sqlite3.Row, clocks: Mapping[tuple[str, str], ClockOffset]) -> str:
    """When a photo was taken, by the camera's clock where that is not known to be wrong."""
    taken = row["taken_local"] or ""
    if clocks:
        metadata = PhotoMetadata(**{name: row[name] for name in _OF_CAMERA})
        offset = clocks.get((row["visit_id"], camera_key(metadata)))
        return corrected_time(metadata, offset) or taken
    return taken


def _photo(
    row: sqlite3.Row, files: tuple[PhotoFile, ...], clocks: Mapping[tuple[str, str], ClockOffset]
) -> Photo:
    """Read one photo."""
    values = {name: row[name] for name in _METADATA}
    for name in _TRUTHS:
        values[name] = None if values[name] is None else bool(values[name])
    metadata = PhotoMetadata(**values)
    offset = clocks.get((row["visit_id"], camera_key(metadata))) if clocks else None
    return Photo(
        photo_id=row["photo_id"],
        visit_id=row["visit_id"],
        files=files,
        metadata=metadata,
        taken_corrected=corrected_time(metadata, offset),
        depth_m=row["depth_m"],
        observer=row["observer"],
    )
