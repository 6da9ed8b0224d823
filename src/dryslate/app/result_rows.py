"""The tidy table: one figure a row, with where, when, of how many units, and its doubt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from functools import lru_cache
from operator import attrgetter
from typing import Any

from dryslate.app.result_made import Made
from dryslate.formats.table_csv import table_csv_parts


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultRow:
    """
    One figure.

    Parameters
    ----------
    site, date, zone : str
        Zone empty where the units state none.
    design : str
    figure : str
        With its unit at the end: ``cover_frac``, ``density_per_m2``, ``prevalence_frac``.
    kind_of_thing, thing : str
        ``category``, ``group`` or ``name``, and which.
    estimate, u, lo95, hi95 : float or None
    method : str
    n_units, n_blank : int
    df : float or None
    n_colonies : int or None
        Colonies that carry it, where it is of colonies.
    undetermined_frac : float or None
        Of a genus: share of the corals that may be it which was not told to genus.
    if_all : float or None
        Of a genus: the figure if all of those were it (`estimate` is as if none were).
    about : str
        What it is about beyond its name: a size class, a cut-off, an estimand.
    weights : str
        Of a site from zones: the weight of each.
    flags : tuple of str
    unit_ids : tuple of str
        The units it rests on: their rows are the trail.
    """

    site: str
    date: str
    zone: str
    design: str
    figure: str
    kind_of_thing: str
    thing: str
    estimate: float | None
    u: float | None
    lo95: float | None
    hi95: float | None
    method: str
    n_units: int
    n_blank: int
    df: float | None
    n_colonies: int | None
    undetermined_frac: float | None
    if_all: float | None
    about: str
    weights: str
    flags: tuple[str, ...]
    unit_ids: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        found = dict(zip(COLUMNS, _CELLS(self), strict=True))
        return {**found, "flags": list(self.flags), "unit_ids": list(self.unit_ids)}


COLUMNS = tuple(f.name for f in fields(ResultRow))
_CELLS = attrgetter(*COLUMNS)


def results_table(found: Iterable[ResultRow]) -> bytes:
    """Write figures as `results_table_parts` does, whole."""
    return b"".join(results_table_parts(found))


def results_table_parts(found: Iterable[ResultRow]) -> Iterator[bytes]:
    """
    Write figures as CSV, one a row; several flags or units stand divided by semicolons.

    Parameters
    ----------
    found : iterable of ResultRow

    Yields
    ------
    bytes
        Of the file, in order.
    """
    rows = (
        [_joined(cell) if isinstance(cell, tuple) else cell for cell in _CELLS(row)]
        for row in found
    )
    yield from table_csv_parts(COLUMNS, rows)


@lru_cache(maxsize=1024)
def _joined(words: tuple[str, ...]) -> str:
    """Write several words in one cell; figures of the same units come one after another."""
    return "; ".join(words)


def row_of(
    where: tuple[str, str, str], design: str, made: Made, unit_ids: tuple[str, ...]
) -> ResultRow:
    """Put a figure of a thing (its kind, a tab, the word) into its row."""
    site, date, zone = where
    found, bounds = made.found, made.bounds
    kind, word = made.thing.split("\t")
    return ResultRow(
        site=site,
        date=date,
        zone=zone,
        design=design,
        figure=found.what,
        kind_of_thing=kind,
        thing=word,
        estimate=found.estimate,
        u=found.u,
        lo95=found.lo95,
        hi95=found.hi95,
        method=str(found.method),
        n_units=found.n_units,
        n_blank=found.n_blank,
        df=found.df,
        n_colonies=made.n_colonies,
        undetermined_frac=None if bounds is None else bounds.undetermined_frac,
        if_all=None if bounds is None else bounds.if_all,
        about=made.about,
        weights="; ".join(f"{zone} {share:.4g}" for zone, share in found.weights),
        flags=tuple(str(flag) for flag in found.flags),
        unit_ids=unit_ids,
    )
