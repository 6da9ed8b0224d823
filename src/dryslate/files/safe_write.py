"""Files that are either whole or not there: written beside, flushed, then given their name."""

from __future__ import annotations

import errno
import itertools
import os
import platform
import time
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from glob import escape
from pathlib import Path
from typing import IO

from dryslate.base.errors import StoreError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_STALE_S = 3600.0
_COUNT = itertools.count()
_MACHINE = f"{zlib.crc32(platform.node().encode()):08x}"
_REFUSED = {errno.EACCES, errno.EPERM, errno.EROFS}


def save_whole(path: Path, parts: Iterable[bytes | memoryview], mode: int = 0o666) -> None:
    """
    Write a file so that a crash, a full disk or a pulled plug leaves no half of it.

    Parameters
    ----------
    path : Path
        Its folder is made if need be; an older file of the same name is replaced.
    parts : iterable of bytes
        Written one after another.
    mode : int
        Who may read and write it, before the account's own mask.

    Raises
    ------
    StoreError
        ``disk-full``, ``folder-read-only`` or ``write-failed``; what was begun is removed.
    """
    with unfinished(path, mode) as file:
        for part in parts:
            file.write(part)


@contextmanager
def unfinished(path: Path, mode: int = 0o666) -> Iterator[IO[bytes]]:
    """
    Open a file that gets its name only when it is whole.

    Raises
    ------
    StoreError
        As `save_whole`.
    """
    temporary: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _sweep(path)
        part_path = path.with_name(
            f".{path.name[:120]}.{_MACHINE}-{os.getpid()}-{next(_COUNT)}.part"
        )
        flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        handle = os.open(part_path, flags, mode)
        temporary = part_path
        with os.fdopen(handle, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        temporary = None
        sync_folder(path.parent)
    except OSError as error:
        raise _sentence(error, path) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _sweep(path: Path) -> None:
    """Remove what a killed run left of this very file; no write takes an hour."""
    for left in path.parent.glob(f".{escape(path.name[:120])}.*.part"):
        try:
            if _writer_has_ended(left) or time.time() - left.stat().st_mtime > _STALE_S:
                left.unlink()
        except OSError:
            continue  # somebody else was quicker, or it is not ours to remove


def _writer_has_ended(left: Path) -> bool:
    """Return whether a process of this machine began the file and is no more."""
    machine, _, rest = left.name.removesuffix(".part").rpartition(".")[2].partition("-")
    pid = rest.partition("-")[0]
    if os.name == "nt" or machine != _MACHINE or not pid.isdigit():
        return False
    try:
        os.kill(int(pid), 0)  # signal 0 sends nothing; it asks whether the process is there
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def sync_folder(folder: Path) -> None:
    """Flush the folder's own entry where the system knows that."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        return  # some network folders refuse this; the file itself is flushed
    finally:
        os.close(handle)


def _sentence(error: OSError, path: Path) -> StoreError:
    """Return the error in the words of what happened."""
    if error.errno in _FULL:
        return StoreError(
            "disk-full",
            f"{path}: the disk is full; nothing was left half written.",
            "Make room or choose another folder, then run the same command again.",
        )
    if error.errno in _REFUSED:
        return StoreError(
            "folder-read-only",
            f"{path.parent}: no file may be written there ({error.strerror}).",
            "Choose another folder with `--out`, or change its permissions.",
        )
    return StoreError("write-failed", f"{path}: could not be written ({error.strerror or error}).")
