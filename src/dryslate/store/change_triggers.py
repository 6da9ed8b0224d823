"""Triggers that write every change of every table into the change log."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

UNLOGGED = ("change_log", "migrations", "column_notes")
"""The log itself, and what describes the schema rather than the survey."""


def change_triggers(connection: sqlite3.Connection) -> Iterator[str]:
    """
    Make the statements that (re)create the log triggers of every table.

    Parameters
    ----------
    connection : sqlite3.Connection
        A database with its tables. The triggers call the functions ``dryslate_who()`` and
        ``dryslate_now()``, which the store adds to each connection: a program that does
        not say who it is cannot write.

    Yields
    ------
    str
        One statement each.
    """
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
        "ORDER BY name"
    ).fetchall()
    for (table,) in tables:
        if table in UNLOGGED:
            continue
        columns = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
        names = [str(column[1]) for column in columns]
        keys = [str(c[1]) for c in sorted(columns, key=lambda c: int(c[5])) if c[5]]
        for what in ("insert", "update", "delete"):
            yield f"DROP TRIGGER IF EXISTS log_{table}_{what}"
            yield _trigger(table, what, names, keys)


def _trigger(table: str, what: str, names: list[str], keys: list[str]) -> str:
    """Write one trigger that logs the whole row, before and after."""
    side = "OLD" if what == "delete" else "NEW"
    key = ", ".join(f'{side}."{name}"' for name in keys)
    old = "NULL" if what == "insert" else _row("OLD", names)
    new = "NULL" if what == "delete" else _row("NEW", names)
    return (
        f'CREATE TRIGGER log_{table}_{what} AFTER {what.upper()} ON "{table}" BEGIN\n'
        "    INSERT INTO change_log (changed_utc, who, what, table_name, row_key, old, new)\n"
        f"    VALUES (dryslate_now(), dryslate_who(), '{what}', '{table}', "
        f"json_array({key}),\n        {old},\n        {new});\nEND"
    )


def _row(side: str, names: list[str]) -> str:
    """Write the JSON object of a row."""
    return "json_object(" + ", ".join(f"'{name}', {side}.\"{name}\"" for name in names) + ")"
