"""Free pieces of a card's ground, and the light that lies over them."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from dryslate.core.card.definition import Box, CardDefinition
from dryslate.core.card.found import FloatArray
from dryslate.core.card.picture import draw_labels

DRAWN_PX = 640.0
N_PIECES = 16
LARGEST_OF_DIAGONAL = 0.035
SPREAD_OF_DIAGONAL = 0.13
SMALLEST_OF_DIAGONAL = 0.003

DARKEST_GROUND_L = 35.0
"""On darker ground glare and veil outweigh the light that it is to show."""


@lru_cache(maxsize=64)
def find_ground(card: CardDefinition) -> tuple[Box, ...]:
    """
    Find free squares of ground, spread over the card.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    tuple of Box
        At most 16, largest first; none on patches, printing, pencil strip or thumb zone, and none
        at all where the ground is too dark to show the light.

    Notes
    -----
    The roomiest place is taken first, then the roomiest at some distance from those taken.

    Examples
    --------
    >>> card = CardDefinition(name="c", title="c", width_mm=100, height_mm=60,
    ...                       ground_lab_d65=(56, 0, 0), markers=(), patches=())
    >>> len(find_ground(card)) >= 8
    True
    """
    if card.ground_lab_d65[0] < DARKEST_GROUND_L:
        return ()
    px_per_mm = DRAWN_PX / max(card.width_mm, card.height_mm)
    drawn = draw_labels(card, px_per_mm)
    free = np.pad((drawn.labels == 0).astype(np.uint8), 1)
    room = cv2.distanceTransform(free, cv2.DIST_C, 3)[1:-1, 1:-1].astype(np.float64)
    diagonal = float(np.hypot(card.width_mm, card.height_mm))
    ys, xs = np.ogrid[: room.shape[0], : room.shape[1]]
    boxes: list[Box] = []
    while len(boxes) < N_PIECES:
        row, col = np.unravel_index(int(np.argmax(room)), room.shape)
        half = (float(room[row, col]) - 0.5) / px_per_mm
        if half < SMALLEST_OF_DIAGONAL * diagonal:
            break
        half = min(half, LARGEST_OF_DIAGONAL * diagonal)
        x, y = (float(col) + 0.5) / px_per_mm, (float(row) + 0.5) / px_per_mm
        boxes.append(Box(x_mm=x - half, y_mm=y - half, width_mm=2 * half, height_mm=2 * half))
        apart = SPREAD_OF_DIAGONAL * diagonal * px_per_mm
        room = np.where(np.hypot(xs - float(col), ys - float(row)) < apart, 0.0, room)
    return tuple(boxes)


def fit_log_plane(xy_mm: FloatArray, values: FloatArray, size_mm: float) -> FloatArray:
    """
    Fit log values over the card by a plane that single bad points do not lead.

    Parameters
    ----------
    xy_mm : ndarray of float, shape (n, 2)
        Where the values were taken.
    values : ndarray of float, shape (n,)
        Above zero.
    size_mm : float
        The card's longer side.

    Returns
    -------
    ndarray of float, shape (3,)
        Log value at the origin, its slope along x and along y (per `size_mm`).

    Notes
    -----
    Iteratively reweighted least squares with Cauchy weights; with fewer than five points, their
    median and no slope.

    Examples
    --------
    >>> xy = np.array([(0.0, 0.0), (1, 0), (0, 1), (1, 1), (2, 1)])
    >>> round(float(fit_log_plane(xy, np.full(5, 0.2), 2.0)[0]), 3)
    -1.609
    """
    logs = np.log(np.maximum(values, 1e-6))
    if len(logs) < 5:
        return np.array([float(np.median(logs)) if len(logs) else 0.0, 0.0, 0.0])
    design = np.column_stack([np.ones(len(logs)), xy_mm / size_mm])
    weights = np.ones(len(logs))
    plane = np.zeros(3)
    residual = logs - np.median(logs)
    for _ in range(6):
        spread = float(np.median(np.abs(residual)) / 0.6745) + 0.01
        weights = 1.0 / (1.0 + (residual / (2.0 * spread)) ** 2)
        normal = (design * weights[:, None]).T @ design + 1e-6 * np.eye(3)
        plane = np.linalg.solve(normal, design.T @ (weights * logs))
        residual = logs - design @ plane
    return plane
