"""Judgements of corals' health in SQLite."""

from __future__ import annotations

from dataclasses import asdict, fields

from dryslate.app.coral_health import HealthRow
from dryslate.store.rows import StoreRoom

_FIELDS = tuple(f.name for f in fields(HealthRow))
_SELECT = f"SELECT {', '.join(_FIELDS)} FROM coral_health"


class SqliteHealthRoom(StoreRoom):
    """Implements `dryslate.app.coral_health.HealthStore`."""

    def coral_health(self) -> tuple[HealthRow, ...]:
        """Return the latest judgement of every coral that has one."""
        latest = "(SELECT max(health_no) FROM coral_health GROUP BY record_id)"
        rows = self._rows(f"{_SELECT} WHERE health_no IN {latest} ORDER BY health_no")
        return tuple(HealthRow(**dict(row)) for row in rows)

    def coral_health_history(self, record_id: str) -> tuple[HealthRow, ...]:
        """Return every judgement of one coral, oldest first."""
        rows = self._rows(f"{_SELECT} WHERE record_id = ? ORDER BY health_no", [record_id])
        return tuple(HealthRow(**dict(row)) for row in rows)

    def save_coral_health(self, row: HealthRow) -> None:
        """Add a judgement; the latest one's shares and observer again change nothing."""
        with self.write():
            history = self.coral_health_history(row.record_id)
            if history and _said(history[-1]) == _said(row):
                return
            self._keep("observers", {"observer": row.observer})
            self._keep("coral_health", asdict(row))


def _said(row: HealthRow) -> tuple[object, ...]:
    """What a judgement says, and who."""
    return (*row.shares().values(), row.observer)
