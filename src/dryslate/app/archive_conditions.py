"""Conditions of dives as measurements of a visit's event, written and read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from dryslate.app.archive_words import number
from dryslate.app.condition_records import VisitConditions
from dryslate.app.visit_conditions import NUMBERS

if TYPE_CHECKING:
    from dryslate.app.archive_rows import RowMaker

CONDITIONS: tuple[tuple[str, str, str], ...] = (
    ("tide", "tide", ""),
    ("visibility_m", "visibility under water", "metres"),
    ("water_c", "water temperature", "degrees Celsius"),
    ("weather", "weather", ""),
    ("sea", "swell, waves and current", ""),
)
"""What is stated of a visit: our field, its type in words, its unit."""
FIELD_OF = {what: (name, unit) for name, what, unit in CONDITIONS}


def write_conditions(maker: RowMaker, stated: VisitConditions, event: str) -> None:
    """Write the conditions of a visit, each a measurement of its event."""
    for name, what, unit in CONDITIONS:
        value = getattr(stated, name)
        if value is not None and value != "":
            maker.measure(
                (event, ""),
                (what, value if isinstance(value, str) else number(value), unit),
                key=("condition", stated.visit_id, name),
                who=stated.observer,
                when=stated.stated_at,
            )


def read_condition(
    known: VisitConditions | None, visit_id: str, cells: Mapping[str, str]
) -> VisitConditions:
    """
    Add what a measurement says to the conditions of a visit.

    Raises
    ------
    ValueError
        Where it is no number, or one that cannot be.
    """
    name, _ = FIELD_OF[cells["measurementType"]]
    text = cells["measurementValue"]
    value: str | float = text
    if name in NUMBERS:
        value = float(text)
        low, high = NUMBERS[name]
        if not low <= value <= high:
            raise ValueError(f"{text}: expected {low:g} to {high:g}")
    said = {} if known is None else known.as_dict()
    said |= {
        "visit_id": visit_id,
        "observer": cells["measurementDeterminedBy"],
        "stated_at": cells["measurementDeterminedDate"],
        name: value,
    }
    return VisitConditions(**said)
