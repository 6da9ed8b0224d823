"""Cells of each kind of sheet: the columns of a table of records, in the order of writing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dryslate.core.sheet.page import CellKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of cells: its field, kind and share of the width."""

    field: str
    kind: CellKind
    share: float
    value: str = ""


Tier = tuple[Column, ...]
Tiers = tuple[Tier, ...]
"""One row of the table, written on one line or on two."""


def _text(field: str, share: float) -> Column:
    return Column(field=field, kind="text", share=share)


def _number(field: str, share: float) -> Column:
    return Column(field=field, kind="number", share=share)


def _tick(field: str, value: str, share: float) -> Column:
    return Column(field=field, kind="tick", share=share, value=value)


HEALTH_FIELDS = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct")
_HEALTH: Tier = (
    *(_number(field, 14) for field in HEALTH_FIELDS),
    _text("lesion", 32),
    _text("note", 32),
)
_NONE_SEEN = _tick("kind", "none_seen", 10)
_CORALS: Tiers = (
    (
        _NONE_SEEN,
        _text("category", 24),
        _text("name", 38),
        _text("growth_form", 22),
        _number("n", 12),
        _number("longest_cm", 14),
        _number("across_cm", 14),
    ),
    _HEALTH,
)
COUNTS: Tiers = (
    (
        _NONE_SEEN,
        _text("category", 28),
        _text("name", 42),
        _text("growth_form", 22),
        _number("n", 14),
        _text("note", 18),
    ),
)
"""Rows of corals that are counted only."""
COLONIES_UNDER_TAPE: Tiers = (
    (
        _number("at_m", 16),
        _text("name", 40),
        _text("growth_form", 22),
        _number("across_line_m", 20),
        _number("longest_cm", 18),
        _number("across_cm", 18),
    ),
    _HEALTH,
)
"""Colonies that the tape crosses; density needs how far each reaches across it."""
_COVER: Tier = (
    _text("category", 27),
    _text("name", 28),
    _text("growth_form", 20),
)
_WHY: Tier = (_text("unreadable", 17), _text("note", 14))

SHEET_KINDS: Mapping[str, Tiers] = {
    "line_intercept": ((_number("from_m", 14), _number("to_m", 14), *_COVER, *_WHY),),
    "point_intercept": ((_number("at_m", 16), *_COVER, *_WHY),),
    "belt": _CORALS,
    "quadrat_counts": _CORALS,
    "quadrat_cells": ((_number("cell", 13), *_COVER, _number("cover_pct", 14), *_WHY),),
    "photo_points": ((_text("photo", 44), _text("unreadable", 40), _text("note", 50)),),
    "timed_swim": _CORALS,
    "permanent_plot": _CORALS,
    "tagged_colony": (),
}
"""Rows of each kind of sheet."""

COUNTED = ("belt", "quadrat_counts", "timed_swim", "permanent_plot")
"""Kinds whose corals are counted, with boxes for what was looked for and not there."""
TAPED = ("line_intercept", "point_intercept")
"""Kinds that end with a page of the colonies under the tape."""

_WHO: Tiers = (
    (_text("site", 60), _text("zone", 30), _text("date", 44)),
    (_text("unit", 34), _text("observer", 50), _text("buddy", 50)),
    (
        _number("depth_m", 26),
        _number("time_in", 34),
        _number("time_out", 34),
        _number("utc_offset", 40),
    ),
)
_EDGE: Tier = tuple(
    _tick("edge_rule", value, 25)
    for value in ("centre_inside", "two_sides_in", "any_touching", "wholly_inside")
)
_PERMANENT: Tier = (_tick("is_permanent", "yes", 25), _tick("is_permanent", "no", 25))
_SEARCHED: Tier = (_text("searched", 80), _tick("none_seen", "all", 54))
_AREA: Tier = (_number("area_m2", 30), *_PERMANENT)

HEADS: Mapping[str, Tiers] = {
    "line_intercept": (*_WHO, (_number("length_m", 30), *_PERMANENT)),
    "point_intercept": (*_WHO, (_number("length_m", 30), _number("spacing_m", 30), *_PERMANENT)),
    "belt": (
        *_WHO,
        (_number("length_m", 30), _number("width_m", 30), *_PERMANENT),
        _EDGE,
        _SEARCHED,
    ),
    "quadrat_counts": (*_WHO, _AREA, _EDGE, _SEARCHED),
    "quadrat_cells": (*_WHO, (_number("area_m2", 30), _number("n_cells", 30), *_PERMANENT)),
    "photo_points": (
        *_WHO,
        (_number("area_m2", 30), *_PERMANENT, _text("unit_note", 54)),
        (
            _number("n_points", 26),
            *(_tick("point_rule", v, 24) for v in ("random", "stratified_random", "grid")),
            _number("seed", 36),
        ),
        (_number("camera_clock", 60), _number("true_clock", 60)),
    ),
    "timed_swim": (
        *_WHO,
        (_number("minutes", 26), *_PERMANENT, _text("unit_note", 58)),
        _SEARCHED,
    ),
    "permanent_plot": (
        *_WHO,
        (_number("area_m2", 30), *(_tick("marks_found", str(k), 22) for k in range(1, 5))),
        _EDGE,
        _SEARCHED,
    ),
    "tagged_colony": (
        (_text("site", 60), _text("zone", 30), _text("date", 44)),
        (_text("colony", 34), _text("observer", 50), _text("buddy", 50)),
        _WHO[2],
        (
            _text("name", 54),
            *(_tick("confidence", str(k), 16) for k in range(1, 6)),
        ),
        tuple(
            _tick("colony_found", value, 33) for value in ("found", "tag_lost", "not_found", "dead")
        ),
        (
            _number("longest_cm", 26),
            _number("across_cm", 26),
            _number("height_cm", 26),
            _text("unit_note", 56),
        ),
        (*(_number(field, 18) for field in HEALTH_FIELDS), _text("lesion", 44)),
    ),
}
"""Fields over the table on the first page of a unit."""

FURTHER_HEAD: Tier = (
    _text("site", 44),
    _text("date", 32),
    _text("unit", 24),
    _text("observer", 34),
)
"""The head of a further page."""
FURTHER_COLONY: Tier = (
    _text("site", 44),
    _text("date", 32),
    _text("colony", 24),
    _text("observer", 34),
)

SHOTS = ("whole", "close", "close_up")
"""Photos of a tagged colony, three frames each."""
N_FRAMES = 3
