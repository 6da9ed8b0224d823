"""Edits of visits in memory: kept, not carried out (that is SQLite's); and lines of the log."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from dryslate.app.project_records import Change
from dryslate.app.visit_edit_records import VisitEdit

NAMES = ("visit_edits",)


class MemoryVisitEdits:
    """Keeps edits of visits as `dryslate.app.visit_edit_records.VisitEditStore` has it."""

    _tables: dict[str, Any]

    def visit_edits(self) -> tuple[VisitEdit, ...]:
        return tuple(self._tables["visit_edits"].values())

    def changes_of(self, table_name: str, first_key: str) -> tuple[Change, ...]:
        return tuple(c for c in self.changes(table_name) if json.loads(c.row_key)[0] == first_key)

    def visit_contents(self, visit_id: str) -> dict[str, int]:
        tables = ("photos", "units", "records", "colony_sightings", "archived_photos")
        rows = {name: self._tables[name].values() for name in tables}
        return {n: sum(row.visit_id == visit_id for row in of) for n, of in rows.items()}

    def save_visit_edit(self, edit: VisitEdit) -> int:
        with self.write():
            self._see(edit.observer)
            number = len(self._tables["visit_edits"]) + 1
            self._put("visit_edits", (number,), replace(edit, edit_no=number))
        return number
