"""Compiling loops once per machine."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])

_OPTIONS: dict[str, Any] = {
    "nogil": True,
    "error_model": "numpy",
    "fastmath": {"contract", "nnan", "ninf", "nsz"},
}


def compiled(function: Function) -> Function:
    """
    Compile on first call, kept in numba's cache where some folder can be written.

    Serial and without the interpreter lock, so photos run side by side in threads. What is kept is
    made anew when the loop's own file changes, not when a file it calls into does.
    """
    try:
        done: Function = njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:  # numba finds no folder for its cache
        done = njit(**_OPTIONS)(function)
    return done
