"""Printed sheets in SQLite."""

from __future__ import annotations

from collections.abc import Iterable

from dryslate.app.sheet_records import PrintedSheet
from dryslate.core.sheet.page import content_from_dict, content_to_dict
from dryslate.store.rows import StoreRoom, from_json, to_json


class SqliteSheetRoom(StoreRoom):
    """Implements `dryslate.app.sheet_records.SheetStore`."""

    def printed_sheets(self) -> tuple[PrintedSheet, ...]:
        """Return every printed page, in the order printed."""
        rows = self._rows("SELECT * FROM printed_sheets ORDER BY rowid")
        return tuple(
            PrintedSheet(**{**dict(row), "content": content_from_dict(from_json(row["content"]))})
            for row in rows
        )

    def save_printed_sheets(self, sheets: Iterable[PrintedSheet]) -> None:
        """Add printed pages, all or none; a number that is there already is refused."""
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
