"""The page about the database, made from the notes that the database itself carries."""

from __future__ import annotations

import sqlite3

from dryslate.store.connection import add_functions
from dryslate.store.migrate import Stamp, apply_one, load_migrations

_HEAD = """# Database

Made from the database's own notes by `tools/docs_pages.py`. The file is `dryslate.sqlite` in the
project folder (SQLite, foreign keys on). The same notes are in its table `column_notes`.

Read it with any SQLite program. Do not write to it with another program: every change has to go
into `change_log` with the name of who made it, and the database refuses changes that do not.
JSON columns hold text; times ending in `_utc` are ISO 8601 with `Z`; an empty value is unknown,
never zero.
"""


def database_page() -> str:
    """Return the page of tables and columns, in the order they were made."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        add_functions(connection, str, str)
        stamp = Stamp(applied_utc="", program_version="")
        for step in load_migrations():
            apply_one(connection, step, stamp)
        return _HEAD + "".join(_table(connection, name) for name in _tables(connection))
    finally:
        connection.close()


def _tables(connection: sqlite3.Connection) -> list[str]:
    """Return the names of the tables: what the survey holds first, the books last."""
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
        "ORDER BY name IN ('migrations', 'column_notes'), rowid"
    )
    return [str(row[0]) for row in rows]


def _table(connection: sqlite3.Connection, table: str) -> str:
    """Write the section of one table."""
    notes = dict(
        connection.execute(
            "SELECT column_name, note FROM column_notes WHERE table_name = ?", [table]
        ).fetchall()
    )
    refers = {
        str(row[3]): str(row[2])
        for row in connection.execute(f'PRAGMA foreign_key_list("{table}")')
    }
    lines = [f"\n## {table}\n", f"\n{notes.get('', '—')}\n", "\n| column | type | meaning |"]
    lines.append("\n| --- | --- | --- |")
    for _, name, kind, not_null, _, key in connection.execute(f'PRAGMA table_info("{table}")'):
        words = f"{kind.lower()}{', key' if key else '' if not_null else ', may be empty'}"
        to = f" Refers to `{refers[name]}`." if name in refers else ""
        lines.append(f"\n| `{name}` | {words} | {notes.get(name, '—')}{to} |")
    return "".join(lines) + "\n"
