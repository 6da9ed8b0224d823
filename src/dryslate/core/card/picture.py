"""Drawing a card: which material lies where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import Box, CardDefinition, Marker, ScaleBar
from dryslate.core.card.markers import marker_cells, rim_mm

OFF_CARD = -1
"""Label of pixels beyond the card's rounded corners."""

INK_LAB = (17.0, 0.0, 0.0)
PAPER_LAB = (94.0, 0.0, 0.0)
STRIP_LAB = (84.0, 0.0, 0.0)
HOLE_LAB = (9.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """
    A uniform material on the card.

    Parameters
    ----------
    name : str
        ``"ground"``, ``"patch:ID"``, ``"ink"``, ``"paper"``, ``"strip"``, ``"thumb"`` or
        ``"hole"``.
    lab_d65 : tuple of float
        Its colour.
    """

    name: str
    lab_d65: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardLabels:
    """
    A card drawn as materials.

    Parameters
    ----------
    labels : ndarray of int16, shape (h, w)
        Index into `materials`; `OFF_CARD` beyond the rounded corners.
    materials : tuple of Material
    px_per_mm : float
        Scale that was asked for; the picture's edges are the card's edges.
    """

    labels: NDArray[np.int16]
    materials: tuple[Material, ...]
    px_per_mm: float


def _paint(labels: NDArray[np.int16], index: int, box: Box, px_per_mm: float) -> None:
    """Fill the pixels whose centres lie inside the box."""
    x0, x1 = (round((box.x_mm + d) * px_per_mm) for d in (0.0, box.width_mm))
    y0, y1 = (round((box.y_mm + d) * px_per_mm) for d in (0.0, box.height_mm))
    labels[max(y0, 0) : max(y1, y0 + 1), max(x0, 0) : max(x1, x0 + 1)] = index


def _draw_marker(
    labels: NDArray[np.int16], marker: Marker, ink: int, paper: int, px_per_mm: float
) -> None:
    """Paint the white rim and the black and white cells."""
    rim = rim_mm(marker)
    side = marker.side_mm + 2 * rim
    _paint(
        labels,
        paper,
        Box(x_mm=marker.x_mm - rim, y_mm=marker.y_mm - rim, width_mm=side, height_mm=side),
        px_per_mm,
    )
    cells = np.rot90(marker_cells(marker.dictionary, marker.marker_id), -(marker.turn_deg // 90))
    n = cells.shape[0]
    edges_x = np.round((marker.x_mm + np.arange(n + 1) * marker.side_mm / n) * px_per_mm)
    edges_y = np.round((marker.y_mm + np.arange(n + 1) * marker.side_mm / n) * px_per_mm)
    for row in range(n):
        rows = slice(int(edges_y[row]), int(edges_y[row + 1]))
        for col in range(n):
            cols = slice(int(edges_x[col]), int(edges_x[col + 1]))
            labels[rows, cols] = paper if cells[row, col] else ink


def scale_ticks(bar: ScaleBar) -> tuple[Box, ...]:
    """
    Return the printed lines of a millimetre scale.

    Parameters
    ----------
    bar : ScaleBar

    Returns
    -------
    tuple of Box
        The base line, then one tick a millimetre, the fifth and tenth longer; each tick is
        centred on its millimetre, except that none passes the ends of the bar.

    Examples
    --------
    >>> bar = ScaleBar(x_mm=10.0, y_mm=98.0, length_mm=20.0, height_mm=4.0)
    >>> len(scale_ticks(bar))
    22
    """
    line = min(0.25, bar.height_mm * 0.06)
    boxes = [
        Box(
            x_mm=bar.x_mm - line / 2,
            y_mm=bar.y_mm,
            width_mm=bar.length_mm + line,
            height_mm=line,
        )
    ]
    for k in range(int(bar.length_mm + 1e-9) + 1):
        share = 1.0 if k % 10 == 0 else 0.75 if k % 5 == 0 else 0.5
        high = bar.height_mm * share
        boxes.append(
            Box(
                x_mm=bar.x_mm + k - line / 2,
                y_mm=bar.y_mm - high,
                width_mm=line,
                height_mm=high,
            )
        )
    return tuple(boxes)


def _cut_corners(labels: NDArray[np.int16], radius_mm: float, px_per_mm: float) -> None:
    """Mark what lies beyond the rounded corners."""
    h, w = labels.shape
    r = radius_mm * px_per_mm
    n = min(int(np.ceil(r)), h, w)
    d = r - (np.arange(n) + 0.5)
    beyond = d[:, None] ** 2 + d[None, :] ** 2 > r * r
    for rows, cols, mask in (
        (slice(0, n), slice(0, n), beyond),
        (slice(0, n), slice(w - n, w), beyond[:, ::-1]),
        (slice(h - n, h), slice(0, n), beyond[::-1]),
        (slice(h - n, h), slice(w - n, w), beyond[::-1, ::-1]),
    ):
        labels[rows, cols][mask] = OFF_CARD


def draw_labels(card: CardDefinition, px_per_mm: float) -> CardLabels:
    """
    Draw which material lies where on a card.

    Parameters
    ----------
    card : CardDefinition
    px_per_mm : float
        Scale of the drawing; more than 0. Edges are rounded to whole pixels: even whole numbers
        put every marker edge of the large and the field card exactly on a pixel edge, whole
        multiples of ten those of the stick.

    Returns
    -------
    CardLabels
        The pixel in row i and column j covers the point ((j + 0.5) / s, (i + 0.5) / s) mm.

    Raises
    ------
    ValueError
        If the scale is not positive.

    Examples
    --------
    >>> from dryslate.core.card.definition import Patch
    >>> grey = Patch(patch_id="g", x_mm=2, y_mm=2, width_mm=4, height_mm=4, role="neutral",
    ...              lab_d65=(50, 0, 0))
    >>> card = CardDefinition(name="c", title="c", width_mm=10, height_mm=8,
    ...                       ground_lab_d65=(56, 0, 0), markers=(), patches=(grey,))
    >>> drawn = draw_labels(card, 2.0)
    >>> drawn.labels.shape, drawn.materials[drawn.labels[8, 8]].name
    ((16, 20), 'patch:g')
    """
    if not px_per_mm > 0:
        raise ValueError(f"expected px_per_mm above 0, got {px_per_mm}")
    materials = [
        Material(name="ground", lab_d65=card.ground_lab_d65),
        Material(name="ink", lab_d65=INK_LAB),
        Material(name="paper", lab_d65=PAPER_LAB),
        Material(name="strip", lab_d65=STRIP_LAB),
        Material(name="thumb", lab_d65=card.ground_lab_d65),
        Material(name="hole", lab_d65=HOLE_LAB),
    ]
    shape = (
        max(round(card.height_mm * px_per_mm), 1),
        max(round(card.width_mm * px_per_mm), 1),
    )
    labels = np.zeros(shape, dtype=np.int16)
    if card.thumb_zone is not None:
        _paint(labels, 4, card.thumb_zone, px_per_mm)
    if card.pencil_strip is not None:
        _paint(labels, 3, card.pencil_strip, px_per_mm)
    for patch in card.patches:
        box = Box(
            x_mm=patch.x_mm, y_mm=patch.y_mm, width_mm=patch.width_mm, height_mm=patch.height_mm
        )
        _paint(labels, len(materials), box, px_per_mm)
        materials.append(Material(name=f"patch:{patch.patch_id}", lab_d65=patch.lab_d65))
    if card.scale_bar is not None:
        for tick in scale_ticks(card.scale_bar):
            _paint(labels, 1, tick, px_per_mm)
    for marker in card.markers:
        _draw_marker(labels, marker, 1, 2, px_per_mm)
    if card.lanyard_hole is not None:
        x, y, diameter = card.lanyard_hole
        ys, xs = np.ogrid[: shape[0], : shape[1]]
        away = np.hypot((xs + 0.5) / px_per_mm - x, (ys + 0.5) / px_per_mm - y)
        labels[away < diameter / 2] = 5
    if card.corner_radius_mm > 0:
        _cut_corners(labels, card.corner_radius_mm, px_per_mm)
    return CardLabels(labels=labels, materials=tuple(materials), px_per_mm=px_per_mm)
