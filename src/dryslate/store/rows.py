"""What the rooms of the store share: a connection and ways to put rows in and read them."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import fields
from typing import Any, TypeVar

from dryslate.store.memory import ReadMemory

T = TypeVar("T")
_NONE_OR_THIS = re.compile(r"\?1 IS NULL OR ([\w.]+) = \?1")


def maker_of(kind: type[T], names: Sequence[str]) -> Callable[[Iterable[Any]], T]:
    """
    Return what makes records from the values of `names`, in that order; further values are left.

    For rows by the million: it fills the slots of a frozen class twice as fast as its own
    ``__init__``, and checks nothing, so every field must be named and the class check nothing too.
    """
    if {f.name for f in fields(kind)} != set(names) or hasattr(kind, "__post_init__"):  # type: ignore[arg-type]
        raise TypeError(f"{kind.__name__} cannot be made from {', '.join(names)} alone")
    setters = [kind.__dict__[name].__set__ for name in names]

    def make(values: Iterable[Any]) -> T:
        made = object.__new__(kind)
        for put, value in zip(setters, values, strict=False):
            put(made, value)
        return made

    return make


class StoreRoom:
    """One room of the store; the whole store gives it its connection and transactions."""

    _db: sqlite3.Connection
    _memory: ReadMemory | None = None
    _n_under_way = 0

    def write(self) -> AbstractContextManager[None]:
        """One transaction: all of it or nothing."""
        raise NotImplementedError

    def _rows(self, sql: str, values: Sequence[Any] = ()) -> Iterator[sqlite3.Row]:
        """
        Run a query and yield its rows.

        "None is given, or it is this one" becomes "it is this one" where one is given: SQLite
        takes no index for the first, and reads the whole table each time.
        """
        if values and values[0] is not None:
            sql = _NONE_OR_THIS.sub(r"\1 = ?1", sql)
        self._n_under_way += 1
        try:
            yield from self._db.execute(sql, values)
        finally:
            self._n_under_way -= 1

    def _recall(self, name: str, tables: Sequence[str], read: Callable[[], T]) -> T:
        """Return what `read` returns; from a server's memory where `tables` are as they were."""
        if self._memory is None:
            return read()
        return self._memory.recall(self._db, name, tables, read)

    def _put(self, table: str, row: Mapping[str, Any], keys: Sequence[str]) -> None:
        """Insert a row, or update the one with the same keys where anything in it differs."""
        names = ", ".join(f'"{name}"' for name in row)
        marks = ", ".join("?" for _ in row)
        others = [name for name in row if name not in keys]
        upsert = "DO NOTHING"
        if others:
            sets = ", ".join(f'"{name}" = excluded."{name}"' for name in others)
            differ = " OR ".join(f'"{table}"."{name}" IS NOT excluded."{name}"' for name in others)
            upsert = f"DO UPDATE SET {sets} WHERE {differ}"
        with self.write():
            self._db.execute(
                f'INSERT INTO "{table}" ({names}) VALUES ({marks}) '
                f"ON CONFLICT ({', '.join(keys)}) {upsert}",
                list(row.values()),
            )

    def _keep(self, table: str, row: Mapping[str, Any]) -> None:
        """Insert a row; one with the same keys stays as it is."""
        names = ", ".join(f'"{name}"' for name in row)
        marks = ", ".join("?" for _ in row)
        with self.write():
            self._db.execute(
                f'INSERT INTO "{table}" ({names}) VALUES ({marks}) ON CONFLICT DO NOTHING',
                list(row.values()),
            )


class KeptJson(Mapping[str, Any]):
    """
    A JSON object as it is stored, read when somebody first looks into it.

    Parameters
    ----------
    text : str
        What the column holds. Lists of photos ask hundreds of rows for their outcome and few of
        them for more.
    """

    __slots__ = ("_found", "_text")

    def __init__(self, text: str) -> None:
        self._text = text
        self._found: Mapping[str, Any] | None = None

    def _read(self) -> Mapping[str, Any]:
        """Read the text once."""
        if self._found is None:
            self._found = from_json(self._text)
        return self._found

    def __getitem__(self, key: str) -> Any:
        return self._read()[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._read())

    def __len__(self) -> int:
        return len(self._read())

    def __repr__(self) -> str:
        return repr(self._read())


def to_json(value: Any) -> str:
    """Write a JSON column: short and sorted."""
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=_plain
    )


def from_json(text: str) -> Any:
    """Read a JSON column."""
    return json.loads(text)


def _plain(value: Any) -> Any:
    """Reduce arrays, numpy scalars and mappings to what JSON knows."""
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} cannot be stored")
