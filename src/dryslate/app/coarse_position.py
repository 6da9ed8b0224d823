"""Positions as they may leave the project: those of sensitive sites to a grid only."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.publication_records import SitePlace, UnitPlace

METRES_PER_DEGREE = 111_320.0
"""Of latitude, and of longitude at the equator (rounded up)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedPosition:
    """
    A position as it is exported.

    Parameters
    ----------
    latitude, longitude : str
        In degrees, with as many digits as were known; empty: none.
    latitude_deg, longitude_deg : float or None
    uncertainty_m, precision_deg : str
        Empty where not stated.
    generalised, withheld : str
        What was done and what is left out, in words; empty: nothing.
    """

    latitude: str = ""
    longitude: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    uncertainty_m: str = ""
    precision_deg: str = ""
    generalised: str = ""
    withheld: str = ""


def shared_position(site: SitePlace | None, unit: UnitPlace | None = None) -> SharedPosition:
    """
    Return the position of a site, or of a unit of it, as it may be exported.

    Parameters
    ----------
    site : SitePlace or None
    unit : UnitPlace, optional
        Where the unit has a position of its own.

    Returns
    -------
    SharedPosition
        Of a sensitive site: the middle of the cell of the grid that it lies in, with a radius that
        holds the whole cell beside the site's own; a unit's own position changes nothing then,
        for several positions in one cell would tell more than one.
    """
    grid = site.grid_deg if site is not None else None
    place = site if grid is not None or unit is None else unit
    if place is None or place.latitude_deg is None or place.longitude_deg is None:
        return SharedPosition()
    if grid is None:
        return SharedPosition(
            latitude=degrees(place.latitude_deg, place.precision_deg),
            longitude=degrees(place.longitude_deg, place.precision_deg),
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            uncertainty_m="" if place.uncertainty_m is None else f"{place.uncertainty_m:g}",
            precision_deg="" if place.precision_deg is None else f"{place.precision_deg:.3g}",
        )
    lat = _middle(place.latitude_deg, grid, 90.0)
    lon = _middle(place.longitude_deg, grid, 180.0)
    narrow = math.cos(math.radians(max(0.0, abs(lat) - grid / 2)))
    radius = math.hypot(grid / 2, grid / 2 * narrow) * METRES_PER_DEGREE
    radius += place.uncertainty_m or 0.0
    return SharedPosition(
        latitude=degrees(lat, grid / 10),
        longitude=degrees(lon, grid / 10),
        latitude_deg=lat,
        longitude_deg=lon,
        uncertainty_m=f"{math.ceil(radius)}",
        precision_deg=f"{grid:g}",
        generalised=f"Position coarsened to the middle of a cell of a {grid:g} degree grid.",
        withheld="The exact position is withheld: sensitive site.",
    )


def _middle(value: float, grid: float, limit: float) -> float:
    """Return the middle of the cell that holds a value, on the globe."""
    middle = (math.floor(value / grid + 1e-9) + 0.5) * grid
    return max(-limit, min(limit, middle))


def degrees(value: float, precision: float | None) -> str:
    """
    Write degrees with the digits that were known.

    Examples
    --------
    >>> degrees(-8.35, 0.1 / 60), degrees(-8.5, 1.0), degrees(115.51, None)
    ('-8.3500', '-8.5', '115.51')
    """
    if precision is None or precision <= 0:
        return repr(round(value, 7))
    places = min(7, max(1, math.ceil(-math.log10(precision) + 0.5)))
    return f"{value:.{places}f}"
