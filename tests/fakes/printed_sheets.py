"""Printed sheets in memory: a part of the fake store."""

from __future__ import annotations

from collections.abc import Iterable

from dryslate.app.sheet_records import PrintedSheet
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
