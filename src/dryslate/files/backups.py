"""Folders of backups on real disks."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator
from glob import escape
from pathlib import Path

from dryslate.app.intake import How
from dryslate.files.reread import reread_sha256
from dryslate.files.safe_copy import UNFINISHED, raise_write_fault
from dryslate.files.safe_write import save_whole, sync_folder

OWN_FOLDERS = ("cards", "lenses", "taxa")
"""Folders of a project whose files a team made itself and cannot make again by a command."""
_CHUNK = 1 << 20


class DiskBackupFiles:
    """Implements `dryslate.app.backup.BackupFiles`."""

    def own_files(self, project: Path) -> tuple[str, ...]:
        """Return the team's own files, as paths below the project; links are not followed."""
        found = [
            path.relative_to(project).as_posix()
            for name in OWN_FOLDERS
            for path in (project / name).rglob("*")
            if path.is_file() and not path.is_symlink()
        ]
        return tuple(sorted(found))

    def size_of(self, path: Path) -> int:
        """Return how many bytes a file has."""
        return path.stat().st_size

    def begin(self, folder: Path, prefix: str) -> Path:
        """
        Return an empty folder beside the final one; what killed runs left of it is removed.

        Raises
        ------
        StoreError
            ``disk-full``, ``folder-read-only``, ``folder-failed``.
        """
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            for left in folder.parent.glob(f"{UNFINISHED}{escape(prefix)}*"):
                shutil.rmtree(left)
            work = folder.parent / f"{UNFINISHED}{folder.name}"
            work.mkdir()
        except OSError as error:
            raise_write_fault(folder.parent, error)
        return work

    def drop(self, work: Path) -> None:
        """Remove what was begun, as far as the disk lets it."""
        shutil.rmtree(work, ignore_errors=True)

    def read_mark(self, path: Path) -> str | None:
        """Return the text of a small file; None where it is not there or cannot be read."""
        try:
            return path.read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    def write_mark(self, path: Path, text: str) -> None:
        """Write a small file, whole and flushed."""
        save_whole(path, [text.encode("utf-8")])

    def remove_mark(self, path: Path) -> None:
        """Remove a small file."""
        path.unlink(missing_ok=True)

    def copy(self, source: Path, target: Path) -> str:
        """Copy a file whole and flushed; returns the hash of what was read."""
        digest = hashlib.sha256()

        def parts() -> Iterator[bytes]:
            with source.open("rb") as file:
                while part := file.read(_CHUNK):
                    digest.update(part)
                    yield part

        save_whole(target, parts())
        return digest.hexdigest()

    def read_back(self, path: Path) -> tuple[str, How]:
        """Flush a file, and hash it as it lies on its drive."""
        with path.open("rb+") as file:
            os.fsync(file.fileno())
        return reread_sha256(path)

    def finish(self, work: Path, folder: Path) -> None:
        """
        Give the folder its name.

        Raises
        ------
        StoreError
            ``disk-full``, ``folder-read-only``, ``folder-failed``.
        """
        try:
            sync_folder(work)
            work.rename(folder)
            sync_folder(folder.parent)
        except OSError as error:
            raise_write_fault(folder, error)
