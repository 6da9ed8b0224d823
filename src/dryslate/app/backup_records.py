"""Backups as they are written down, and what they need of the store."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """
    One backup of a project's records.

    Parameters
    ----------
    folder : str
        Whole path of the backup's own folder.
    drive : str
        Disks below it, in words.
    is_proved : bool
        Whether every file was read back from the drive itself, and that drive is another
        than the project's.
    n_files, size_bytes : int
        The database and the team's own files; no photos.
    database_sha256 : str
    last_change_no : int
        The newest line of the change log that is in it.
    observer : str
    made_utc : str
    """

    folder: str
    drive: str
    is_proved: bool
    n_files: int
    size_bytes: int
    database_sha256: str
    last_change_no: int
    observer: str
    made_utc: str


class BackupStore(Protocol):
    """What backups need of the survey store."""

    def backups(self) -> tuple[Backup, ...]:
        """Return every backup, oldest first."""

    def save_backup(self, backup: Backup) -> None:
        """Write down a backup."""

    def last_change_no(self) -> int:
        """Return the number of the newest line of the change log."""

    def n_changes_after(self, change_no: int) -> int:
        """Count later lines of the change log, but for those that note backups."""

    def copy_to(self, path: Path) -> int:
        """
        Write a whole copy of the database to a path that is free, and prove it sound.

        Returns the number of the newest line of the change log in the copy. Raises
        `StoreError` ``disk-full``, ``folder-read-only``, ``backup-not-sound``.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupState:
    """The last backup, None where there is none, and how many changes came after it."""

    last: Backup | None
    n_changes: int


def backup_state(store: BackupStore) -> BackupState:
    """Say when the records were last backed up, and what has changed since."""
    there = store.backups()
    last = there[-1] if there else None
    return BackupState(
        last=last, n_changes=store.n_changes_after(last.last_change_no if last else 0)
    )
