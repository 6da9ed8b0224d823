"""What a running server remembers of whole tables, until the change log says otherwise."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from dryslate.store.idle import IdleConnections

T = TypeVar("T")


class ReadMemory:
    """
    Rows that were read before, kept as long as none of their tables has changed.

    Every change of a table of the records adds a line to the change log, whoever makes it: another
    request, a command, another program. So the last line about a table tells whether what was read
    from it still holds. Share one memory among the readers of one project; a writer has none, since
    what it has not committed yet may still be undone.

    Notes
    -----
    What is kept goes to several threads, so nobody may change it. The stamp is taken before the
    rows are read: rows newer than their stamp are read once more than needed, never once less.

    Attributes
    ----------
    idle : IdleConnections
        Connections of readers that are done.
    """

    def __init__(self) -> None:
        self.idle = IdleConnections()
        self._lock = threading.Lock()
        self._seen: int | None = None
        self._changed: dict[str, int] = {}
        self._kept: dict[str, tuple[tuple[int, ...], Any]] = {}

    def recall(
        self, db: sqlite3.Connection, name: str, tables: Sequence[str], read: Callable[[], T]
    ) -> T:
        """
        Return what was read under a name, or read it.

        Parameters
        ----------
        db : sqlite3.Connection
        name : str
        tables : sequence of str
            All that `read` looks into.
        read : callable

        Returns
        -------
        object
            As `read` returned it.
        """
        with self._lock:
            self._catch_up(db)
            stamp = tuple(self._changed.get(table, 0) for table in tables)
            kept = self._kept.get(name)
        if kept is not None and kept[0] == stamp:
            found: T = kept[1]
            return found
        found = read()
        with self._lock:
            self._kept[name] = (stamp, found)
        return found

    def _catch_up(self, db: sqlite3.Connection) -> None:
        """Read what the change log has got since last time; nothing is kept before the first."""
        (last,) = db.execute("SELECT ifnull(max(change_no), 0) FROM change_log").fetchone()
        if self._seen is None or last < self._seen:  # another database lies there now
            self._kept.clear()
        elif last > self._seen:
            self._changed |= dict(
                db.execute(
                    "SELECT table_name, max(change_no) FROM change_log "
                    "WHERE change_no > ? GROUP BY table_name",
                    [self._seen],
                ).fetchall()
            )
        self._seen = last
