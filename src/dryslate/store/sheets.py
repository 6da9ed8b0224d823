"""Printed sheets and photos of them in SQLite."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING

from dryslate.store.rows import StoreRoom, from_json, to_json

if TYPE_CHECKING:  # else where they are used: the first page shows none, and is there sooner
    from dryslate.app.sheet_records import PrintedSheet, SheetPhoto


class SqliteSheetRoom(StoreRoom):
    """Implements `dryslate.app.sheet_records.SheetStore`."""

    def printed_sheets(self) -> tuple[PrintedSheet, ...]:
        """Return every printed page, in the order printed."""
        from dryslate.app.sheet_records import PrintedSheet
        from dryslate.core.sheet.page import content_from_dict

        rows = self._rows("SELECT * FROM printed_sheets ORDER BY rowid")
        return tuple(
            PrintedSheet(**{**dict(row), "content": content_from_dict(from_json(row["content"]))})
            for row in rows
        )

    def save_printed_sheets(self, sheets: Iterable[PrintedSheet]) -> None:
        """Add printed pages, all or none; a number that is there already is refused."""
        from dryslate.core.sheet.page import content_to_dict

        with self.write():
            for sheet in sheets:
                self._keep("observers", {"observer": sheet.observer})
                self._db.execute(
                    "INSERT INTO printed_sheets VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    [
                        sheet.sheet_id,
                        sheet.kind,
                        sheet.layout_version,
                        sheet.unit,
                        sheet.language,
                        to_json(content_to_dict(sheet.content)),
                        sheet.observer,
                        sheet.printed_at,
                    ],
                )

    def sheet_photos(self, unit_id: str | None = None) -> tuple[SheetPhoto, ...]:
        """Return the photos of sheets of one unit, or all, in the order joined."""
        from dryslate.app.sheet_records import SheetPhoto

        rows = self._rows(
            "SELECT * FROM sheet_photos WHERE ?1 IS NULL OR unit_id = ?1 "
            "ORDER BY joined_at, photo_id",
            [unit_id],
        )
        return tuple(
            SheetPhoto(**{**dict(row), "to_px": tuple(map(tuple, from_json(row["to_px"])))})
            for row in rows
        )

    def save_sheet_photo(self, row: SheetPhoto) -> None:
        """Store what a photo shows, in place of what was said of it before."""
        with self.write():
            self._keep("observers", {"observer": row.observer})
            self._put("sheet_photos", asdict(row) | {"to_px": to_json(row.to_px)}, ["photo_id"])
