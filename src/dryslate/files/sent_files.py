"""What browsers send, inside the project until it is taken in: whole files, or none."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import time
from collections.abc import Mapping
from pathlib import Path

from dryslate.files.safe_copy import raise_write_fault

INCOMING = "incoming"
_PARTS, _WHOLE = "parts", "card"
_STALE_S = 24 * 3600.0


class FolderSentBox:
    """
    Implements `dryslate.app.sending.SentBox` below ``incoming/`` of a project.

    Parameters
    ----------
    project : Path
    """

    def __init__(self, project: Path) -> None:
        self._project = project
        self._root = project / INCOMING

    def have(self, batch: str) -> Mapping[str, tuple[int, int]]:
        """Return size and time of every whole file of a batch, by its path."""
        found: dict[str, tuple[int, int]] = {}
        whole = self.folder(batch)
        for folder, _, names in os.walk(whole, followlinks=False):
            for name in names:
                path = Path(folder) / name
                status = path.lstat()
                found[path.relative_to(whole).as_posix()] = (status.st_size, status.st_mtime_ns)
        return found

    def free_bytes(self) -> int:
        """Return the room left."""
        return shutil.disk_usage(self._project).free

    def part(self, batch: str) -> FolderPart:
        """Begin a file; what earlier tries left half-written a day ago is removed."""
        parts = self._batch(batch) / _PARTS
        try:
            parts.mkdir(parents=True, exist_ok=True)
            self.folder(batch).mkdir(exist_ok=True)
            for old in parts.iterdir():
                if time.time() - old.stat().st_mtime > _STALE_S:
                    old.unlink(missing_ok=True)
            return FolderPart(parts / secrets.token_hex(8), self.folder(batch))
        except OSError as error:
            raise_write_fault(self._root, error)

    def folder(self, batch: str) -> Path:
        """Return the folder that holds a batch's whole files."""
        return self._batch(batch) / _WHOLE

    def remove(self, batch: str) -> None:
        """Throw a batch away once it was taken in."""
        shutil.rmtree(self._batch(batch), ignore_errors=True)
        with contextlib.suppress(OSError):
            self._root.rmdir()

    def _batch(self, batch: str) -> Path:
        """Return the folder of a batch."""
        if not re.fullmatch(r"[0-9a-f]{16}", batch):
            raise ValueError("a batch is named by 16 hexadecimal digits")
        return self._root / batch


class FolderPart:
    """Implements `dryslate.app.sending.Part`: written beside, flushed, then given its name."""

    def __init__(self, path: Path, whole: Path) -> None:
        self._path = path
        self._whole = whole
        self._file = path.open("xb")

    def write(self, data: bytes) -> None:
        """Write on."""
        try:
            self._file.write(data)
        except OSError as error:
            raise_write_fault(self._whole, error)

    def keep(self, path: str, modified_ns: int) -> None:
        """Flush it and give it its name, in one step."""
        target = self._whole / path
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
            os.utime(self._path, ns=(modified_ns, modified_ns))
            target.parent.mkdir(parents=True, exist_ok=True)
            self._path.replace(target)
        except OSError as error:
            raise_write_fault(self._whole, error)

    def drop(self) -> None:
        """Throw away what was written, unless it was kept."""
        self._file.close()
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)
