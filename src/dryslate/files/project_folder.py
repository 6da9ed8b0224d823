"""The folders of a project."""

from __future__ import annotations

from pathlib import Path

from dryslate.base.errors import InputError
from dryslate.files.originals import ORIGINALS
from dryslate.files.safe_copy import raise_write_fault

DATABASE = "dryslate.sqlite"
FOLDERS = (ORIGINALS, "derived", "cards", "lenses", "reports")
_OURS = frozenset((*FOLDERS, "backups", "dryslate.lock"))


class DiskProjectFolders:
    """Implements `dryslate.app.new.ProjectFolders`."""

    def is_project(self, folder: Path) -> bool:
        """Tell whether a project is there."""
        return (folder / DATABASE).is_file()

    def is_free(self, folder: Path) -> bool:
        """Tell whether the folder is absent or empty (a half-made project counts as empty)."""
        if not folder.exists():
            return True
        if not folder.is_dir():
            raise InputError(
                "folder-is-a-file",
                f"{folder}: a file lies where a folder is needed.",
                "Choose another folder.",
            )
        there = [path for path in folder.iterdir() if not path.name.startswith(DATABASE)]
        return all(path.name in _OURS and _is_bare(path) for path in there)

    def lay_out(self, folder: Path) -> None:
        """
        Make the folder and the folders in it.

        Raises
        ------
        StoreError
            ``disk-full``, ``folder-read-only``, ``folder-failed``.
        """
        try:
            for name in FOLDERS:
                (folder / name).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise_write_fault(folder, error)


def _is_bare(path: Path) -> bool:
    """Tell whether a folder is empty, or whether it is the lock."""
    return path.is_file() or not any(path.iterdir())
