"""Conditions of visits in memory."""

from __future__ import annotations

from typing import Any

from dryslate.app.condition_records import VisitConditions

NAMES = ("visit_conditions",)


class MemoryConditions:
    """Implements `dryslate.app.condition_records.ConditionStore`; the store mixes it in."""

    _tables: dict[str, Any]

    def visit_conditions(self, visit_id: str | None = None) -> tuple[VisitConditions, ...]:
        return tuple(c for c in self._sorted("visit_conditions") if visit_id in (None, c.visit_id))

    def save_visit_conditions(self, stated: VisitConditions) -> None:
        with self.write():
            self._see(stated.observer)
            self._put("visit_conditions", (stated.visit_id,), stated)
