"""The tidy table of results as Parquet, columns with their types; written by DuckDB."""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.result_rows import ResultRow
from dryslate.base.errors import StoreError

if TYPE_CHECKING:
    import duckdb

_TYPES = {
    "str": "VARCHAR NOT NULL",
    "int": "BIGINT NOT NULL",
    "int | None": "BIGINT",
    "float | None": "DOUBLE",
    "tuple[str, ...]": "VARCHAR[] NOT NULL",
}
_COLUMNS = {field.name: _TYPES[str(field.type)] for field in fields(ResultRow)}
_COLUMNS["date"] = "DATE NOT NULL"
_ROWS_AT_ONCE, _BYTES_AT_ONCE = 20_000, 1 << 20
_CLOSED: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "threads": "1",
}
"""Nothing is fetched, and rows keep their order."""


def results_parquet(rows: Iterable[ResultRow]) -> Iterator[bytes]:
    """
    Write figures as a Parquet file.

    Parameters
    ----------
    rows : iterable of ResultRow
        Taken in parts: the whole table is never held as Python objects here.

    Yields
    ------
    bytes
        Of the file, in order.

    Raises
    ------
    StoreError
        ``write-failed``.

    Notes
    -----
    Numbers are doubles and whole numbers, dates are dates, flags and units are lists; what is not
    known is null, and a text is never null. The same rows give the same bytes with the same version
    of DuckDB, whose name stands in the file.
    """
    import duckdb

    with tempfile.TemporaryDirectory(prefix="dryslate-") as folder:
        path = Path(folder) / "results.parquet"
        try:
            with duckdb.connect(config=_CLOSED) as base:
                _fill(base, rows)
                target = str(path).replace("'", "''")
                base.execute(f"COPY results TO '{target}' (FORMAT parquet, COMPRESSION zstd)")
        except duckdb.Error as error:
            raise StoreError(
                "write-failed", f"The table could not be written ({error})."
            ) from error
        with path.open("rb") as file:
            while part := file.read(_BYTES_AT_ONCE):
                yield part


def _fill(base: duckdb.DuckDBPyConnection, rows: Iterable[ResultRow]) -> None:
    """Put the rows into a table, some thousands at a time."""
    columns = ", ".join(f'"{name}" {kind}' for name, kind in _COLUMNS.items())
    base.execute(f"CREATE TABLE results ({columns})")
    cells = ", ".join(_cell(name, kind) for name, kind in _COLUMNS.items())
    left = iter(rows)
    while some := list(itertools.islice(left, _ROWS_AT_ONCE)):
        base.register("part", _arrays(some))
        base.execute(f"INSERT INTO results SELECT {cells} FROM part")
        base.unregister("part")


def _cell(name: str, kind: str) -> str:
    """Read a cell from an array; there, a missing number is NaN."""
    if kind in ("DOUBLE", "BIGINT"):
        return f'CASE WHEN isnan("{name}") THEN NULL ELSE "{name}" END'
    return f'"{name}"'


def _arrays(rows: list[ResultRow]) -> Mapping[str, Any]:
    """Turn rows into arrays by column."""
    made: dict[str, Any] = {}
    for name, kind in _COLUMNS.items():
        cells = [getattr(row, name) for row in rows]
        if kind in ("DOUBLE", "BIGINT"):
            made[name] = np.array([np.nan if c is None else c for c in cells], dtype=np.float64)
        elif kind.startswith("BIGINT"):
            made[name] = np.array(cells, dtype=np.int64)
        else:
            made[name] = np.empty(len(cells), dtype=object)
            is_list = kind.startswith("VARCHAR[]")
            made[name][:] = [list(c) for c in cells] if is_list else cells
    return made
