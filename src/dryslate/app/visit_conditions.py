"""Stating what sea and weather were like on a visit: one by one, or from a table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from dryslate.app.condition_records import VisitConditions
from dryslate.app.visits import find_visit, require_observer
from dryslate.base.errors import InputError
from dryslate.base.typed import typed_number

if TYPE_CHECKING:
    from dryslate.app.ports import Clock, SurveyStore
    from dryslate.app.records import Visit
    from dryslate.formats.table_csv import Table

WORDS = ("tide", "weather", "sea")
NUMBERS: Mapping[str, tuple[float, float]] = {"visibility_m": (0.0, 100.0), "water_c": (-3.0, 45.0)}
"""From and to; what lies outside is a slip of the pen."""
FIELDS = ("tide", "visibility_m", "water_c", "weather", "sea")
LONGEST = 300


def state_conditions(
    store: SurveyStore, visit: Visit, said: Mapping[str, str | None], observer: str, clock: Clock
) -> VisitConditions:
    """
    Keep the conditions of a visit; None leaves a field as it is, an empty text takes it out.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    visit : Visit
    said : mapping
        Some of `FIELDS`, as typed; a decimal comma is a point.
    observer : str
    clock : Clock

    Returns
    -------
    VisitConditions

    Raises
    ------
    InputError
        ``visit-condition-odd``, and those of `dryslate.app.visits.require_observer`.
    """
    known = {one.visit_id: one for one in store.visit_conditions(visit.visit_id)}
    before = known.get(visit.visit_id)
    kept: dict[str, object] = {} if before is None else before.as_dict()
    for name in FIELDS:
        text = said.get(name)
        if text is not None:
            kept[name] = _words(name, text) if name in WORDS else _number(name, text)
    kept |= {
        "visit_id": visit.visit_id,
        "observer": require_observer(store, observer),
        "stated_at": clock.now_utc(),
    }
    stated = VisitConditions(**kept)  # type: ignore[arg-type]
    store.save_visit_conditions(stated)
    return stated


def import_conditions(store: SurveyStore, table: Table, observer: str, clock: Clock) -> int:
    """
    Keep the conditions that a table has, a visit a row: all of them or none.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    table : Table
        Columns ``site`` and ``date``, and some of `FIELDS`; an empty cell says nothing.
    observer : str
    clock : Clock

    Returns
    -------
    int
        How many visits.

    Raises
    ------
    InputError
        ``conditions-columns``; with the row named, ``visit-unknown``, ``visit-date`` and
        ``visit-condition-odd``.
    """
    fields = [name for name in FIELDS if name in table.columns]
    if table.problems or not {"site", "date"} <= set(table.columns) or not fields:
        raise InputError(
            "conditions-columns",
            f"{table.name}: {table.problems[0]}"
            if table.problems
            else f"{table.name} has no columns of conditions.",
            f"Give the columns site and date, and some of {', '.join(FIELDS)}.",
        )
    at = {name: table.columns.index(name) for name in ("site", "date", *fields)}
    with store.write():
        for number, cells in table.rows:
            try:
                visit = find_visit(store, cells[at["site"]], cells[at["date"]])
                said = {name: cells[at[name]] or None for name in fields}
                state_conditions(store, visit, said, observer, clock)
            except InputError as error:
                place = f"{table.name}, row {number}: "
                raise InputError(error.slug, place + error.message, error.fix) from error
    return len(table.rows)


def _words(name: str, text: str) -> str:
    """Return words as they are kept."""
    kept = " ".join(text.split())
    if len(kept) > LONGEST or any(ord(sign) < 32 for sign in kept):
        raise InputError(
            "visit-condition-odd",
            f"The {name} holds signs that cannot be kept, or is over {LONGEST} signs long.",
            "Say it in a few words.",
        )
    return kept


def _number(name: str, text: str) -> float | None:
    """Return a number as typed; None where nothing is."""
    low, high = NUMBERS[name]
    try:
        value = typed_number(text)
    except ValueError:
        value = math.nan
    if value is not None and not low <= value <= high:
        what = {"visibility_m": "visibility", "water_c": "temperature of the water"}[name]
        raise InputError(
            "visit-condition-odd",
            f"{text!r} is no {what} (a number from {low:g} to {high:g}).",
            "Give metres for the visibility, degrees Celsius for the temperature.",
        )
    return value
