"""How a unit was sampled, and what was noted in it: the same few words for every design."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal, get_args

Design = Literal[
    "line_intercept",
    "point_intercept",
    "belt",
    "quadrat_counts",
    "quadrat_cells",
    "photo_points",
    "timed_swim",
]
DESIGNS: tuple[Design, ...] = get_args(Design)
"""Ways to sample a unit, by the names of the trade."""

EdgeRule = Literal["centre_inside", "two_sides_in", "any_touching", "wholly_inside"]
EDGE_RULES: tuple[EdgeRule, ...] = get_args(EdgeRule)
"""
Which colonies count at the edge: those whose centre lies inside; those that touch two agreed sides
but not the other two; any that touches; only those wholly inside. The first two do not favour
large colonies, the third counts too many of them and the fourth too few (Zvuloni et al. 2008).
"""

PointRule = Literal["random", "stratified_random", "grid"]
POINT_RULES: tuple[PointRule, ...] = get_args(PointRule)
"""How the points on a photo are placed."""

RowKind = Literal["intercept", "point", "cell", "count", "colony", "none_seen"]
ROW_KINDS: dict[Design, tuple[RowKind, ...]] = {
    "line_intercept": ("intercept", "colony"),
    "point_intercept": ("point", "colony"),
    "belt": ("count", "colony", "none_seen"),
    "quadrat_counts": ("count", "colony", "none_seen"),
    "quadrat_cells": ("cell",),
    "photo_points": ("point",),
    "timed_swim": ("count", "colony", "none_seen"),
}
"""What may be noted in a unit of each design."""
COVER_KINDS: tuple[RowKind, ...] = ("intercept", "point", "cell")
"""Rows that say what lies on a part of the bottom; the others count."""

HEALTH = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct")
"""Shares of a colony's surface; where any is given, they make 100 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitDesign:
    """
    How one unit was sampled; None is "not stated", never zero.

    Parameters
    ----------
    design : str
        One of `DESIGNS`.
    is_permanent : bool
        The same place is sampled at each visit: its figures speak of these places only.
    length_m, width_m : float or None
        Of a tape, or of a belt.
    area_m2 : float or None
        Of a quadrat or of all of a unit's photos; for a belt length times width where empty.
    spacing_m : float or None
        Between the points along a tape; the first lies at one spacing.
    n_cells : int or None
        Cells of a quadrat.
    n_points : int or None
        Points on each photo.
    point_rule, seed : str or None, int or None
        How points on photos were placed.
    minutes : float or None
        Of a timed swim.
    edge_rule : str or None
        One of `EDGE_RULES`.
    searched : tuple of str
        Names that were looked for on purpose: only of these is "none seen" an absence.
    """

    design: Design
    is_permanent: bool = False
    length_m: float | None = None
    width_m: float | None = None
    area_m2: float | None = None
    spacing_m: float | None = None
    n_cells: int | None = None
    n_points: int | None = None
    point_rule: PointRule | None = None
    seed: int | None = None
    minutes: float | None = None
    edge_rule: EdgeRule | None = None
    searched: tuple[str, ...] = ()

    @property
    def searched_m2(self) -> float | None:
        """Area in which colonies were counted, in square metres; None where not stated."""
        if self.area_m2 is not None:
            return self.area_m2
        if self.design == "belt" and self.length_m is not None and self.width_m is not None:
            return self.length_m * self.width_m
        return None

    @property
    def n_points_expected(self) -> int | None:
        """Points along a tape, where length and spacing tell."""
        if self.design != "point_intercept" or not self.length_m or not self.spacing_m:
            return None
        return int(self.length_m / self.spacing_m + 1e-9)

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {**found, "searched": list(self.searched)}


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyRow:
    """
    One thing noted in a unit; None is "not noted", never zero.

    Parameters
    ----------
    kind : str
        ``intercept`` (a stretch of tape), ``point``, ``cell`` (of a quadrat), ``count`` (several
        alike), ``colony`` (one coral) or ``none_seen``.
    category : str
        A benthic category of the project's list.
    name : str
        Name as recorded; empty where the category says all.
    growth_form : str or None
        As seen; never taken from the name.
    from_m, to_m : float or None
        Where on the tape a stretch begins and ends.
    at_m : float or None
        Where on the tape a point or a colony lies.
    photo_id, x_px, y_px : str or None, float or None, float or None
        A point on a photo.
    cell : int or None
        Which cell, from 1.
    cover_pct : float or None
        Share of a cell.
    n : int or None
        How many; a blank is not a zero.
    longest_cm, across_cm : float or None
        Longest diameter of a colony, and the widest at right angles to it.
    across_line_m : float or None
        How far a colony reaches across the direction of the tape: density from a line needs it.
    normal_pct, pale_pct, bleached_pct, recently_dead_pct, old_dead_pct : float or None
    lesion : str
        In plain words.
    unreadable : str
        Why a point or cell could not be read; it then leaves the denominator.
    note : str
    place : str
        Where it was written: a file and row, a sheet and cell.
    tag : str
        What the tag of a tagged colony says; empty where it bears none.
    """

    kind: RowKind
    category: str = ""
    name: str = ""
    growth_form: str | None = None
    from_m: float | None = None
    to_m: float | None = None
    at_m: float | None = None
    photo_id: str | None = None
    x_px: float | None = None
    y_px: float | None = None
    cell: int | None = None
    cover_pct: float | None = None
    n: int | None = None
    longest_cm: float | None = None
    across_cm: float | None = None
    across_line_m: float | None = None
    normal_pct: float | None = None
    pale_pct: float | None = None
    bleached_pct: float | None = None
    recently_dead_pct: float | None = None
    old_dead_pct: float | None = None
    lesion: str = ""
    unreadable: str = ""
    note: str = ""
    place: str = ""
    tag: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {field.name: getattr(self, field.name) for field in fields(self)}
