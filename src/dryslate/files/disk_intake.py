"""Taking in from real disks: the world of files behind `dryslate.app.intake.IntakeFiles`."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from dryslate.app.intake import Drive, SourceListing
from dryslate.base.errors import InputError
from dryslate.files.card_source import list_sources, require_sources
from dryslate.files.drives import DriveFinder
from dryslate.files.originals import ORIGINALS
from dryslate.files.safe_copy import UNFINISHED, SafeCopier, raise_write_fault


class DiskIntake(SafeCopier):
    """Implements `dryslate.app.intake.IntakeFiles` on the disks of this computer."""

    def __init__(self, drives: DriveFinder | None = None) -> None:
        self._drives = drives or DriveFinder()

    def require_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> None:
        """Refuse sources that are not there, or that hold a folder to write to."""
        require_sources(sources, keep_out)

    def list_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> SourceListing:
        """List every file below the sources, following no link."""
        return list_sources(sources, keep_out)

    def prepare(self, folder: Path) -> None:
        """
        Make the folder for originals and remove what a killed run left half-written.

        Raises
        ------
        InputError
            ``folder-is-a-file``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``folder-failed``.
        """
        if folder.exists() and not folder.is_dir():
            raise InputError(
                "folder-is-a-file",
                f"{folder}: a file lies where a folder is needed.",
                "Choose another folder.",
            )
        try:
            (folder / ORIGINALS).mkdir(parents=True, exist_ok=True)
            for unfinished in (folder / ORIGINALS).glob(f"{UNFINISHED}*"):
                unfinished.unlink()
        except OSError as error:
            raise_write_fault(folder, error)

    def free_bytes(self, folder: Path) -> int:
        """Return the room left where a folder lies."""
        return shutil.disk_usage(_existing(folder)).free

    def volume_of(self, folder: Path) -> int:
        """Return a number that is the same for folders that share their room."""
        return _existing(folder).stat().st_dev

    def drive_of(self, folder: Path) -> Drive:
        """Return the hardware below a folder."""
        return self._drives.drive_of(_existing(folder))


def _existing(folder: Path) -> Path:
    """Return the folder, or the nearest one above it that is there."""
    here = folder.absolute()
    while not here.exists() and here != here.parent:
        here = here.parent
    return here
