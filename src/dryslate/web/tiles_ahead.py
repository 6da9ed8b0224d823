"""Tiles that a browser is told to fetch before the script that asks for them has run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

BESIDE_PX, ABOVE_PX = 448, 165
"""Pixels of a window that the photo does not get: the desk beside it, head and bar."""
LEAST_WIDTH_PX = 901
"""Of windows that show the desk beside the photo."""
MOST_TILES = 12


@dataclass(frozen=True, slots=True)
class TilesAhead:
    """
    The whole photo, as windows of some sizes show it at first.

    Parameters
    ----------
    addresses : tuple of str
        The tiles of the level that is sharp there, and of those below it.
    media : str
        Media query of these windows; others do not fetch them.
    """

    addresses: tuple[str, ...]
    media: str


def tiles_ahead(view: Mapping[str, Any]) -> tuple[TilesAhead, ...]:
    """
    Return the tiles to be fetched ahead, by the windows that need them.

    Parameters
    ----------
    view : mapping
        What the viewer gets; see `dryslate.app.photo_page.PhotoSheet.for_viewer`.

    Notes
    -----
    A guess: where a window shows the photo a little smaller or larger, tiles that the viewer does
    not ask for are fetched in vain, or those that it asks for come a little later. Screens with
    more than one pixel a point are left to the viewer.
    """
    width, height, tile = view["width_px"], view["height_px"], view["tile_px"]
    variant = "corrected" if view["keys"]["corrected"] else "original"
    place = f"/photos/{view['photo_id']}/tiles/{variant}"
    found: list[TilesAhead] = []
    below: tuple[str, ...] = ()
    for level in reversed(range(view["n_levels"])):
        wide, high = ceil(width / 2**level), ceil(height / 2**level)
        columns, rows = ceil(wide / tile), ceil(high / tile)
        if columns * rows > MOST_TILES:
            break
        tiles = [f"{level}/{x}_{y}.jpg" for y in range(rows) for x in range(columns)]
        below += tuple(f"{place}/{one}?k={view['keys'][variant]}" for one in tiles)
        found.append(TilesAhead(addresses=below, media=_windows(wide, high)))
    return tuple(found)


def _windows(wide: int, high: int) -> str:
    """Write which windows show a photo of this size smaller, by less than half."""
    least_wide = max(LEAST_WIDTH_PX, ceil(wide / 2) + BESIDE_PX + 1)
    least = (
        f"(max-resolution: 1dppx) and (min-width: {least_wide}px) "
        f"and (min-height: {ceil(high / 2) + ABOVE_PX + 1}px)"
    )
    return (
        f"{least} and (max-width: {wide + BESIDE_PX}px), "
        f"{least} and (max-height: {high + ABOVE_PX}px)"
    )
