"""Named, recorded steps of the schema, each in one transaction with a backup before it."""

from __future__ import annotations

import hashlib
import os
import re
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

import dryslate.store
from dryslate.base.errors import StoreError
from dryslate.store.change_triggers import change_triggers

APPLICATION_ID = 0x64727973
"""Written into the database's header: the letters ``drys``."""

_BOOKS = """
CREATE TABLE IF NOT EXISTS migrations (
    name TEXT PRIMARY KEY,
    sha256 TEXT NOT NULL,
    applied_utc TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS column_notes (
    table_name TEXT NOT NULL,
    column_name TEXT NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (table_name, column_name)
) STRICT;
"""

_BOOK_NOTES = {
    ("migrations", ""): "Steps of the schema that were applied.",
    ("migrations", "name"): "Name of the step.",
    ("migrations", "sha256"): "SHA-256 of the step's SQL.",
    ("migrations", "applied_utc"): "When it was applied, UTC.",
    ("migrations", "program_version"): "Version of the program that applied it.",
    ("column_notes", ""): "What every table and column means.",
    ("column_notes", "table_name"): "The table.",
    ("column_notes", "column_name"): "The column; empty for the note on the table itself.",
    ("column_notes", "note"): "What it means.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Migration:
    """One step of the schema: its name (``0001_first``) and its SQL."""

    name: str
    sql: str

    @property
    def sha256(self) -> str:
        """Hash of the SQL, recorded when the step is applied."""
        return hashlib.sha256(self.sql.encode("utf-8")).hexdigest()


@cache
def load_migrations() -> tuple[Migration, ...]:
    """Return the steps that come with the program, in order."""
    folder = files(dryslate.store) / "migrations"
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".sql"))
    return tuple(
        Migration(name=name.removesuffix(".sql"), sql=(folder / name).read_text(encoding="utf-8"))
        for name in names
    )


def applied_names(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Return the names of the steps that a database has had; none for an empty one."""
    found = connection.execute(
        "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migrations'"
    ).fetchone()
    if found is None:
        return ()
    rows = connection.execute("SELECT name FROM migrations ORDER BY name").fetchall()
    return tuple(str(row[0]) for row in rows)


def pending(
    connection: sqlite3.Connection, migrations: Sequence[Migration], place: Path
) -> tuple[Migration, ...]:
    """
    Return the steps a database still needs.

    Raises
    ------
    StoreError
        ``project-not-ours`` where the file belongs to another program;
        ``project-newer`` where it has had a step that this program does not know.
    """
    applied = applied_names(connection)
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    (n_tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if (n_tables > 0 or application_id != 0) and application_id != APPLICATION_ID:
        raise StoreError(
            "project-not-ours",
            f"{place}: this database was not made by dryslate.",
            "Give the folder of a project, or make one with `dryslate new`.",
        )
    known = {migration.name for migration in migrations}
    unknown = [name for name in applied if name not in known]
    if unknown:
        last = migrations[-1].name if migrations else "none"
        raise StoreError(
            "project-newer",
            f"{place}: made or updated by a newer version of dryslate "
            f"(it has step {unknown[-1]}, this version knows steps up to {last}).",
            "Install the newer version to open it; nothing was changed.",
        )
    return tuple(m for m in migrations if m.name not in applied)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What is written beside an applied step: when (UTC) and by which version."""

    applied_utc: str
    program_version: str


def apply_migrations(
    connection: sqlite3.Connection,
    steps: Sequence[Migration],
    backups: Path,
    stamp: Stamp,
) -> tuple[Path, ...]:
    """
    Apply the steps in order, each wholly or not at all, after a backup.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode.
    steps : sequence of Migration
    backups : Path
        Folder for the backups; a database that begins empty needs none.
    stamp : Stamp

    Returns
    -------
    tuple of Path
        The backups that were made.

    Raises
    ------
    StoreError
        ``migration-failed``; the database is as it was before the failed step.
    """
    made: list[Path] = []
    is_new = not applied_names(connection)
    for step in steps:  # a database that begins empty has nothing to log before its last step
        if not is_new:
            made.append(_back_up(connection, backups, step.name, stamp.applied_utc))
        try:
            apply_one(connection, step, stamp, is_logged=not is_new or step is steps[-1])
        except sqlite3.Error as error:
            kept = f" A backup lies at {made[-1].name}." if made else ""
            raise StoreError(
                "migration-failed",
                f"Step {step.name} of the project's database failed: {error}. "
                f"The database is as it was before.{kept}",
                "Report this with the text above; go on with the version you had.",
            ) from error
    return tuple(made)


def apply_one(
    connection: sqlite3.Connection, step: Migration, stamp: Stamp, *, is_logged: bool = True
) -> None:
    """Run one step, its notes, its log triggers and its record in one transaction."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        for statement in statements(_BOOKS + step.sql):
            connection.execute(statement)
        notes = _BOOK_NOTES | dict(column_notes(step.sql))
        connection.executemany(
            "INSERT OR REPLACE INTO column_notes VALUES (?, ?, ?)",
            [(table, column, note) for (table, column), note in notes.items()],
        )
        for statement in change_triggers(connection) if is_logged else ():
            connection.execute(statement)
        connection.execute(
            "INSERT INTO migrations VALUES (?, ?, ?, ?)",
            (step.name, step.sha256, stamp.applied_utc, stamp.program_version),
        )
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {int(step.name[:4])}")
        broken = connection.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise sqlite3.IntegrityError(f"{len(broken)} rows refer to rows that are not there")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _back_up(connection: sqlite3.Connection, folder: Path, step: str, when: str) -> Path:
    """Write a whole copy of the database beside it, under its final name only when complete."""
    folder.mkdir(exist_ok=True)
    stamp = re.sub(r"[^0-9TZ]", "", when)
    target = folder / f"before-{step}-{stamp}.sqlite"
    unfinished = folder / (target.name + ".part")
    unfinished.unlink(missing_ok=True)
    connection.execute("VACUUM INTO ?", (str(unfinished),))
    with unfinished.open("rb") as written:
        os.fsync(written.fileno())
    unfinished.replace(target)
    return target


def statements(sql: str) -> Iterator[str]:
    """Split a script into statements (a trigger's body stays in one piece)."""
    text = ""
    for line in sql.splitlines(keepends=True):
        text += line
        is_end = line.partition(" -- ")[0].rstrip().endswith(";")
        if is_end and sqlite3.complete_statement(text):
            yield text
            text = ""
    if text.strip():
        yield text


_TABLE = re.compile(r"^CREATE TABLE (?:IF NOT EXISTS )?\"?(\w+)\"? \($")
_COLUMN = re.compile(r"^    \"?([a-z_0-9]+)\"? (?:TEXT|INTEGER|REAL)\b.*-- (.+)$")
_ADDED = re.compile(r"^ALTER TABLE (\w+) ADD COLUMN \"?(\w+)\"? .*-- (.+)$")


def column_notes(sql: str) -> list[tuple[tuple[str, str], str]]:
    """
    Read the notes on tables and columns from a step's SQL.

    Parameters
    ----------
    sql : str
        A comment line before ``CREATE TABLE`` is the table's note; a comment at the end of a
        column's line is the column's.

    Returns
    -------
    list of ((table, column), note)
        With an empty column for the table itself.
    """
    notes: list[tuple[tuple[str, str], str]] = []
    table, before = "", ""
    for line in sql.splitlines():
        opening, column, added = _TABLE.match(line), _COLUMN.match(line), _ADDED.match(line)
        if opening:
            table = opening.group(1)
            notes.append(((table, ""), before))
        elif column and table:
            notes.append(((table, column.group(1)), column.group(2)))
        elif added:
            notes.append(((added.group(1), added.group(2)), added.group(3)))
        elif line.startswith(")"):
            table = ""
        before = line.removeprefix("-- ") if line.startswith("-- ") else ""
    return notes
