"""Conditions of visits in SQLite."""

from __future__ import annotations

from dataclasses import asdict

from dryslate.app.condition_records import VisitConditions
from dryslate.store.rows import StoreRoom


class SqliteConditionRoom(StoreRoom):
    """Implements `dryslate.app.condition_records.ConditionStore`."""

    def visit_conditions(self, visit_id: str | None = None) -> tuple[VisitConditions, ...]:
        """Return the conditions of one visit, or of all that have any."""
        rows = self._rows(
            "SELECT * FROM visit_conditions WHERE ?1 IS NULL OR visit_id = ?1 ORDER BY visit_id",
            [visit_id],
        )
        return tuple(VisitConditions(**dict(row)) for row in rows)

    def save_visit_conditions(self, stated: VisitConditions) -> None:
        """Store the conditions of a visit, or their changed words; the observer comes to be."""
        with self.write():
            self._keep("observers", {"observer": stated.observer})
            self._put("visit_conditions", asdict(stated), ["visit_id"])
