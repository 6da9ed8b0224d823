"""Backups in SQLite: what was made, and a sound copy of the database."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import asdict, fields
from pathlib import Path

from dryslate.app.backup_records import Backup
from dryslate.base.errors import StoreError
from dryslate.store.rows import StoreRoom

_SELECT = f"SELECT {', '.join(f.name for f in fields(Backup))} FROM backups"


class SqliteBackupRoom(StoreRoom):
    """Implements `dryslate.app.backup_records.BackupStore`."""

    def backups(self) -> tuple[Backup, ...]:
        """Return every backup, oldest first."""
        rows = self._rows(f"{_SELECT} ORDER BY backup_no")
        return tuple(Backup(**{**row, "is_proved": bool(row["is_proved"])}) for row in rows)

    def save_backup(self, backup: Backup) -> None:
        """Write down a backup."""
        row = {**asdict(backup), "is_proved": int(backup.is_proved)}
        with self.write():
            self._keep("observers", {"observer": backup.observer})
            self._keep("backups", row)

    def last_change_no(self) -> int:
        """Return the number of the newest line of the change log."""
        return _last_change_no(self._db)

    def n_changes_after(self, change_no: int) -> int:
        """Count later lines of the change log, but for those that note backups."""
        (row,) = self._rows(
            "SELECT count(*) AS n FROM change_log WHERE change_no > ? AND table_name <> 'backups'",
            [change_no],
        )
        return int(row["n"])

    def copy_to(self, path: Path) -> int:
        """
        Write a whole copy of the database to a path that is free, and prove it sound.

        Returns
        -------
        int
            The number of the newest line of the change log in the copy.

        Raises
        ------
        StoreError
            ``disk-full``, ``folder-read-only``, ``backup-not-sound``.
        """
        try:
            self._db.execute("VACUUM INTO ?", [str(path)])
            with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as copy:
                (told,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
                last_change_no = _last_change_no(copy)
        except sqlite3.Error as error:
            raise _sentence(error, path) from error
        if told != "ok":
            raise StoreError(
                "backup-not-sound",
                f"{path}: the copy of the database is not sound ({told}).",
                "Run `dryslate check` on the project, and try another drive.",
            )
        return last_change_no


def _last_change_no(connection: sqlite3.Connection) -> int:
    """Return the number of the newest line of a database's change log, 0 for none."""
    row = connection.execute("SELECT coalesce(max(change_no), 0) FROM change_log").fetchone()
    return int(row[0])


def _sentence(error: sqlite3.Error, path: Path) -> StoreError:
    """Return what SQLite said in the words of what happened."""
    if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
        return StoreError(
            "disk-full",
            f"{path}: the disk is full; no backup was made.",
            "Make room or choose another folder, then do it again.",
        )
    if getattr(error, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PERM,
    ):
        return StoreError(
            "folder-read-only",
            f"{path.parent}: no file may be written there.",
            "Choose another folder, or change its permissions.",
        )
    return StoreError(
        "backup-not-sound",
        f"{path}: the database could not be copied ({error}).",
        "Run `dryslate check` on the project, and try another drive.",
    )
