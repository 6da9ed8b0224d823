"""Where a tagged colony stands, seen from above, as far as bearings and distances were taken."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony

REACH = 3.0
"""A mark farther than so many times the farthest neighbour is drawn at the edge: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SketchMark:
    """
    Something beside a colony.

    Parameters
    ----------
    number : int
        From 1; how the drawing calls it.
    kind : {"from", "neighbour"}
        ``from``: what the colony's own bearing and distance were taken from.
    what : str
    bearing_deg, distance_m : float or None
        From the colony. None: not taken, and it has no place in the drawing.
    east, north : float or None
        Its place as a share of the drawing's half width, the colony at 0.
    is_beyond : bool
        Drawn at the edge; it lies farther that way.
    from_there_deg : float or None
        The bearing as it was taken, from the mark to the colony; None of a neighbour.
    """

    number: int
    kind: Literal["from", "neighbour"]
    what: str
    bearing_deg: float | None
    distance_m: float | None
    east: float | None = None
    north: float | None = None
    is_beyond: bool = False
    from_there_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationSketch:
    """
    A colony and what stands around it.

    Parameters
    ----------
    marks : tuple of SketchMark
    half_m : float
        Metres from the colony to the edge.
    bar_m : float
        Length of the scale bar.
    """

    marks: tuple[SketchMark, ...]
    half_m: float
    bar_m: float

    @property
    def is_drawn(self) -> bool:
        """Whether anything has a place in the drawing."""
        return any(mark.east is not None for mark in self.marks)


def location_sketch(colony: Colony) -> LocationSketch:
    """
    Put together what is stored of a colony's place.

    Parameters
    ----------
    colony : Colony

    Returns
    -------
    LocationSketch
        North is up, as the bearings were read.

    Examples
    --------
    >>> from dryslate.app.colony_records import Colony, Neighbour
    >>> found = location_sketch(
    ...     Colony(
    ...         organism_id="o", site="s", label="17", first_visit_id="v", why_tagged="random",
    ...         observer="x", tagged_at="t", from_what="stake", bearing_deg=90.0, distance_m=2.0,
    ...         neighbours=(Neighbour(what="18", bearing_deg=0.0, distance_m=1.0),),
    ...     )
    ... )
    >>> [(m.what, round(m.east, 2) + 0, round(m.north, 2) + 0) for m in found.marks]
    [('stake', -1.0, 0.0), ('18', 0.0, 0.5)]
    >>> [m.from_there_deg for m in found.marks]
    [90.0, None]
    """
    marks = []
    if colony.from_what or colony.distance_m or colony.bearing_deg is not None:
        back = None if colony.bearing_deg is None else (colony.bearing_deg + 180.0) % 360.0
        marks.append(("from", colony.from_what, back, colony.distance_m))
    marks += [("neighbour", n.what, n.bearing_deg, n.distance_m) for n in colony.neighbours]
    placed = [(kind, far) for kind, _, at, far in marks if at is not None and far is not None]
    near = max((far for kind, far in placed if kind == "neighbour"), default=0.0)
    half_m = max((far for _, far in placed if not near or far <= REACH * near), default=1.0)
    half_m = half_m or 1.0
    return LocationSketch(
        marks=tuple(
            replace(mark, from_there_deg=colony.bearing_deg) if mark.kind == "from" else mark
            for mark in (_mark(number, one, half_m) for number, one in enumerate(marks, start=1))
        ),
        half_m=half_m,
        bar_m=_round_length(half_m),
    )


def _mark(
    number: int, one: tuple[str, str, float | None, float | None], half_m: float
) -> SketchMark:
    """Give a mark its place."""
    kind, what, bearing, far = one
    east = north = None
    if bearing is not None and far is not None:
        share, turn = min(far / half_m, 1.0), math.radians(bearing)
        east, north = share * math.sin(turn), share * math.cos(turn)
    return SketchMark(
        number=number,
        kind=kind,  # type: ignore[arg-type]  # one of two words, written above
        what=what,
        bearing_deg=bearing,
        distance_m=far,
        east=east,
        north=north,
        is_beyond=far is not None and far > half_m,
    )


def _round_length(half_m: float) -> float:
    """Return 1, 2 or 5 times a power of ten that fits into half the drawing."""
    power = 10.0 ** math.floor(math.log10(half_m))
    return max(step * power for step in (0.5, 1.0, 2.0, 5.0) if step * power <= half_m)
