"""
UDDF 3: the depth of a dive over time, from a log in the open exchange format for dives.

Every waypoint says its depth in metres and its time into the dive in seconds; between waypoints
both vary in a straight line (UDDF 3.2, element waypoint). XML is read by defusedxml, which refuses
entities. Nothing else of a dive is read.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from dryslate.base.errors import FormatError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

ZERO_C_K = 273.15
DEEPEST_M = 400.0
"""A depth beyond it is taken for a slip, as in tables of depths."""
LONGEST_S = 86400.0
"""A time into a dive beyond a day is taken for a slip too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waypoint:
    """
    A point of a dive's profile.

    Parameters
    ----------
    dive_s, depth_m : float
        Seconds since the start, and depth.
    temperature_c : float or None
    """

    dive_s: float
    depth_m: float
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DiveProfile:
    """
    Depth over time of one dive.

    Parameters
    ----------
    start : datetime
        As written, with an offset from UTC where the file has one.
    waypoints : tuple of Waypoint
        In the order of time.
    """

    start: datetime
    waypoints: tuple[Waypoint, ...]

    def depth_at(self, when: datetime) -> float | None:
        """
        Return the depth at a time, by a straight line between waypoints.

        Parameters
        ----------
        when : datetime
            With an offset where `start` has one.

        Returns
        -------
        float or None
            None before the first waypoint and after the last: nothing is guessed.
        """
        return self.depth_after((when - self.start).total_seconds())

    def depth_after(self, dive_s: float) -> float | None:
        """Return the depth so many seconds into the dive, as `depth_at` does."""
        times = [one.dive_s for one in self.waypoints]
        if not times[0] <= dive_s <= times[-1]:
            return None
        after = min(max(bisect_right(times, dive_s), 1), len(times) - 1)
        a, b = self.waypoints[max(after - 1, 0)], self.waypoints[after]
        share = (dive_s - a.dive_s) / (b.dive_s - a.dive_s) if b.dive_s > a.dive_s else 1.0
        return a.depth_m + share * (b.depth_m - a.depth_m)


def read_uddf(data: bytes, name: str) -> tuple[DiveProfile, ...]:
    """
    Read the profiles of all dives of a UDDF file.

    Parameters
    ----------
    data : bytes
    name : str
        For messages.

    Returns
    -------
    tuple of DiveProfile
        Of the dives that have waypoints.

    Raises
    ------
    FormatError
        ``depths-unreadable`` if it is no UDDF, no dive has waypoints, or a dive has no start, or a
        waypoint no depth or time that can be.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root = fromstring(data)
    except (ParseError, DefusedXmlException, ValueError) as error:
        raise _unreadable(name, f"cannot be read ({type(error).__name__}: {error})") from error
    if root.tag.rpartition("}")[2] != "uddf":
        raise _unreadable(name, f"is no UDDF (its first element is {root.tag})")
    dives = root.findall("{*}profiledata/{*}repetitiongroup/{*}dive")
    found = [
        _profile(dive, f"{name}, dive {number}")
        for number, dive in enumerate(dives, 1)
        if dive.find("{*}samples/{*}waypoint") is not None
    ]
    if not found:
        raise _unreadable(name, "no dive in it has waypoints")
    return tuple(found)


def sampled(profile: DiveProfile, step_s: float = 30.0) -> list[tuple[datetime, float]]:
    """
    Return times and depths of a dive, its waypoints and points between that lie near together.

    Parameters
    ----------
    profile : DiveProfile
    step_s : float
        Farthest that two may lie apart.

    Returns
    -------
    list of (datetime, float)
        Clock times as the file has them, without the offset.
    """
    times = {one.dive_s for one in profile.waypoints}
    first, last = min(times), max(times)
    times |= {first + k * step_s for k in range(int((last - first) / step_s) + 1)}
    start = profile.start.replace(tzinfo=None)
    found = ((start + timedelta(seconds=t), profile.depth_after(t)) for t in sorted(times))
    return [(when, depth) for when, depth in found if depth is not None]


def _profile(dive: Element, place: str) -> DiveProfile:
    """Read one dive."""
    written = (dive.findtext("{*}informationbeforedive/{*}datetime") or "").strip()
    try:
        start = datetime.fromisoformat(written)
    except ValueError:
        raise _unreadable(place, f"its start {written!r} is not a date and time") from None
    points = [
        Waypoint(
            dive_s=_number(one, "divetime", f"{place}, waypoint {k}", LONGEST_S),
            depth_m=_number(one, "depth", f"{place}, waypoint {k}", DEEPEST_M),
            temperature_c=None
            if one.find("{*}temperature") is None
            else _number(one, "temperature", f"{place}, waypoint {k}", math.inf) - ZERO_C_K,
        )
        for k, one in enumerate(dive.findall("{*}samples/{*}waypoint"), 1)
    ]
    return DiveProfile(start=start, waypoints=tuple(sorted(points, key=lambda one: one.dive_s)))


def _number(element: Element, what: str, place: str, most: float) -> float:
    """Read a number of 0 or more."""
    text = (element.findtext(f"{{*}}{what}") or "").strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (0 <= value <= most and math.isfinite(value)):
        raise _unreadable(place, f"{what} {text!r} cannot be")
    return value


def _unreadable(place: str, what: str) -> FormatError:
    """Return the error for a log that cannot be used."""
    return FormatError(
        "depths-unreadable",
        f"{place}: {what}.",
        "Export the dive once more as UDDF, or write a table of time and depth_m.",
    )
