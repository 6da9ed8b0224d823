"""Printed sheets and photos of them in memory: a part of the fake store."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from dryslate.app.sheet_records import PrintedSheet, SheetPhoto
from dryslate.base.errors import StoreError


class MemoryPrintedSheets:
    """What `dryslate.app.sheet_records.SheetStore` does, in memory."""

    def printed_sheets(self) -> tuple[PrintedSheet, ...]:
        return tuple(self._tables["printed_sheets"].values())

    def save_printed_sheets(self, sheets: Iterable[PrintedSheet]) -> None:
        with self.write():
            for sheet in sheets:
                if (sheet.sheet_id,) in self._tables["printed_sheets"]:
                    raise StoreError("store-refused", "a number that is there already", "")
                self._see(sheet.observer)
                self._put("printed_sheets", (sheet.sheet_id,), sheet)

    def sheet_photos(self, unit_id: str | None = None) -> tuple[SheetPhoto, ...]:
        units = {unit.unit_id for unit in self.units()}
        found = (
            one if one.unit_id in units else replace(one, unit_id=None)
            for one in self._tables["sheet_photos"].values()
        )
        rows = sorted(found, key=lambda one: (one.joined_at, one.photo_id))
        return tuple(one for one in rows if unit_id in (None, one.unit_id))

    def save_sheet_photo(self, row: SheetPhoto) -> None:
        with self.write():
            self._see(row.observer)
            self._put("sheet_photos", (row.photo_id,), row)
