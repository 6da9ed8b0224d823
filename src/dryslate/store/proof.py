"""Proving that the tables are what the change log says they are."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from itertools import groupby
from typing import Any

from dryslate.app.project_records import LogFault
from dryslate.store.change_triggers import UNLOGGED
from dryslate.store.migrate import Stamp, applied_names, apply_one, load_migrations
from dryslate.store.rows import StoreRoom


class SqliteProofRoom(StoreRoom):
    """Implements `dryslate.app.store_ports.ProofStore`."""

    def log_faults(self) -> tuple[LogFault, ...]:
        """
        Return where tables and change log do not agree.

        Every row of every table is held against the last line of the log about it; columns that
        came later than that line are not looked at. Lines of the log are counted without a gap:
        what is undone leaves none.
        """
        return tuple(
            (*self._gaps(), *self._guards(), *self._links(), *self._rows_against_the_log())
        )

    def _gaps(self) -> Iterator[LogFault]:
        """Lines of the log that are missing."""
        rows = self._rows(
            "SELECT change_no - 1 AS last, before + 1 AS first FROM (SELECT change_no, "
            "lag(change_no, 1, 0) OVER (ORDER BY change_no) AS before FROM change_log) "
            "WHERE change_no <> before + 1"
        )
        for row in rows:
            key = json.dumps([row["first"], row["last"]])
            yield LogFault(kind="gap", table_name="change_log", row_key=key)

    def _guards(self) -> Iterator[LogFault]:
        """Triggers that a fresh database of the same steps has, and this one not or otherwise."""
        mine = _triggers(self._db)
        for name, (table, sql) in _triggers_of(applied_names(self._db)).items():
            if mine.get(name, ("", ""))[1] != sql:
                yield LogFault(kind="guard", table_name=table, row_key=json.dumps([name]))

    def _links(self) -> Iterator[LogFault]:
        """Rows that refer to one that is not there."""
        for row in self._db.execute("PRAGMA foreign_key_check").fetchall():
            _, keys = self._columns(row[0])
            wanted = ", ".join(f'"{k}"' for k in keys)
            found = self._db.execute(
                f'SELECT json_array({wanted}) FROM "{row[0]}" WHERE rowid = ?', [row[1]]
            ).fetchone()
            yield LogFault(kind="link", table_name=row[0], row_key=found[0] if found else "")

    def _rows_against_the_log(self) -> Iterator[LogFault]:
        """Rows that the log does not know, or otherwise; and those it knows and that are gone."""
        tables = self._db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
            "ORDER BY name"
        ).fetchall()
        logged = self._last_lines()
        upcoming = next(logged, None)
        for (table,) in tables:
            while upcoming is not None and upcoming[0] < table:
                upcoming = next(logged, None)  # of a table that is not there any more
            lines: dict[str, int] = {}
            if upcoming is not None and upcoming[0] == table:
                lines, upcoming = upcoming[1], next(logged, None)
            if table not in UNLOGGED:
                yield from self._table_against(table, lines)

    def _table_against(self, table: str, lines: dict[str, int]) -> Iterator[LogFault]:
        """Hold the rows of a table against the last line of the log about each."""
        for key, text in self._standing_rows(table):
            line = lines.pop(key, None)
            said = None if line is None else self._said(line)
            if said is None:
                yield LogFault(kind="not_logged", table_name=table, row_key=key)
            elif said != text and _differ(json.loads(text), json.loads(said)):
                yield LogFault(kind="differs", table_name=table, row_key=key)
        for key, line in lines.items():
            if self._said(line) is not None:
                yield LogFault(kind="gone", table_name=table, row_key=key)

    def _last_lines(self) -> Iterator[tuple[str, dict[str, int]]]:
        """The number of the last line about each row, table by table: one table is held at once."""
        rows = self._rows(
            "SELECT table_name, row_key, max(change_no) AS line FROM change_log "
            "GROUP BY table_name, row_key ORDER BY table_name, row_key"
        )
        for table, same in groupby(rows, key=lambda row: str(row["table_name"])):
            yield table, {row["row_key"]: row["line"] for row in same}

    def _said(self, line: int) -> str | None:
        """What a line of the log says that a row holds, JSON; None where it took the row out."""
        found = self._db.execute("SELECT new FROM change_log WHERE change_no = ?", [line])
        return str(new) if (new := found.fetchone()[0]) is not None else None

    def _standing_rows(self, table: str) -> Iterator[tuple[str, str]]:
        """Key and words of each row of a table, JSON as the log would write them."""
        names, keys = self._columns(table)
        key = ", ".join(f'"{name}"' for name in keys)
        row = ", ".join(f"'{name}', \"{name}\"" for name in names)
        for found in self._rows(f'SELECT json_array({key}), json_object({row}) FROM "{table}"'):
            yield found[0], found[1]

    def _columns(self, table: str) -> tuple[list[str], list[str]]:
        """All columns of a table, and those of its primary key in order."""
        columns = self._db.execute(f'PRAGMA table_info("{table}")').fetchall()
        keys = [str(c[1]) for c in sorted(columns, key=lambda c: int(c[5])) if c[5]]
        return [str(c[1]) for c in columns], keys


def _differ(row: dict[str, Any], said: dict[str, Any]) -> bool:
    """Tell whether a row holds something else than was said; columns of later steps are its own."""
    return any(name in row and row[name] != value for name, value in said.items())


def _triggers(connection: sqlite3.Connection) -> dict[str, tuple[str, str]]:
    """Triggers of a database by name, with their table and text."""
    rows = connection.execute("SELECT * FROM sqlite_master WHERE type = 'trigger'")
    return {str(r[1]): (str(r[2]), str(r[4])) for r in rows}


def _triggers_of(steps: tuple[str, ...]) -> dict[str, tuple[str, str]]:
    """Triggers of a fresh database that had the same steps."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        for step in load_migrations():
            if step.name in steps:
                apply_one(fresh, step, Stamp(applied_utc="", program_version=""))
        return _triggers(fresh)
