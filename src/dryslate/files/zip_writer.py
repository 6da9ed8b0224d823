"""Zip files that are the same bytes for the same content, written as a stream."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from dryslate.files.safe_write import unfinished

_CHUNK = 1 << 20
_LEVEL = 6
_STORED = (".jpg", ".jpeg", ".png", ".heic", ".dng")
"""Files that are packed already."""


class ZipMaker:
    """
    Takes tables of text at the same time, and writes them one after another into a zip.

    Parameters
    ----------
    zipped : zipfile.ZipFile
    folder : Path
        Where the tables are kept meanwhile.
    """

    def __init__(self, zipped: zipfile.ZipFile, folder: Path) -> None:
        self._zip = zipped
        self._folder = folder
        self._waiting: dict[str, IO[bytes]] = {}
        self._texts: dict[str, _Lines] = {}

    def table(self, name: str) -> _Lines:
        """Return what takes the text of a table."""
        if name not in self._texts:
            self._waiting[name] = tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115
            self._texts[name] = _Lines(self._waiting[name])
        return self._texts[name]

    def add_text(self, name: str, text: str) -> None:
        """Write a whole file."""
        with self._zip.open(_entry(name), "w", force_zip64=True) as out:
            out.write(text.encode("utf-8"))

    def add_file(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file that comes in pieces."""
        with self._zip.open(_entry(name), "w", force_zip64=True) as out:
            for part in parts:
                out.write(part)

    def add_tables(self, names: Iterable[str]) -> None:
        """Write tables that were waiting."""
        for name in names:
            self._texts[name].flush()
            waiting = self._waiting[name]
            waiting.seek(0)
            with self._zip.open(_entry(name), "w", force_zip64=True) as out:
                shutil.copyfileobj(waiting, out, _CHUNK)
            waiting.close()

    def close(self) -> None:
        """Let go of what was not written."""
        for waiting in self._waiting.values():
            waiting.close()


class _Lines:
    """Gathers small texts into large pieces."""

    def __init__(self, out: IO[bytes]) -> None:
        self._out = out
        self._parts: list[str] = []
        self._n_signs = 0

    def write(self, text: str) -> None:
        """Take some text."""
        self._parts.append(text)
        self._n_signs += len(text)
        if self._n_signs >= _CHUNK:
            self.flush()

    def flush(self) -> None:
        """Hand on what was gathered."""
        self._out.write("".join(self._parts).encode("utf-8"))
        self._parts.clear()
        self._n_signs = 0


def _entry(name: str) -> zipfile.ZipInfo:
    """Describe a file of the zip: no time, no account, nothing of this computer."""
    entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    entry.create_system = 3
    entry.external_attr = 0o644 << 16
    is_packed = name.lower().endswith(_STORED)
    entry.compress_type = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
    if not is_packed:
        entry._compresslevel = _LEVEL  # type: ignore[attr-defined]
    return entry


@contextmanager
def zip_maker(path: Path) -> Iterator[ZipMaker]:
    """
    Make a zip that is whole or not there; tables that wait lie beside it meanwhile.

    Raises
    ------
    StoreError
        ``disk-full``, ``folder-read-only`` or ``write-failed``.
    """
    with unfinished(path) as file, zipfile.ZipFile(file, "w") as zipped:
        maker = ZipMaker(zipped, path.parent)
        try:
            yield maker
        finally:
            maker.close()
