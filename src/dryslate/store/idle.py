"""Connections of a running server that wait for the next reader."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

MOST_IDLE = 8
Place = tuple[int, int]
"""What tells a database file from another that lies in its place later: device and number."""


class IdleConnections:
    """
    Keeps connections for reading open between two requests.

    Opening one takes SQLite several milliseconds, most of it to read the schema with its triggers;
    a page of pictures asks dozens of times. A reader has a connection for itself as long as it is
    open, and what others have saved meanwhile it sees with its next query.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._idle: list[tuple[Place, sqlite3.Connection]] = []
        self._is_closed = False

    def take(self, place: Place | None) -> sqlite3.Connection | None:
        """
        Return a connection to a file, None where none waits; those to other files are closed.

        Parameters
        ----------
        place : (int, int) or None
            Of the file that lies there now.
        """
        with self._lock:
            gone = [db for at, db in self._idle if at != place]
            self._idle = [one for one in self._idle if one[0] == place]
            found = self._idle.pop()[1] if self._idle else None
        for db in gone:
            db.close()
        return found

    def give_back(self, place: Place | None, connection: sqlite3.Connection) -> None:
        """
        Let a connection wait for the next reader, or close it where enough wait.

        Parameters
        ----------
        place : (int, int) or None
            Of the file when it was opened; None closes it.
        connection : sqlite3.Connection
            No query of it may be under way.
        """
        with self._lock:
            if place is not None and not self._is_closed and len(self._idle) < MOST_IDLE:
                self._idle.append((place, connection))
                return
        connection.close()

    def close(self) -> None:
        """Close those that wait, and from now on each that is given back."""
        with self._lock:
            self._is_closed = True
            idle, self._idle = self._idle, []
        for _, db in idle:
            db.close()


def place_of(path: Path) -> Place | None:
    """Return what tells the file that lies there from others; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
