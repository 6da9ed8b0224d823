"""What sheets and their fields are called, for lists to choose from."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.core.sheet.words import LABELS, TICKS, TITLES

KIND_TITLES: Mapping[str, str] = TITLES
"""Kinds of sheets with their titles."""
TYPED_FIELDS = (
    "length_m",
    "width_m",
    "spacing_m",
    "area_m2",
    "n_cells",
    "n_points",
    "seed",
    "minutes",
    "searched",
)
"""Fields of the head that may be typed before printing."""
CHOICE_FIELDS: Mapping[str, Mapping[str, str]] = {
    name: {value: words for (field, value), words in TICKS.items() if field == name}
    for name in ("edge_rule", "point_rule")
}
"""Fields of the head with boxes, each with the words of its boxes."""


def field_label(name: str) -> str:
    """Return what a field is called on a sheet."""
    return LABELS[name]
