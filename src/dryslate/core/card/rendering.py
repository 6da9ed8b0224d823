"""A picture of a card in sRGB, edge to edge, its edges true to a fraction of a pixel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import Box, CardDefinition, Marker
from dryslate.core.card.markers import marker_cells, rim_mm
from dryslate.core.card.picture import (
    HOLE_LAB,
    INK_LAB,
    PAPER_LAB,
    STRIP_LAB,
    scale_ticks,
)

FloatArray = NDArray[np.float64]
Lab = tuple[float, float, float]

_BAND_PX = 128
"""Rows that are drawn at a time, so that memory holds no large picture in floating point."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """Cells between lines at the given millimetres; those that are set carry the colour."""

    x_mm: FloatArray
    y_mm: FloatArray
    is_set: FloatArray


def render_picture(card: CardDefinition, px_per_mm: float) -> NDArray[np.uint8]:
    """
    Draw a card in sRGB, edge to edge.

    Parameters
    ----------
    card : CardDefinition
    px_per_mm : float
        Scale of the picture; more than 0.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        Width and height are the card's, rounded to whole pixels, and the card fills them. A pixel
        that an edge crosses holds both colours by their shares, mixed in linear light. Rounded
        corners are filled with the ground (bleed for trimming); colours beyond sRGB are clipped
        channel by channel.

    Raises
    ------
    ValueError
        If the scale is not positive.

    Examples
    --------
    >>> card = CardDefinition(name="c", title="c", width_mm=10, height_mm=8,
    ...                       ground_lab_d65=(100, 0, 0), markers=(), patches=())
    >>> render_picture(card, 3.0).shape
    (24, 30, 3)
    """
    if not px_per_mm > 0:
        raise ValueError(f"expected px_per_mm above 0, got {px_per_mm}")
    height = max(round(card.height_mm * px_per_mm), 1)
    width = max(round(card.width_mm * px_per_mm), 1)
    scale = (width / card.width_mm, height / card.height_mm)
    layers = [(_lab_to_linear(lab), grids) for lab, grids in _layers(card)]
    picture = np.empty((height, width, 3), dtype=np.uint8)
    for top in range(0, height, _BAND_PX):
        rows = (top, min(top + _BAND_PX, height))
        band = np.empty((rows[1] - rows[0], width, 3))
        band[:] = _lab_to_linear(card.ground_lab_d65)
        for colour, grids in layers:
            _lay(band, rows, (colour, grids), scale)
        _punch(band, rows, card, scale)
        picture[rows[0] : rows[1]] = np.round(255.0 * _encode(band)).astype(np.uint8)
    return picture


def _layers(card: CardDefinition) -> Iterator[tuple[Lab, list[_Grid]]]:
    """Yield what lies on the ground, the lowest first."""
    if card.pencil_strip is not None:
        yield STRIP_LAB, [_box(card.pencil_strip)]
    for patch in card.patches:
        box = Box(
            x_mm=patch.x_mm, y_mm=patch.y_mm, width_mm=patch.width_mm, height_mm=patch.height_mm
        )
        yield patch.lab_d65, [_box(box)]
    if card.scale_bar is not None:
        yield INK_LAB, [_box(tick) for tick in scale_ticks(card.scale_bar)]
    for marker in card.markers:
        rim = rim_mm(marker)
        side = marker.side_mm + 2 * rim
        around = Box(x_mm=marker.x_mm - rim, y_mm=marker.y_mm - rim, width_mm=side, height_mm=side)
        yield PAPER_LAB, [_box(around)]
        yield INK_LAB, [_ink_of(marker)]


def _box(box: Box) -> _Grid:
    """Return a box as a grid of one cell."""
    return _Grid(
        x_mm=np.array([box.x_mm, box.x_mm + box.width_mm]),
        y_mm=np.array([box.y_mm, box.y_mm + box.height_mm]),
        is_set=np.ones((1, 1)),
    )


def _ink_of(marker: Marker) -> _Grid:
    """Return the black cells of a marker."""
    cells = np.rot90(marker_cells(marker.dictionary, marker.marker_id), -(marker.turn_deg // 90))
    lines = np.arange(cells.shape[0] + 1) * marker.side_mm / cells.shape[0]
    return _Grid(
        x_mm=marker.x_mm + lines,
        y_mm=marker.y_mm + lines,
        is_set=(~cells.astype(bool)).astype(np.float64),
    )


def _shares(lines_mm: FloatArray, scale: float, within: tuple[int, int]) -> tuple[int, FloatArray]:
    """Share of each pixel between each two lines: the first pixel touched, and pixels by cells."""
    edges = np.clip(lines_mm * scale, *within)
    first, last = int(np.floor(edges[0])), int(np.ceil(edges[-1]))
    pixels = np.arange(first, last)[:, None]
    return first, np.maximum(
        np.minimum(pixels + 1.0, edges[None, 1:]) - np.maximum(pixels, edges[None, :-1]), 0.0
    )


def _lay(
    band: FloatArray,
    rows: tuple[int, int],
    layer: tuple[FloatArray, list[_Grid]],
    scale: tuple[float, float],
) -> None:
    """Lay one colour over what is there; its grids touch each other but do not overlap."""
    colour, grids = layer
    cover = None
    for grid in grids:
        top, down = _shares(grid.y_mm, scale[1], rows)
        left, across = _shares(grid.x_mm, scale[0], (0, band.shape[1]))
        if down.shape[0] == 0 or across.shape[0] == 0:
            continue
        if cover is None:
            cover = np.zeros(band.shape[:2])
        place = np.s_[top - rows[0] : top - rows[0] + len(down), left : left + len(across)]
        cover[place] += down @ grid.is_set @ across.T
    if cover is None:
        return
    touched = cover.nonzero()
    share = np.minimum(cover[touched], 1.0)[:, None]
    band[touched] = band[touched] * (1.0 - share) + colour * share


def _punch(
    band: FloatArray, rows: tuple[int, int], card: CardDefinition, scale: tuple[float, float]
) -> None:
    """Draw the hole for the lanyard."""
    if card.lanyard_hole is None:
        return
    x, y, diameter = card.lanyard_hole
    size = float(np.sqrt(scale[0] * scale[1]))
    ys, xs = np.ogrid[rows[0] : rows[1], : band.shape[1]]
    away = np.hypot((xs + 0.5) / scale[0] - x, (ys + 0.5) / scale[1] - y)
    share = np.clip((diameter / 2 - away) * size + 0.5, 0.0, 1.0)
    touched = share.nonzero()
    part = share[touched][:, None]
    band[touched] = band[touched] * (1.0 - part) + _lab_to_linear(HOLE_LAB) * part


def _lab_to_linear(lab: Lab) -> FloatArray:
    """CIELAB D65 to linear sRGB, clipped to 0 to 1 (IEC 61966-2-1)."""
    fy = (lab[0] + 16.0) / 116.0
    f = np.array([fy + lab[1] / 500.0, fy, fy - lab[2] / 200.0])
    ratio = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    xyz = ratio * (0.95047, 1.0, 1.08883)
    matrix = np.array(
        [
            [3.2404542, -1.5371385, -0.4985314],
            [-0.9692660, 1.8760108, 0.0415560],
            [0.0556434, -0.2040259, 1.0572252],
        ]
    )
    return np.clip(matrix @ xyz, 0.0, 1.0)


def _encode(linear: FloatArray) -> FloatArray:
    """Linear sRGB to coded sRGB."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
