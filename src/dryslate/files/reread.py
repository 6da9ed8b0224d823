"""Reading a file back from the drive itself, not from the computer's memory of it."""

from __future__ import annotations

import ctypes
import hashlib
import mmap
import os
import sys
from pathlib import Path

from dryslate.app.intake import How

_CHUNK = 4 << 20


def reread_sha256(path: Path) -> tuple[str, How]:
    """
    Hash a file as the drive has it.

    Parameters
    ----------
    path : Path
        Written and flushed to the drive before.

    Returns
    -------
    sha256 : str
    how : {"direct", "dropped", "cached"}
        Past the system's cache; after its cache was seen to be empty; or ``cached`` where the
        bytes may have come from memory, so that nothing is proved about the drive.

    Notes
    -----
    A drive's own cache cannot be looked into from here.
    """
    direct = _hash_direct(path)
    if direct is not None:
        return direct, "direct"
    with path.open("rb", buffering=0) as file:
        how: How = "dropped" if _drop_cache(file.fileno()) else "cached"
        return _hash_open(file.fileno()), how


def _hash_open(descriptor: int) -> str:
    """Hash an open file from where it stands, in the ordinary way."""
    digest = hashlib.sha256()
    while chunk := os.read(descriptor, _CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def _hash_direct(path: Path) -> str | None:
    """Hash a file past the cache; None where the system or the file system cannot."""
    flag = getattr(os, "O_DIRECT", 0)
    if not flag or not hasattr(os, "readv"):
        return None
    try:
        descriptor = os.open(path, os.O_RDONLY | flag)
    except OSError:
        return None
    digest = hashlib.sha256()
    try:
        size = os.fstat(descriptor).st_size
        with mmap.mmap(-1, _CHUNK) as buffer, memoryview(buffer) as view:
            seen = 0
            while seen < size:  # a direct read must start at a multiple of the block size
                n = os.readv(descriptor, [buffer])
                if n <= 0:
                    return None
                digest.update(view[:n])
                seen += n
    except OSError:
        return None
    finally:
        os.close(descriptor)
    return digest.hexdigest()


def _drop_cache(descriptor: int) -> bool:
    """Empty the cache of an open file and tell whether it is seen to be empty."""
    if sys.platform == "darwin":
        import fcntl

        return fcntl.fcntl(descriptor, 48, 1) != -1  # F_NOCACHE of macOS: reads go to the drive
    if not hasattr(os, "posix_fadvise"):
        return False
    os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
    return _is_out_of_memory(descriptor)


def _is_out_of_memory(descriptor: int) -> bool:
    """Tell by ``mincore`` whether no page of an open file is held in memory."""
    size = os.fstat(descriptor).st_size
    if size == 0:
        return True
    pages = (ctypes.c_ubyte * (-(-size // mmap.PAGESIZE)))()
    try:
        mincore = ctypes.CDLL(None, use_errno=True).mincore
        with mmap.mmap(descriptor, size, access=mmap.ACCESS_COPY) as mapped:
            start = (ctypes.c_char * size).from_buffer(mapped)
            failed = mincore(ctypes.byref(start), ctypes.c_size_t(size), pages)
            del start  # the map cannot be closed while something points into it
    except (OSError, AttributeError, ValueError):
        return False
    return failed == 0 and not any(page & 1 for page in pages)
