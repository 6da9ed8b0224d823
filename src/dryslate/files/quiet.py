"""
Keeps a decoder written in C from talking on the terminal.

LibRaw tells of cut or damaged data on C's standard error stream, past Python, and then returns
an error as well, which becomes a sentence of ours. The stream's variable in the C library is
pointed elsewhere for the time of the call; file descriptor 2 is left alone, so that progress
bars, messages and crash reports of other threads still come through.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

_LOCK = threading.Lock()


class _Stream:
    """C's standard error, and the stream that stands in for it while anyone asks for quiet."""

    def __init__(self, variable: ctypes.c_void_p, silent: int) -> None:
        self.variable = variable
        self.silent = silent
        self.own: int | None = None
        self.n_quiet = 0

    def enter(self) -> None:
        """Point it at nothing, for the first who asks."""
        with _LOCK:
            if self.n_quiet == 0:
                self.own = self.variable.value
                self.variable.value = self.silent
            self.n_quiet += 1

    def leave(self) -> None:
        """Point it back, for the last who leaves."""
        with _LOCK:
            self.n_quiet -= 1
            if self.n_quiet == 0:
                self.variable.value = self.own


@cache
def _stream() -> _Stream | None:
    """Find the variable; None where the C library has none that can be set (musl, Windows)."""
    if os.name == "nt":
        return None
    name = "__stderrp" if sys.platform == "darwin" else "stderr"
    try:
        library = ctypes.CDLL(None)
        if sys.platform.startswith("linux"):
            library.gnu_get_libc_version  # noqa: B018 - musl's own stream is a constant
        library.fopen.restype = ctypes.c_void_p
        silent = library.fopen(os.devnull.encode(), b"w")
        variable = ctypes.c_void_p.in_dll(library, name)
    except (OSError, AttributeError, ValueError):
        return None
    return _Stream(variable, silent) if silent and variable.value else None


@contextmanager
def quiet_decoder() -> Iterator[None]:
    """
    Keep C code from writing to standard error, in every thread that is in here.

    Notes
    -----
    Counted, so that threads may overlap; put back whatever is raised. A child process starts
    with what its parent had. Where the stream cannot be set the decoder is heard.
    """
    stream = _stream()
    if stream is None:
        yield
        return
    stream.enter()
    try:
        yield
    finally:
        stream.leave()
