"""
GPX 1.1: waypoints and tracks of a position receiver.

Positions are WGS 84, times UTC (GPX 1.1 schema). XML is read by defusedxml, which refuses entities.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

NAMESPACES = ("http://www.topografix.com/GPX/1/1", "http://www.topografix.com/GPX/1/0")
EARTH_RADIUS_M = 6371008.8
"""Mean radius of the earth, for lengths on a sphere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GpxPoint:
    """
    A waypoint or a point of a track.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
    text : str
        Both as written in the file.
    precision_deg : float
        One step of the last digit written, the coarser of the two.
    name : str
        Empty where it has none.
    time : str
        ISO 8601 as written; empty where it has none.
    """

    latitude_deg: float
    longitude_deg: float
    text: str
    precision_deg: float
    name: str = ""
    time: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gpx:
    """Waypoints, and the segments of all tracks."""

    waypoints: tuple[GpxPoint, ...]
    segments: tuple[tuple[GpxPoint, ...], ...]


def read_gpx(data: bytes, name: str) -> Gpx:
    """
    Read a GPX file.

    Parameters
    ----------
    data : bytes
    name : str
        For messages.

    Raises
    ------
    InputError
        ``gpx-unreadable``, ``gpx-no-position``.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root = fromstring(data)
    except (ParseError, DefusedXmlException, ValueError) as error:
        raise InputError(
            "gpx-unreadable",
            f"{name}: cannot be read as GPX ({type(error).__name__}: {error}).",
            "Export it from the receiver once more.",
        ) from error
    space = root.tag.partition("}")[0].lstrip("{")
    if space not in NAMESPACES or root.tag.rpartition("}")[2] != "gpx":
        raise InputError(
            "gpx-unreadable",
            f"{name}: is no GPX file (its first element is {root.tag}).",
            "Export it from the receiver as GPX.",
        )
    at = f"{{{space}}}"
    return Gpx(
        waypoints=tuple(_point(one, at, name) for one in root.findall(f"{at}wpt")),
        segments=tuple(
            tuple(_point(one, at, name) for one in segment.findall(f"{at}trkpt"))
            for segment in root.findall(f"{at}trk/{at}trkseg")
        ),
    )


def _point(element: Element, at: str, file: str) -> GpxPoint:
    """Read a point; one without a position that can be is a fault."""
    name = (element.findtext(f"{at}name") or "").strip()
    lat, lon = element.get("lat", ""), element.get("lon", "")
    try:
        latitude, longitude = float(lat), float(lon)
        is_there = abs(latitude) <= 90 and abs(longitude) <= 180
    except ValueError:
        is_there = False
    if not is_there:
        raise InputError(
            "gpx-no-position",
            f"{file}: the point {name!r} has no position that can be ({lat!r}, {lon!r}).",
            "Take it out of the file, or export it once more.",
        )
    places = min(len(text.partition(".")[2]) for text in (lat, lon))
    return GpxPoint(
        latitude_deg=latitude,
        longitude_deg=longitude,
        text=f"{lat}, {lon}",
        precision_deg=10.0**-places,
        name=name,
        time=(element.findtext(f"{at}time") or "").strip(),
    )


def great_circle_m(a: GpxPoint, b: GpxPoint) -> float:
    """Return the distance of two points on a sphere in metres (haversine)."""
    return distance_m((a.latitude_deg, a.longitude_deg), (b.latitude_deg, b.longitude_deg))


def distance_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """
    Return the distance of two positions, latitude and longitude in degrees, in metres.

    Notes
    -----
    Haversine on a sphere of the mean radius; along the ellipsoid it differs by up to 0.5 %.

    Examples
    --------
    >>> round(distance_m((-8.35, 115.51), (-8.3509, 115.51)), 2)
    100.08
    """
    lat_a, lon_a, lat_b, lon_b = (math.radians(x) for x in (*a, *b))
    h = (
        math.sin((lat_b - lat_a) / 2) ** 2
        + math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    )
    return 2 * EARTH_RADIUS_M * math.asin(min(1.0, math.sqrt(h)))


def position_at(
    segments: Sequence[Sequence[GpxPoint]], time: datetime
) -> tuple[float, float] | None:
    """
    Return latitude and longitude at a time, linear between two points of one segment.

    Parameters
    ----------
    segments : sequence of sequence of GpxPoint
    time : datetime
        With its offset from UTC.

    Returns
    -------
    tuple of float, or None
        None outside of every segment: nothing is guessed.
    """
    for segment in segments:
        timed = [(datetime.fromisoformat(p.time), p) for p in segment if p.time]
        for (t0, a), (t1, b) in itertools.pairwise(timed):
            if t0 <= time <= t1:
                share = 0.0 if t1 == t0 else (time - t0) / (t1 - t0)
                return (
                    a.latitude_deg + share * (b.latitude_deg - a.latitude_deg),
                    a.longitude_deg + share * (b.longitude_deg - a.longitude_deg),
                )
    return None
