"""Opening the database file the way a survey needs it."""

from __future__ import annotations

import contextlib
import getpass
import os
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from dryslate.base.errors import StoreError
from dryslate.base.problems import Problem
from dryslate.formats.mountinfo import mount_of, parse_mountinfo

DATABASE_NAME = "dryslate.sqlite"
_MOUNTS = Path("/proc/self/mountinfo")


def now_utc() -> str:
    """Return the time now, ISO 8601 to the second with ``Z``."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def account() -> str:
    """Return the name of the account on this computer, for the change log."""
    try:
        return f"account {getpass.getuser()}"
    except (KeyError, OSError):
        return "account unknown"


def is_on_network(folder: Path) -> bool:
    """Tell whether a folder lies on another machine; where that cannot be told, False."""
    try:
        text = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return str(folder).startswith("\\\\")
    mount = mount_of(str(folder.resolve()), parse_mountinfo(text))
    return mount is not None and mount.is_network


def connect(path: Path, *, write: bool) -> sqlite3.Connection:
    """
    Open a database file in autocommit mode, rows by name.

    Raises
    ------
    StoreError
        ``project-database-broken`` where it cannot be opened or is no database.
    """
    address = path.resolve().as_uri()
    mode = "?mode=rwc" if write else "?mode=ro"
    if not write and is_unchanging(path):
        mode += "&immutable=1"
    with _told(path):
        connection = sqlite3.connect(
            address + mode,
            uri=True,
            isolation_level=None,
            timeout=10.0,
            check_same_thread=write,  # a server's readers hand theirs on, one at a time
        )
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        connection.execute("PRAGMA synchronous = FULL")
        if not write:
            connection.execute("PRAGMA query_only = ON")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return connection


def set_journal(connection: sqlite3.Connection, path: Path, *, network: bool) -> None:
    """
    Choose how changes are made safe: a write-ahead log, or a plain journal on a network folder.

    Raises
    ------
    StoreError
        ``project-database-broken`` where another program keeps the database open.
    """
    with _told(path):
        wanted = "delete" if network else "wal"
        (mode,) = connection.execute(f"PRAGMA journal_mode = {wanted}").fetchone()
        if network and mode == "wal":
            raise sqlite3.OperationalError("the write-ahead log could not be ended")
        connection.execute("PRAGMA synchronous = FULL")


def network_problem(project: Path) -> Problem:
    """Say that a project on a network folder is kept with a plain journal."""
    return Problem(
        slug="project-on-network",
        severity="note",
        place=str(project),
        message="the project lies on a network folder, so its database is kept without a "
        "write-ahead log: slower, and nobody can read while somebody writes",
        fix="Work on a local drive and copy the project to the network afterwards.",
    )


def add_functions(
    connection: sqlite3.Connection, who: Callable[[], str], now: Callable[[], str]
) -> None:
    """Give the connection what its log triggers ask for: who is writing, and the time."""
    connection.create_function("dryslate_who", 0, who)
    connection.create_function("dryslate_now", 0, now)


def is_unchanging(path: Path) -> bool:
    """Tell whether nobody can write there, and all is in the file, for want of a journal."""
    return not os.access(path.parent, os.W_OK) and not _has_journal(path)


def _has_journal(path: Path) -> bool:
    """Tell whether a write-ahead log with something in it lies beside the database."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what SQLite says into an error that names the file."""
    try:
        yield
    except sqlite3.Error as error:
        raise database_error(path, error) from error


def database_error(path: Path, error: sqlite3.Error) -> StoreError:
    """Make the error for something that SQLite refuses."""
    code = getattr(error, "sqlite_errorname", "") or ""
    if code.startswith("SQLITE_FULL"):
        return StoreError(
            "disk-full",
            f"{path.parent}: the disk is full; what was saved before is kept.",
            "Make room and run the same command again: it goes on where it stopped.",
        )
    if code.startswith(("SQLITE_READONLY", "SQLITE_PERM")):
        return StoreError(
            "project-read-only",
            f"{path.parent}: the project cannot be written.",
            "Give yourself the right to write there, or copy the project to another folder.",
        )
    return StoreError(
        "project-database-broken",
        f"{path}: the project's database cannot be used: {error}.",
        "Run `dryslate check`; if it stays so, go back to a copy or to a file in backups/.",
    )
