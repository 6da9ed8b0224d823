"""The collector of dead rings, for commands that make millions of small things."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator

COLLECT_EVERY = 200_000
"""More things made than freed between two looks of the collector."""


@contextlib.contextmanager
def little_collecting() -> Iterator[None]:
    """Let the collector leave alone what is loaded, and look at the rest more seldom."""
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(COLLECT_EVERY, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
