"""Designs of units, categories and what was noted in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import fields
from functools import lru_cache
from operator import attrgetter

from dryslate.app.survey_records import (
    ROW_ORDERS,
    Category,
    CategoryMapping,
    FoundRow,
    NotedRow,
    RowQuery,
    SentBatch,
    StatedDesign,
)
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.store.rows import StoreRoom, from_json, maker_of, to_json

_DESIGN = tuple(f.name for f in fields(UnitDesign))
_ROW = tuple(f.name for f in fields(SurveyRow) if f.name != "name")
_STORED = ("unit_id", "name_as_recorded", "name", "current_names", "rank", *_ROW)
_COLUMNS = (*_STORED, "observer", "noted_at")
_SAID = attrgetter(*_ROW)
_AROUND = ("row_no", "unit_id", "name", "current_names", "rank", "observer", "noted_at")
READ_ROWS = ", ".join(f"r.{name}" for name in (*_AROUND, "name_as_recorded", *_ROW))
"""What `noted_of` reads, of a table called r."""
_survey_row = maker_of(SurveyRow, ("name", *_ROW))
_noted_row = maker_of(NotedRow, ("row", *_AROUND))


class SqliteSurveyRowRoom(StoreRoom):
    """Implements `dryslate.app.survey_records.SurveyRowStore`."""

    def categories(self, list_version: int | None = None) -> tuple[Category, ...]:
        """Return the categories of one version, or of all, in the order of the list."""
        rows = self._rows(
            "SELECT * FROM categories WHERE ?1 IS NULL OR list_version = ?1 "
            "ORDER BY list_version, rowid",
            [list_version],
        )
        return tuple(
            Category(
                list_version=row["list_version"],
                category=row["category"],
                group=row["category_group"],
                is_hard_coral=bool(row["is_hard_coral"]),
                definition=row["definition"],
            )
            for row in rows
        )

    def save_categories(self, categories: Sequence[Category]) -> None:
        """Store categories; one that is there stays as it is."""
        with self.write():
            for one in categories:
                row = {
                    "list_version": one.list_version,
                    "category": one.category,
                    "category_group": one.group,
                    "is_hard_coral": int(one.is_hard_coral),
                    "definition": one.definition,
                }
                self._keep("categories", row)

    def category_mappings(self) -> tuple[CategoryMapping, ...]:
        """Return every mapping."""
        rows = self._rows("SELECT * FROM category_mappings ORDER BY rowid")
        return tuple(CategoryMapping(**dict(row)) for row in rows)

    def save_category_mappings(self, mappings: Sequence[CategoryMapping]) -> None:
        """Store mappings; an older one of the same category is replaced."""
        keys = ["from_version", "category", "to_version"]
        with self.write():
            for one in mappings:
                row = {f.name: getattr(one, f.name) for f in fields(CategoryMapping)}
                self._put("category_mappings", row, keys)

    def unit_designs(self, visit_id: str | None = None) -> tuple[StatedDesign, ...]:
        """Return how the units of one visit, or all, were sampled."""
        rows = self._rows(
            "SELECT d.* FROM unit_designs AS d JOIN units AS u USING (unit_id) "
            "WHERE ?1 IS NULL OR u.visit_id = ?1 ORDER BY u.rowid",
            [visit_id],
        )
        return tuple(_stated_of(row) for row in rows)

    def save_unit_design(self, stated: StatedDesign) -> None:
        """Store how a unit was sampled, or its changed words."""
        design = stated.design
        row = {name: getattr(design, name) for name in _DESIGN}
        row |= {
            "unit_id": stated.unit_id,
            "is_permanent": int(design.is_permanent),
            "searched": to_json(list(design.searched)),
            "list_version": stated.list_version,
            "observer": stated.observer,
            "stated_at": stated.stated_at,
        }
        with self.write():
            self._keep("observers", {"observer": stated.observer})
            self._put("unit_designs", row, ["unit_id"])

    def survey_rows(self, unit_id: str | None = None) -> tuple[NotedRow, ...]:
        """Return what was noted in one unit, or in all, in the order it was stored."""
        rows = self._rows(
            f"SELECT {READ_ROWS} FROM survey_rows AS r "
            "WHERE ?1 IS NULL OR unit_id = ?1 ORDER BY row_no",
            [unit_id],
        )
        return tuple(noted_of(row) for row in rows)

    def save_survey_rows(self, rows: Iterable[NotedRow]) -> int:
        """Store rows, all or none: new ones where `row_no` is None; returns how many."""
        n = 0
        marks = ", ".join("?" for _ in _COLUMNS)
        insert = f"INSERT INTO survey_rows ({', '.join(_COLUMNS)}) VALUES ({marks})"
        seen: set[str] = set()
        with self.write():
            for noted in rows:
                if noted.observer not in seen:
                    self._keep("observers", {"observer": noted.observer})
                    seen.add(noted.observer)
                values = _values_of(noted)
                if noted.row_no is None:
                    self._db.execute(insert, values)
                else:
                    changed = dict(zip(_COLUMNS, values, strict=True))
                    self._put("survey_rows", changed | {"row_no": noted.row_no}, ["row_no"])
                n += 1
        return n

    def delete_survey_rows(self, unit_id: str) -> int:
        """Take out what was noted in a unit (the change log keeps it); returns how many."""
        with self.write():
            done = self._db.execute("DELETE FROM survey_rows WHERE unit_id = ?", [unit_id])
        return done.rowcount

    def delete_survey_row(self, row_no: int) -> bool:
        """Take out one row (the change log keeps it); False where there is none."""
        with self.write():
            done = self._db.execute("DELETE FROM survey_rows WHERE row_no = ?", [row_no])
        return done.rowcount > 0

    def find_survey_rows(self, query: RowQuery) -> tuple[tuple[FoundRow, ...], int]:
        """Return the rows that are wanted, and how many there are without `most`."""
        where, values = _where(query)
        count = f"SELECT count(*) {_FROM} WHERE {where}"
        ((n_all,),) = self._rows(count, values)
        order = query.order if query.order in ROW_ORDERS else "row_no"
        column = {"visit_id": "u.visit_id", "unit": "u.name"}.get(order, f"r.{order}")
        way = "DESC" if query.is_backwards else "ASC"
        rows = self._rows(
            f"SELECT {READ_ROWS}, u.visit_id, "
            "coalesce(u.name, '') AS unit, coalesce(u.zone, '') AS zone, d.design "
            f"{_FROM} WHERE {where} "
            f"ORDER BY {column} IS NULL OR {column} = '', {column} {way}, r.row_no {way} "
            f"LIMIT ? OFFSET ?",
            [*values, query.most, query.first],
        )
        return tuple(_found_of(row) for row in rows), n_all

    def sent_batches(self) -> tuple[SentBatch, ...]:
        """Return every batch that browsers sent, in the order it was stored."""
        return tuple(_batch_of(r) for r in self._rows("SELECT * FROM sent_batches ORDER BY rowid"))

    def sent_batch(self, batch_id: str) -> SentBatch | None:
        """Return a batch that was stored, None where it was not."""
        rows = self._rows("SELECT * FROM sent_batches WHERE batch_id = ?", [batch_id])
        return next((_batch_of(row) for row in rows), None)

    def save_sent_batch(self, batch: SentBatch) -> None:
        """Write down a batch; one that is there stays as it is."""
        row = {
            "batch_id": batch.batch_id,
            "unit_id": batch.unit_id,
            "row_nos": to_json(dict(batch.row_nos)),
            "observer": batch.observer,
            "stored_at": batch.stored_at,
        }
        with self.write():
            self._keep("observers", {"observer": batch.observer})
            self._keep("sent_batches", row)

    def last_row_no(self) -> int:
        """Return the highest number that a row was ever given; 0 before the first."""
        rows = self._rows("SELECT seq FROM sqlite_sequence WHERE name = 'survey_rows'")
        return next((int(row["seq"]) for row in rows), 0)


_FROM = (
    "FROM survey_rows AS r JOIN unit_designs AS d USING (unit_id) JOIN units AS u USING (unit_id)"
)
_LOOKED_IN = (
    "r.name_as_recorded || char(10) || r.name || char(10) || r.category || char(10) || "
    "coalesce(u.name, '') || char(10) || r.note || char(10) || r.lesion || char(10) || "
    "r.unreadable || char(10) || r.place"
)


def _where(query: RowQuery) -> tuple[str, list[object]]:
    """Write what rows must be, with the values of its marks."""
    asked = {
        "u.visit_id": query.visit_id,
        "r.unit_id": query.unit_id,
        "d.design": query.design,
        "r.kind": query.kind,
        "r.category": query.category,
        "r.observer": query.observer,
    }
    parts = [f"{column} = ?" for column, value in asked.items() if value]
    values: list[object] = [value for value in asked.values() if value]
    for word in query.words.split():
        parts.append(f"instr(lower({_LOOKED_IN}), ?) > 0")
        values.append(word.lower())
    return " AND ".join(parts) or "1", values


def _found_of(row: sqlite3.Row) -> FoundRow:
    """Read a row with what it belongs to."""
    return FoundRow(
        noted=noted_of(row),
        visit_id=row["visit_id"],
        unit=row["unit"],
        zone=row["zone"],
        design=row["design"],
    )


def _batch_of(row: sqlite3.Row) -> SentBatch:
    """Read a batch."""
    values = dict(row)
    return SentBatch(**{**values, "row_nos": from_json(values["row_nos"])})


def _stated_of(row: sqlite3.Row) -> StatedDesign:
    """Read how a unit was sampled."""
    values = {name: row[name] for name in _DESIGN}
    values["is_permanent"] = bool(values["is_permanent"])
    values["searched"] = tuple(from_json(values["searched"]))
    return StatedDesign(
        unit_id=row["unit_id"],
        design=UnitDesign(**values),
        list_version=row["list_version"],
        observer=row["observer"],
        stated_at=row["stated_at"],
    )


def noted_of(row: sqlite3.Row) -> NotedRow:
    """Read one thing noted, of a row that begins with `READ_ROWS`."""
    row_no, unit_id, name, genera, rank, observer, noted_at, *said = row
    around = (row_no, unit_id, name, _genera_of(genera), rank, observer, noted_at)
    return _noted_row((_survey_row(said), *around))


@lru_cache(maxsize=4096)
def _genera_of(text: str) -> tuple[str, ...]:
    """Read the genera that a name can stand for: the same few again and again."""
    return tuple(from_json(text))


def _values_of(noted: NotedRow) -> list[object]:
    """Return the values of a row in the order of its columns."""
    stored = [noted.unit_id, noted.row.name, noted.name, to_json(list(noted.current_names))]
    return [*stored, noted.rank, *_SAID(noted.row), noted.observer, noted.noted_at]
