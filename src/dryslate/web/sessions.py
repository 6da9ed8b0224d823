"""Who is at which browser: sessions in memory, found by an unguessable id."""

from __future__ import annotations

import secrets
import threading
import time
from dataclasses import dataclass, field

ROLES = ("viewer", "surveyor", "lead")
LONGEST_S = 14 * 24 * 3600.0
LONGEST_TEAM_S = 12 * 3600.0
MOST_SESSIONS = 500


@dataclass(slots=True, kw_only=True)
class Session:
    """
    One browser's session.

    Parameters
    ----------
    csrf : str
        Token that every change has to carry.
    observer : str or None
        Who works at this browser; nothing is saved before one is picked.
    role : {"viewer", "surveyor", "lead"}
    language : str or None
        Chosen language; the browser's wish where None.
    longest_s : float
        How long it lasts, in seconds.
    """

    csrf: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    observer: str | None = None
    role: str = "lead"
    language: str | None = None
    longest_s: float = LONGEST_S
    made_s: float = field(default_factory=time.monotonic)

    def may(self, role: str) -> bool:
        """Tell whether this session has a role, or one above it."""
        return ROLES.index(self.role) >= ROLES.index(role)


class SessionBook:
    """All sessions of a server; safe to use from many threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._sessions: dict[str, Session] = {}

    def open(self, session: Session) -> str:
        """Keep a session and return the id for its cookie."""
        key = secrets.token_urlsafe(32)
        with self._lock:
            now = time.monotonic()
            old = [k for k, s in self._sessions.items() if now - s.made_s > s.longest_s]
            for gone in old:
                del self._sessions[gone]
            while len(self._sessions) >= MOST_SESSIONS:
                del self._sessions[next(iter(self._sessions))]
            self._sessions[key] = session
        return key

    def find(self, key: str | None) -> Session | None:
        """Return the session of a cookie, or None."""
        with self._lock:
            found = self._sessions.get(key or "")
            return found if found and time.monotonic() - found.made_s <= found.longest_s else None

    def close_all_of(self, observer: str) -> None:
        """Forget every session of one person, when their account changes."""
        with self._lock:
            for key in [k for k, s in self._sessions.items() if s.observer == observer]:
                del self._sessions[key]

    def close(self, key: str | None) -> None:
        """Forget a session."""
        with self._lock:
            self._sessions.pop(key or "", None)
