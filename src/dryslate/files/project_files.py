"""Looking at the files of a project, without changing any."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from dryslate.base.errors import DryslateError
from dryslate.files.originals import ORIGINALS
from dryslate.files.photo_preview import photo_size_px
from dryslate.files.reread import reread_sha256


class DiskProjectFiles:
    """
    Implements `dryslate.app.check.ProjectFiles`.

    Parameters
    ----------
    project : Path
    """

    def __init__(self, project: Path) -> None:
        self._project = project

    def originals(self) -> tuple[str, ...]:
        """Return the paths below the project of every file under ``originals/``."""
        return self._below(ORIGINALS)

    def derived(self) -> tuple[str, ...]:
        """Return the paths below the project of every file under ``derived/``."""
        return self._below("derived")

    def exists(self, path: str) -> bool:
        """Tell whether a file below the project is there."""
        return (self._project / path).is_file()

    def sha256_of(self, path: str) -> str:
        """Hash a file below the project, from the drive where the system allows it."""
        return reread_sha256(self._project / path)[0]

    def is_writable(self, path: str) -> bool:
        """Tell whether a file has lost its write protection."""
        return bool(stat.S_IMODE((self._project / path).stat().st_mode) & 0o222)

    def size_px(self, path: str) -> tuple[int, int] | None:
        """Return width and height as stored of a photo below the project; None: not to be read."""
        try:
            return photo_size_px(self._project / path)
        except DryslateError:
            return None

    def _below(self, name: str) -> tuple[str, ...]:
        """List every file below a folder of the project."""
        found = []
        for folder, _, names in os.walk(self._project / name):
            found += [(Path(folder) / file).relative_to(self._project).as_posix() for file in names]
        return tuple(sorted(found))
