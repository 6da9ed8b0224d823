"""Words of the pages on records: ways of sampling, kinds of rows, and what stands in each cell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request

from dryslate.web.languages import N_, catalogue, language_of
from dryslate.web.said import told

DESIGN_WORDS: Mapping[str, str] = {
    "line_intercept": N_("line intercept"),
    "point_intercept": N_("point intercept"),
    "belt": N_("belt transect"),
    "quadrat_counts": N_("quadrat, counted"),
    "quadrat_cells": N_("quadrat, by cells"),
    "photo_points": N_("points on photos"),
    "timed_swim": N_("timed swim"),
}
DESIGN_NOTES: Mapping[str, str] = {
    "line_intercept": N_("what lies under a tape, from where to where"),
    "point_intercept": N_("what lies under points at equal distances along a tape"),
    "belt": N_("colonies counted within a width along a tape"),
    "quadrat_counts": N_("colonies counted within a frame"),
    "quadrat_cells": N_("what fills each cell of a frame"),
    "photo_points": N_("what lies under points placed on photos"),
    "timed_swim": N_("colonies counted while swimming for a stated time"),
}
KIND_WORDS: Mapping[str, str] = {
    "intercept": N_("stretch of tape"),
    "point": N_("point"),
    "cell": N_("cell"),
    "count": N_("count"),
    "colony": N_("colony"),
    "none_seen": N_("none seen"),
}
SECTION_WORDS: Mapping[str, str] = {
    "intercept": N_("Stretches of tape"),
    "point": N_("Points"),
    "cell": N_("Cells"),
    "count": N_("Counts"),
    "colony": N_("Colonies"),
}
FIELD_WORDS: Mapping[str, str] = {
    "site": N_("site"),
    "date": N_("date"),
    "unit": N_("unit"),
    "zone": N_("zone"),
    "design": N_("way of sampling"),
    "is_permanent": N_("the same place at each visit"),
    "length_m": N_("length of the tape or belt, m"),
    "width_m": N_("width of the belt, m"),
    "area_m2": N_("area, m²"),
    "spacing_m": N_("distance between points, m"),
    "n_cells": N_("cells in the frame"),
    "n_points": N_("points on each photo"),
    "point_rule": N_("how the points are placed"),
    "seed": N_("seed of the points"),
    "minutes": N_("length of the swim, minutes"),
    "edge_rule": N_("which colonies at the edge count"),
    "searched": N_("names looked for on purpose"),
    "kind": N_("kind"),
    "category": N_("what"),
    "name": N_("name"),
    "growth_form": N_("growth form"),
    "from_m": N_("from, m"),
    "to_m": N_("to, m"),
    "at_m": N_("at, m"),
    "across_line_m": N_("across the line, m"),
    "n": N_("how many"),
    "none_seen": N_("none seen"),
    "cell": N_("cell"),
    "cover_pct": N_("share of the cell, %"),
    "longest_cm": N_("longest, cm"),
    "across_cm": N_("widest across, cm"),
    "normal_pct": N_("normal, %"),
    "pale_pct": N_("pale, %"),
    "bleached_pct": N_("bleached, %"),
    "recently_dead_pct": N_("recently dead, %"),
    "old_dead_pct": N_("old dead, %"),
    "lesion": N_("lesion"),
    "unreadable": N_("not readable because"),
    "note": N_("note"),
    "photo": N_("photo"),
    "x_px": N_("x, px"),
    "y_px": N_("y, px"),
    "place": N_("written at"),
    "observer": N_("observer"),
    "noted_at": N_("entered"),
    "visit_id": N_("visit"),
    "row_no": N_("row"),
}
HEALTH_FIELDS = tuple(name for name in FIELD_WORDS if name.endswith("_pct") and name != "cover_pct")
CHOICE_WORDS: Mapping[str, Mapping[str, str]] = {
    "edge_rule": {
        "centre_inside": N_("those whose centre lies inside"),
        "two_sides_in": N_("those touching two agreed sides, not those touching the other two"),
        "any_touching": N_("all that touch (counts too many)"),
        "wholly_inside": N_("only those wholly inside (counts too few)"),
    },
    "point_rule": {
        "random": N_("anywhere, at random"),
        "stratified_random": N_("one at random in each of equal fields"),
        "grid": N_("in the middle of equal fields"),
    },
}
FORM_WORDS: Mapping[str, str] = {
    "branching": N_("branching"),
    "bushy": N_("bushy"),
    "corymbose": N_("corymbose"),
    "digitate": N_("digitate"),
    "tabular": N_("tabular"),
    "bottlebrush": N_("bottlebrush"),
    "columnar": N_("columnar"),
    "massive": N_("massive"),
    "submassive": N_("submassive"),
    "encrusting": N_("encrusting"),
    "laminar": N_("laminar"),
    "foliaceous": N_("foliaceous"),
    "disc": N_("disc"),
    "free_living_dome": N_("free-living dome"),
    "elongate": N_("elongate"),
    "cup": N_("cup"),
}
REASONS: tuple[str, ...] = (
    N_("in shade"),
    N_("out of focus"),
    N_("hidden by a fish"),
    N_("hidden by the tape or card"),
    N_("too bright"),
)
"""Why something cannot be read, to choose from; any other words may be typed."""
_FIELD = re.compile(r"\b(" + "|".join(sorted(FIELD_WORDS, key=len, reverse=True)) + r")\b(?!['’])")
_CODED = re.compile(r"_(?:m|m2|cm|pct|px|points|cells|rule)$|^n_|_seen$")
_DESIGN = re.compile(r"\b(" + "|".join(DESIGN_WORDS) + r")\b")


def in_words(request: Request, words: Mapping[str, str]) -> dict[str, str]:
    """Return words in the person's language."""
    gettext = catalogue(language_of(request)).gettext
    return {key: gettext(word) for key, word in words.items()}


def plainly(request: Request, problem: Any) -> dict[str, Any]:
    """
    Return a problem as a page shows it, with the words of its cells for the names of columns.

    Parameters
    ----------
    request : Request
    problem : Problem or Mapping

    Returns
    -------
    dict
        As `dryslate.web.said.told`, and ``label``: the words of the cell where its place is one.
    """
    language = language_of(request)
    found = told(language, problem)
    gettext = catalogue(language).gettext
    for part in ("message", "fix"):
        text = _FIELD.sub(lambda m: _named(m[0], gettext), str(found.get(part, "")))
        found[part] = _DESIGN.sub(lambda m: _design(m[0], gettext), text)
    word = FIELD_WORDS.get(str(found["place"]), "")
    found["label"] = gettext(word) if word else ""
    return found


def _named(name: str, gettext: Any) -> str:
    """Return the words of a column whose name is no word of its own; others stay."""
    return f"“{gettext(FIELD_WORDS[name])}”" if _CODED.search(name) else name


def _design(name: str, gettext: Any) -> str:
    """Return the words of a way of sampling that is written as a column has it."""
    return f"“{gettext(DESIGN_WORDS[name])}”" if "_" in name else name
