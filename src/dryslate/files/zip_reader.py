"""Zip files that somebody else made: names in them lead nowhere, what would swell is refused."""

from __future__ import annotations

import errno
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from dryslate.base.errors import InputError, StoreError

MOST_BYTES = 50 << 30
"""Of all files of an archive, unpacked."""
MOST_TIMES = 2000
"""How much larger than packed a file may be: text packs by 1:100 at most."""
MOST_FILES = 200_000


class ZipBox:
    """The files of a zip by name."""

    def __init__(self, zipped: zipfile.ZipFile) -> None:
        self._zip = zipped
        self._sizes = {one.filename: one.file_size for one in zipped.infolist()}

    def names(self) -> tuple[str, ...]:
        """Return the names of all files."""
        return tuple(name for name in self._sizes if not name.endswith("/"))

    def open(self, name: str) -> IO[bytes]:
        """Open a file for reading."""
        return self._zip.open(name)

    def read(self, name: str, most_bytes: int) -> bytes:
        """
        Read a file whole.

        Raises
        ------
        InputError
            ``archive-too-large``.
        """
        if self._sizes[name] > most_bytes:
            raise _too_large(name)
        with self._zip.open(name) as file:
            data = file.read(most_bytes + 1)
        if len(data) > most_bytes:
            raise _too_large(name)
        return data

    def unpack(self, name: str, to: Path) -> None:
        """
        Write one file where it is wanted, and the folder above it.

        Raises
        ------
        StoreError
            ``disk-full``.
        """
        try:
            to.parent.mkdir(parents=True, exist_ok=True)
            with self._zip.open(name) as packed, to.open("wb") as out:
                shutil.copyfileobj(packed, out, 1 << 20)
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            raise StoreError(
                "disk-full",
                f"{to.parent.parent}: the disk is full (unpacking {name}); nothing is stored.",
                "Make room and run the same command again.",
            ) from error


def _too_large(name: str) -> InputError:
    return InputError(
        "archive-too-large",
        f"{name}: larger than it may be.",
        "Look at who made the file; it was not opened.",
    )


@contextmanager
def zip_box(path: Path) -> Iterator[ZipBox]:
    """
    Open a zip for reading.

    Raises
    ------
    InputError
        ``archive-not-zip``, ``archive-too-large``, ``archive-unreadable`` (a damaged file, or one
        that is locked by a password).
    """
    try:
        zipped = zipfile.ZipFile(path)
    except (OSError, zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise InputError(
            "archive-not-zip",
            f"{path}: cannot be opened as a zip ({error}).",
            "Ask for the file once more; it may have been cut short.",
        ) from error
    with zipped:
        infos = zipped.infolist()
        if (
            len(infos) > MOST_FILES
            or sum(one.file_size for one in infos) > MOST_BYTES
            or any(
                one.file_size > (1 << 20) and one.file_size > MOST_TIMES * one.compress_size
                for one in infos
            )
        ):
            raise _too_large(str(path))
        if any(one.flag_bits & 1 for one in infos):
            raise InputError(
                "archive-unreadable", f"{path}: locked by a password.", "Ask for an open one."
            )
        try:
            yield ZipBox(zipped)
        except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError) as error:
            raise InputError(
                "archive-unreadable",
                f"{path}: a file in it is damaged ({error}).",
                "Ask for the archive once more.",
            ) from error
        except Exception as error:
            if type(error).__module__ == "zlib":
                raise InputError(
                    "archive-unreadable",
                    f"{path}: a file in it is damaged ({error}).",
                    "Ask for the archive once more.",
                ) from error
            raise


def has_member(path: Path, name: str) -> bool:
    """Tell whether a file is a zip that holds a file of that name."""
    try:
        with zipfile.ZipFile(path) as zipped:
            return name in zipped.namelist()
    except (OSError, zipfile.BadZipFile, ValueError, NotImplementedError):
        return False
