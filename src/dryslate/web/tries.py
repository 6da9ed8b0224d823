"""Slows down guessing: only so many wrong passwords for a name, and from an address, in a while."""

from __future__ import annotations

import threading
import time
from collections import deque

MOST_WRONG = 5
MOST_WRONG_FROM_ONE_ADDRESS = 30
WITHIN_S = 300.0
MOST_KEYS = 10_000


class Tries:
    """Counts wrong passwords; safe to use from many threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wrong: dict[str, deque[float]] = {}

    def are_over(self, name: str, address: str) -> bool:
        """Tell whether this name, or this address, has to wait."""
        with self._lock:
            return self._count(f"name {name.casefold()}") >= MOST_WRONG or (
                self._count(f"from {address}") >= MOST_WRONG_FROM_ONE_ADDRESS
            )

    def note_wrong(self, name: str, address: str) -> None:
        """Count a wrong password."""
        with self._lock:
            for key in (f"name {name.casefold()}", f"from {address}"):
                while len(self._wrong) >= MOST_KEYS:
                    del self._wrong[next(iter(self._wrong))]
                self._wrong.setdefault(key, deque()).append(time.monotonic())

    def note_right(self, name: str) -> None:
        """Forget the wrong passwords of a name."""
        with self._lock:
            self._wrong.pop(f"name {name.casefold()}", None)

    def _count(self, key: str) -> int:
        """Count what is not too old."""
        seen = self._wrong.get(key)
        if seen is None:
            return 0
        while seen and time.monotonic() - seen[0] > WITHIN_S:
            seen.popleft()
        return len(seen)
