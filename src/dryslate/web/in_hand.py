"""What somebody is working on now: shown to others for a quarter of an hour, never a lock."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass

LASTS_S = 15 * 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Who has something in hand, and for how many minutes."""

    observer: str
    minutes: int


class InHand:
    """
    Who has which record in hand; safe to use from many threads.

    Two people may still save the same record: both names are kept, as always.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: dict[str, tuple[str, float]] = {}

    def take(self, record_id: str, observer: str, *, by_force: bool = False) -> Held | None:
        """Take a record in hand; returns who else has it, and takes nothing then."""
        with self._lock:
            other = self._other(record_id, observer)
            if other is not None and not by_force:
                return other
            self._held[record_id] = (observer, time.monotonic())
            return None

    def other(self, record_id: str, observer: str | None) -> Held | None:
        """Return who else has a record in hand."""
        with self._lock:
            return self._other(record_id, observer)

    def let_go(self, record_id: str, observer: str) -> None:
        """Let go of a record that this person has in hand."""
        with self._lock:
            if self._held.get(record_id, ("", 0.0))[0] == observer:
                del self._held[record_id]

    def _other(self, record_id: str, observer: str | None) -> Held | None:
        """Who else has it, where the time is not over."""
        now = time.monotonic()
        for key in [k for k, (_, since) in self._held.items() if now - since > LASTS_S]:
            del self._held[key]
        who, since = self._held.get(record_id, ("", 0.0))
        if not who or who == observer:
            return None
        return Held(observer=who, minutes=int((now - since) / 60.0))
