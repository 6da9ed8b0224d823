"""Records of corals, identifications and the second observer in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import fields
from typing import Any, TypeVar

from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.store.rows import StoreRoom, from_json, to_json

Row = TypeVar("Row", RecordRow, IdentificationRow, ReviewDrawRow, ReviewChanceRow, ReviewOutcomeRow)
_JSON = (
    "measurement_ids",
    "sizes_noted",
    "current_names",
    "evidence",
    "conflicts",
    "photo_regions",
    "reasons",
    "settled_names",
)
_TRUTHS = ("is_juvenile", "is_drawn", "is_agreed")


class SqliteIdentificationRoom(StoreRoom):
    """Implements `dryslate.app.store_ports.IdentificationStore`."""

    def region(self) -> str | None:
        """Return the region the project works in, where it is set."""
        row = self._db.execute("SELECT value FROM project WHERE name = 'region'").fetchone()
        return None if row is None else str(row[0])

    def save_region(self, region: str) -> None:
        """Set the region the project works in."""
        self._put("project", {"name": "region", "value": region}, ["name"])

    def records(self, visit_id: str | None = None) -> tuple[RecordRow, ...]:
        """Return the records of one visit, or all, in the order first saved."""
        if self._memory is not None:
            found = self._recall("records", ("records",), lambda: self._records(None))
            return tuple(r for r in found if visit_id is None or r.visit_id == visit_id)
        return self._records(visit_id)

    def _records(self, visit_id: str | None) -> tuple[RecordRow, ...]:
        """Read records from the database."""
        rows = self._rows(
            "SELECT * FROM records WHERE ?1 IS NULL OR visit_id = ?1 ORDER BY rowid", [visit_id]
        )
        return tuple(_read(RecordRow, row) for row in rows)

    def record(self, record_id: str) -> RecordRow | None:
        """Return one record by its whole id."""
        rows = self._rows("SELECT * FROM records WHERE record_id = ?", [record_id])
        return next((_read(RecordRow, row) for row in rows), None)

    def named_records(self) -> frozenset[str]:
        """Return the ids of the records that a first observer has named."""
        rows = self._rows("SELECT DISTINCT record_id FROM identifications WHERE role = 'first'")
        return frozenset(row["record_id"] for row in rows)

    def save_record(self, row: RecordRow) -> None:
        """Store a record, or its changed words; its observer comes to be when not there."""
        with self.write():
            self._keep("observers", {"observer": row.observer})
            self._put("records", _written(row), ["record_id"])

    def identifications(self, record_id: str | None = None) -> tuple[IdentificationRow, ...]:
        """Return all identifications of one record, or of all, oldest first."""
        if record_id is None:
            tables = ("identifications",)
            return self._recall("identifications", tables, lambda: self._identifications(None))
        return self._identifications(record_id)

    def _identifications(self, record_id: str | None) -> tuple[IdentificationRow, ...]:
        """Read identifications from the database."""
        rows = self._rows(
            "SELECT * FROM identifications WHERE ?1 IS NULL OR record_id = ?1 "
            "ORDER BY identification_no",
            [record_id],
        )
        return tuple(_read(IdentificationRow, row) for row in rows)

    def save_identification(self, row: IdentificationRow) -> None:
        """Add an identification; the same id again changes nothing."""
        with self.write():
            for who in sorted(row.who()):
                self._keep("observers", {"observer": who})
            self._add("identifications", "identification_id", _written(row))

    def review_draws(self) -> tuple[ReviewDrawRow, ...]:
        """Return the draws, oldest first."""
        rows = self._rows("SELECT * FROM review_draws ORDER BY rowid")
        return tuple(_read(ReviewDrawRow, row) for row in rows)

    def review_chances(self) -> tuple[ReviewChanceRow, ...]:
        """Return the chance of every identification that took part in a draw."""
        rows = self._rows("SELECT * FROM review_chances ORDER BY rowid")
        return tuple(_read(ReviewChanceRow, row) for row in rows)

    def save_review_draw(self, draw: ReviewDrawRow, chances: Iterable[ReviewChanceRow]) -> None:
        """Add a draw with the chance of each; the same draw again changes nothing."""
        with self.write():
            self._keep("observers", {"observer": draw.observer})
            self._add("review_draws", "draw_id", _written(draw))
            for chance in chances:
                self._add("review_chances", "identification_id", _written(chance))

    def review_outcomes(self) -> tuple[ReviewOutcomeRow, ...]:
        """Return every outcome, oldest first; the last of a record holds."""
        rows = self._rows("SELECT * FROM review_outcomes ORDER BY outcome_no")
        return tuple(_read(ReviewOutcomeRow, row) for row in rows)

    def save_review_outcome(self, row: ReviewOutcomeRow) -> None:
        """Add an outcome; the same id again changes nothing."""
        with self.write():
            self._keep("observers", {"observer": row.observer})
            self._add("review_outcomes", "outcome_id", _written(row))

    def _add(self, table: str, key: str, row: dict[str, Any]) -> None:
        """Add a row unless one with its key is there; anything else that is wrong is raised."""
        names = ", ".join(f'"{name}"' for name in row)
        marks = ", ".join("?" for _ in row)
        self._db.execute(
            f'INSERT INTO "{table}" ({names}) VALUES ({marks}) ON CONFLICT ({key}) DO NOTHING',
            list(row.values()),
        )


def _written(row: Row) -> dict[str, Any]:
    """Write a row's columns."""
    values = {f.name: getattr(row, f.name) for f in fields(row)}
    for name in _JSON:
        if name in values:
            values[name] = to_json(values[name])
    for name in _TRUTHS:
        if name in values and values[name] is not None:
            values[name] = int(values[name])
    return values


def _from_json(text: str) -> Any:
    """Read a JSON column; lists become tuples."""
    if text == "[]":  # most of them
        return ()
    found = from_json(text)
    return tuple(found) if isinstance(found, list) else found


def _regions(text: str) -> tuple[tuple[Any, ...], ...]:
    """Read parts of photos."""
    return tuple(tuple(box) for box in _from_json(text))


def _truth(value: int | None) -> bool | None:
    """Read a truth; unknown stays unknown."""
    return None if value is None else bool(value)


_READ: dict[str, Callable[[Any], Any]] = {
    **dict.fromkeys(_JSON, _from_json),
    **dict.fromkeys(_TRUTHS, _truth),
    "photo_regions": _regions,
}
"""What reads columns that are not as they are stored."""


def _columns(kind: type[Any]) -> tuple[tuple[str, Callable[[Any], Any] | None], ...]:
    """Columns of a kind of row, each with what reads it."""
    return tuple((f.name, _READ.get(f.name)) for f in fields(kind))


_COLUMNS = {
    kind: _columns(kind)
    for kind in (RecordRow, IdentificationRow, ReviewDrawRow, ReviewChanceRow, ReviewOutcomeRow)
}


def _read(kind: type[Row], row: sqlite3.Row) -> Row:
    """Read a row's columns."""
    values = {name: row[name] if read is None else read(row[name]) for name, read in _COLUMNS[kind]}
    return kind(**values)
