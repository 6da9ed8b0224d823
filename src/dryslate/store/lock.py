"""One writer a project: a locked file that says who has it."""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from pathlib import Path
from typing import IO, Any

from dryslate.base.errors import StoreError

LOCK_NAME = "dryslate.lock"
_POLL_S = 0.05


class WriterLock:
    """
    Holds a project for writing until released or until the process ends, however it ends.

    Parameters
    ----------
    project : Path
        The lock file lies in this folder and stays there; only its lock comes and goes.
    """

    def __init__(self, project: Path) -> None:
        self._path = project / LOCK_NAME
        self._file: IO[bytes] | None = None

    def acquire(self, who: str, since_utc: str, wait_s: float) -> None:
        """
        Take the lock, waiting for another writer for a while.

        Parameters
        ----------
        who, since_utc : str
            Written into the file for the next one who waits.
        wait_s : float
            How long to wait, in seconds.

        Raises
        ------
        StoreError
            ``project-busy`` naming who has it; ``project-read-only`` where the folder cannot
            be written; ``project-no-locks`` where the file system has no locks.
        """
        try:
            handle = self._path.open("r+b" if self._path.exists() else "w+b")
        except OSError as error:
            raise StoreError(
                "project-read-only",
                f"{self._path.parent}: the project cannot be written ({error.strerror}).",
                "Give yourself the right to write there, or copy the project to another folder.",
            ) from error
        try:
            self._wait_for(handle, wait_s)
        except StoreError:
            handle.close()
            raise
        note = {"pid": os.getpid(), "host": socket.gethostname(), "since": since_utc, "who": who}
        handle.seek(0)
        handle.truncate()
        handle.write(json.dumps(note).encode("utf-8"))
        handle.flush()
        self._file = handle

    def _wait_for(self, handle: IO[bytes], wait_s: float) -> None:
        """Try until the lock is taken or the time is over."""
        deadline = time.monotonic() + wait_s
        while not _try_lock(handle, self._path):
            if time.monotonic() >= deadline:
                raise StoreError(
                    "project-busy",
                    f"{self._path.parent}: {_words(self.holder())} is writing to this project; "
                    f"waited {wait_s:g} s.",
                    "Wait until that is done, or end it; reading is possible meanwhile.",
                )
            time.sleep(_POLL_S)

    def holder(self) -> dict[str, Any]:
        """Return what the present holder wrote: pid, host, since, who (or nothing)."""
        try:
            found = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    def release(self) -> None:
        """Let go of the lock; without one this does nothing."""
        if self._file is not None:
            self._file.seek(0)
            self._file.truncate()
            self._file.close()
            self._file = None


def _words(holder: dict[str, Any]) -> str:
    """Say who holds a lock."""
    if not holder:
        return "another process"
    return (
        f"{holder.get('who') or 'somebody'} (process {holder.get('pid')} on "
        f"{holder.get('host')}, since {holder.get('since')})"
    )


def _try_lock(handle: IO[bytes], path: Path) -> bool:
    """Try to lock an open file; False where another has it."""
    if sys.platform == "win32":
        import msvcrt

        handle.seek(1 << 30)  # beyond the words, which others must be able to read
        try:
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(handle.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError as error:
        raise StoreError(
            "project-no-locks",
            f"{path.parent}: this folder's file system has no locks ({error.strerror}), so two "
            "programs could write at once.",
            "Keep the project on a local drive.",
        ) from error
    return True
