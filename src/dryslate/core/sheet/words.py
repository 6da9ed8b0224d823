"""What is printed on sheets, in English; each text is translated when a page is laid out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

TITLES: Mapping[str, str] = {
    "line_intercept": "Line intercept",
    "point_intercept": "Point intercept",
    "belt": "Belt transect",
    "quadrat_counts": "Quadrat, colonies counted",
    "quadrat_cells": "Quadrat, cells",
    "photo_points": "Photo station, notes",
    "timed_swim": "Timed swim",
    "permanent_plot": "Permanent plot",
    "tagged_colony": "Tagged colony",
}
PART_TITLES: Mapping[str, str] = {
    "colonies": "Colonies under the tape",
    "characters": "What the coral looks like",
}
LABELS: Mapping[str, str] = {
    "site": "Site",
    "zone": "Zone",
    "date": "Date, year-month-day",
    "unit": "Unit",
    "colony": "Tag number",
    "observer": "Observer",
    "buddy": "Buddy",
    "depth_m": "Depth, m",
    "time_in": "Time in",
    "time_out": "Time out",
    "utc_offset": "Clock ahead of UTC, ± h:min",
    "length_m": "Length of tape, m",
    "width_m": "Width of belt, m",
    "area_m2": "Area, m²",
    "spacing_m": "Point to point, m",
    "n_cells": "Cells",
    "n_points": "Points a photo",
    "seed": "Seed",
    "point_rule": "Points are placed",
    "minutes": "Minutes swum",
    "edge_rule": "Colonies at the edge that count",
    "is_permanent": "Same place at each visit",
    "searched": "Searched for by name",
    "unit_note": "Notes",
    "camera_clock": "The camera's clock shows",
    "true_clock": "when the true time is",
    "marks_found": "Marks of the plot found",
    "kind": "none seen",
    "category": "Benthic group",
    "name": "Genus or name",
    "growth_form": "Growth form",
    "from_m": "From, m",
    "to_m": "To, m",
    "at_m": "At, m",
    "across_line_m": "Reach across the tape, m",
    "n": "How many",
    "cell": "Cell",
    "cover_pct": "Of the cell, %",
    "photo": "Photo",
    "longest_cm": "Longest, cm",
    "across_cm": "Across it, cm",
    "height_cm": "Height, cm",
    "normal_pct": "Normal, %",
    "pale_pct": "Pale, %",
    "bleached_pct": "Bleached, %",
    "recently_dead_pct": "Recently dead, %",
    "old_dead_pct": "Old dead, %",
    "lesion": "Lesion, in plain words",
    "unreadable": "Not readable: why",
    "note": "Note",
    "confidence": "How sure: 1 a guess, 5 sure",
    "colony_found": "The colony",
    "sketch": "Sketch: where it stands, what is around it, which way is north",
    "plan": "Plan of the plot, colonies with their row numbers",
    "neighbour": "Neighbours: what, how far, which way",
    "shots": "Photos, three frames each; tick and note the number",
}
TICKS: Mapping[tuple[str, str], str] = {
    ("edge_rule", "centre_inside"): "centre inside",
    ("edge_rule", "two_sides_in"): "two sides count",
    ("edge_rule", "any_touching"): "any that touches",
    ("edge_rule", "wholly_inside"): "wholly inside",
    ("is_permanent", "yes"): "yes",
    ("is_permanent", "no"): "no",
    ("none_seen", "all"): "looked for, none of them seen",
    ("point_rule", "random"): "at random",
    ("point_rule", "stratified_random"): "at random in strata",
    ("point_rule", "grid"): "as a grid",
    ("confidence", "1"): "1",
    ("confidence", "2"): "2",
    ("confidence", "3"): "3",
    ("confidence", "4"): "4",
    ("confidence", "5"): "5",
    ("marks_found", "1"): "1",
    ("marks_found", "2"): "2",
    ("marks_found", "3"): "3",
    ("marks_found", "4"): "4",
    ("colony_found", "found"): "found",
    ("colony_found", "tag_lost"): "found, tag lost",
    ("colony_found", "not_found"): "not found (not: dead)",
    ("colony_found", "dead"): "found dead",
}
SHOT_WORDS: Mapping[str, str] = {
    "whole": "Whole colony, card beside it",
    "close": "Close, a hand's width",
    "close_up": "Close-up of the cups, stick card in the frame",
}
CANNOT_TELL = "cannot tell"
PAGE_OF = "page {page_no} of {n_pages}"
BLANK_AND_ZERO = "Empty: nobody looked. 0, or the box: looked, and none there."
HUNDRED = "The five shares of a colony make 100."
STRIKE_OUT = "Pencil. Strike out once, never rub out. Photograph the sheet the same day."
CAUTIONS = (
    "Dive within your training and local law, within reach of your buddy; data come second. "
    "Touch nothing; hydrocorals sting. Carry the permits; local rules come first."
)
MILLIMETRES = "mm"


def sheet_texts() -> Iterator[str]:
    """Yield every text that is translated."""
    for table in (TITLES, PART_TITLES, LABELS, SHOT_WORDS):
        yield from table.values()
    yield from (text for text in TICKS.values() if not text.isdigit())
    yield from (CANNOT_TELL, PAGE_OF, BLANK_AND_ZERO, HUNDRED, STRIKE_OUT, CAUTIONS)
