"""Workbooks to fill in: only the columns a design uses, each with what it means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dryslate.base.errors import InputError
from dryslate.core.survey.designs import DESIGNS, HEALTH, ROW_KINDS

Sheet = tuple[Sequence[str], Sequence[Sequence[object]]]

_UNIT = ("site", "date", "unit", "zone", "depth_m", "observer", "design", "is_permanent")
DESIGN_FIELDS: Mapping[str, tuple[str, ...]] = {
    "line_intercept": ("length_m",),
    "point_intercept": ("length_m", "spacing_m"),
    "belt": ("length_m", "width_m", "edge_rule", "searched"),
    "quadrat_counts": ("area_m2", "edge_rule", "searched"),
    "quadrat_cells": ("area_m2", "n_cells"),
    "photo_points": ("area_m2", "n_points", "point_rule", "seed"),
    "timed_swim": ("minutes", "searched"),
}
"""What a unit of each design says of itself."""
_KEY = ("site", "date", "unit", "kind", "category", "name", "growth_form")
_COLONY = ("longest_cm", "across_cm", *HEALTH, "lesion", "tag")
_ROW: Mapping[str, tuple[str, ...]] = {
    "line_intercept": ("from_m", "to_m", "at_m", "across_line_m", *_COLONY),
    "point_intercept": ("at_m", "across_line_m", *_COLONY),
    "belt": ("n", *_COLONY),
    "quadrat_counts": ("n", *_COLONY),
    "quadrat_cells": ("cell", "cover_pct"),
    "photo_points": ("photo", "x_px", "y_px"),
    "timed_swim": ("n", *_COLONY),
}
MEANINGS: Mapping[str, str] = {
    "site": "Site, always spelt alike.",
    "date": "Local date of the dive, year-month-day.",
    "unit": "Name or number of the transect, quadrat or station, as on the slate.",
    "zone": "Reef zone or depth band within the site.",
    "depth_m": "Depth below the surface in metres.",
    "observer": "Who noted it.",
    "design": "How the unit was sampled.",
    "is_permanent": "yes where the same place is sampled at each visit, else no.",
    "length_m": "Length of the tape or belt in metres.",
    "width_m": "Width of the belt in metres.",
    "area_m2": "Area in square metres.",
    "spacing_m": "Distance between points along the tape in metres.",
    "n_cells": "Cells of the quadrat.",
    "n_points": "Points on each photo.",
    "point_rule": "random, stratified_random or grid.",
    "seed": "Seed of the points.",
    "minutes": "Length of the swim in minutes.",
    "edge_rule": "centre_inside, two_sides_in, any_touching or wholly_inside.",
    "searched": "Names looked for on purpose, divided by semicolons.",
    "kind": "What the row is.",
    "category": "Benthic category of the project's list.",
    "name": "Genus or other name, as far as it was seen.",
    "growth_form": "As seen, apart from the name.",
    "from_m": "Where on the tape the stretch begins, metres.",
    "to_m": "Where it ends, metres.",
    "at_m": "Where on the tape the point or colony lies, metres.",
    "across_line_m": "How far the colony reaches across the direction of the tape, metres.",
    "n": "How many. 0: looked for and not there. Empty: nobody looked.",
    "cell": "Cell of the quadrat, from 1.",
    "cover_pct": "Share of the cell, per cent; empty: all of it.",
    "photo": "Name of the photo on the memory card.",
    "x_px": "From the left, pixels of the upright photo.",
    "y_px": "From the top, pixels of the upright photo.",
    "longest_cm": "Longest diameter in centimetres.",
    "across_cm": "Widest across it in centimetres.",
    "normal_pct": "Per cent of the colony that looks normal; the five make 100.",
    "pale_pct": "Per cent that is pale.",
    "bleached_pct": "Per cent white with living tissue.",
    "recently_dead_pct": "Per cent white bare skeleton, its fine structure still sharp.",
    "old_dead_pct": "Per cent long dead, worn or overgrown.",
    "lesion": "A lesion in plain words.",
    "tag": "What the tag of a tagged colony says; empty where it bears none.",
    "unreadable": "Why it could not be read: in shade, out of focus, hidden by a fish.",
    "note": "Anything worth knowing.",
}


def template_sheets(design: str) -> dict[str, Sheet]:
    """
    Return the sheets of a workbook to fill in.

    Parameters
    ----------
    design : str
        One of `DESIGNS`.

    Raises
    ------
    InputError
        ``design-unknown``.
    """
    if design not in DESIGNS:
        raise InputError(
            "design-unknown", f"No design {design!r}.", f"Known: {', '.join(DESIGNS)}."
        )
    units = (*_UNIT, *DESIGN_FIELDS[design], "unit_note")
    rows = (*_KEY, *_ROW[design], "unreadable", "note")
    kinds = ", ".join(ROW_KINDS[design])
    meanings = {**MEANINGS, "unit_note": MEANINGS["note"], "kind": f"One of {kinds}."}
    told = [(name, meanings[name]) for name in dict.fromkeys((*units, *rows))]
    return {
        "units": (units, [["" if name != "design" else design for name in units]]),
        "rows": (rows, []),
        "columns": (("column", "what it holds"), told),
    }
