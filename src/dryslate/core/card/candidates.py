"""
Where small markers may lie: dark shapes of about the right size, with light and dark in them.

Reading every pixel of a large photo at full size costs many times its decoding. Shapes are cheap;
only the likeliest are then cut out, brought to one size, laid side by side and read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.channel import Channel
from dryslate.core.card.found import FloatArray
from dryslate.core.card.outlines import measure_looks, measure_spreads
from dryslate.core.card.reader import RawMarker, find_apriltags, find_aruco
from dryslate.core.card.shapes import trace_shapes

LEAST_SIDE_PX = 30
DARKER_BY = 6
MIN_SPREAD = 4.0
FILL, FILL_WIDTH = 0.45, 0.25
"""The black of a marker fills a quarter (turned) to two thirds of its box; holes and blobs more."""
SMALLEST_PX, LARGEST_PX = 8, 90
"""Sides of the shapes looked for, in pixels of their copy: from one pixel a cell up to cells that
are still narrower than the square whose mean they are compared with."""
N_OUTLINES = 4
"""So many outlines are looked at for each window that is read."""
QUAD_SHARE, QUAD_WIDTH = 0.95, 0.12
"""Whole pixels round the corners of small quads: from here on a shape counts as one."""
RIM_SIDES_PX, LEAST_RIM = (8, 12, 20, 40), (0.05, 0.15, 0.3, 0.65)
"""Sides of shapes, and how plain their rims must be for them to be read; small ones are blurred."""
TILE_PX = 64
WIDER = 1.7
"""A tile shows so many times the shape's own size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """
    A square piece of the photo to be read.

    Parameters
    ----------
    x_px, y_px : float
        Its centre, upright photo.
    side_px : float
        Its side.
    """

    x_px: float
    y_px: float
    side_px: float


def find_candidates(
    channel: Channel,
    level: int,
    n_most: int,
    is_wanted: Callable[[FloatArray, FloatArray], NDArray[np.bool_]],
    least_spread: float = MIN_SPREAD,
) -> list[Window]:
    """
    Find dark shapes that could be markers, likeliest first.

    Parameters
    ----------
    channel : Channel
    level : int
        Which halving to look at.
    n_most : int
        How many to return at most.
    is_wanted : callable
        Takes centres (n, 2) and the sides of the windows (n,), in pixels of the upright photo,
        and tells which are worth a look.
    least_spread : float
        Standard deviation of the values within a shape's box below which it is passed over.

    Returns
    -------
    list of Window

    Notes
    -----
    Pixels darker than the mean of their surrounding are joined into shapes; a shape counts if its
    box is near square and filled to a seventh at least. They are ranked by the spread of values
    within the box (nothing spreads more than black and white cells in equal parts), less when
    dark fills far more or less of the box than in a marker. The outlines of the first few are
    then looked at: those rank lower that four corners do not describe, and those are passed over
    that are not light outside and dark inside nearly all the way round.

    Examples
    --------
    >>> from dryslate.core.card.channel import split_channel
    >>> photo = np.full((160, 160, 3), 200, np.uint8)
    >>> photo[64:96, 64:96] = 20
    >>> photo[72:88, 72:88] = 200
    >>> def everywhere(centres, sides):
    ...     return np.ones(len(centres), dtype=bool)
    >>> [round(w.x_px) for w in find_candidates(split_channel(photo), 1, 5, everywhere)]
    [80]
    """
    if level >= len(channel.levels):
        return []
    grey = np.ascontiguousarray(channel.levels[level])
    if min(grey.shape) < LEAST_SIDE_PX:
        return []
    shapes = trace_shapes(grey, DARKER_BY, SMALLEST_PX, LARGEST_PX)
    boxes = shapes.boxes
    centres = boxes[:, :2] + (boxes[:, 2:4] - 1) / 2.0
    longer = boxes[:, 2:4].max(axis=1, initial=0)
    full, sides = channel.to_full(centres, level), longer * 2.0**level * WIDER
    keep = np.flatnonzero(is_wanted(full, sides)) if len(boxes) else np.zeros(0, np.intp)
    spread = measure_spreads(grey, boxes[keep])
    fill = boxes[keep, 4] / (boxes[keep, 2] * boxes[keep, 3])
    score = spread * np.exp(-(((fill - FILL) / FILL_WIDTH) ** 2))
    first = np.argsort(-score, kind="stable")
    first = first[spread[first] > least_spread][: n_most * N_OUTLINES]
    squareness, rim = measure_looks(grey, shapes, keep[first])
    away = QUAD_SHARE - np.minimum(squareness, QUAD_SHARE)
    likeness = score[first] * np.exp(-((away / QUAD_WIDTH) ** 2))
    likeness[rim < np.interp(longer[keep[first]], RIM_SIDES_PX, LEAST_RIM)] = 0.0
    order = np.argsort(-likeness, kind="stable")[:n_most]
    best = keep[first[order[likeness[order] > 0.0]]]
    return [
        Window(x_px=float(p[0]), y_px=float(p[1]), side_px=float(s))
        for p, s in zip(full[best], sides[best], strict=True)
    ]


def measure_spread(channel: Channel, level: int, corners_px: FloatArray) -> float:
    """
    Measure the contrast of a marker as that of candidates is measured.

    Parameters
    ----------
    channel : Channel
    level : int
        Which halving to look at.
    corners_px : ndarray of float, shape (4, 2)
        Upright photo.

    Returns
    -------
    float
        Standard deviation of values within the marker's box.

    Examples
    --------
    >>> from dryslate.core.card.channel import split_channel
    >>> photo = np.full((64, 64, 3), 100, np.uint8)
    >>> photo[:, 32:] = 140
    >>> square = np.array([(16.0, 16), (47, 16), (47, 47), (16, 47)])
    >>> measure_spread(split_channel(photo), 1, square)
    20.0
    """
    corners = channel.to_level(corners_px, level)
    low, high = corners.min(axis=0), corners.max(axis=0)
    box = np.concatenate([low, high - low + 1.0]).round().astype(np.int32)
    return float(measure_spreads(channel.levels[level], box[None])[0])


def read_windows(
    channel: Channel, windows: list[Window], dictionaries: tuple[str, ...], *, aruco: bool = False
) -> list[RawMarker]:
    """
    Read markers in pieces of the photo, brought to one size and laid side by side.

    Parameters
    ----------
    channel : Channel
    windows : list of Window
    dictionaries : tuple of str
    aruco : bool
        Read with OpenCV's reader too.

    Returns
    -------
    list of RawMarker
        In pixels of the upright photo.

    Examples
    --------
    >>> from dryslate.core.card.channel import split_channel
    >>> read_windows(split_channel(np.zeros((64, 64, 3), np.uint8)), [], ("36h11",))
    []
    """
    if not windows:
        return []
    n_across = int(np.ceil(np.sqrt(len(windows))))
    n_down = -(-len(windows) // n_across)
    sheet = np.zeros((n_down * TILE_PX, n_across * TILE_PX), np.uint8)
    levels, scales = [], []
    for k, window in enumerate(windows):
        tile, level, scale = _cut(channel, window)
        row, col = divmod(k, n_across)
        sheet[row * TILE_PX : (row + 1) * TILE_PX, col * TILE_PX : (col + 1) * TILE_PX] = tile
        levels.append(level)
        scales.append(scale)
    seen = find_apriltags(sheet, dictionaries)
    if aruco:
        seen += find_aruco(sheet, dictionaries)
    out = []
    for raw in seen:
        col, row = (np.clip(raw.corners_px.mean(axis=0) // TILE_PX, 0, None)).astype(int)
        k = row * n_across + col
        if k >= len(windows):
            continue
        window = windows[k]
        half = (TILE_PX - 1) / 2.0
        offset = raw.corners_px - (col * TILE_PX + half, row * TILE_PX + half)
        out.append(
            RawMarker(
                dictionary=raw.dictionary,
                marker_id=raw.marker_id,
                corners_px=offset * scales[k] + (window.x_px, window.y_px),
                margin=raw.margin,
            )
        )
    return out


def _cut(channel: Channel, window: Window) -> tuple[NDArray[np.uint8], int, float]:
    """Cut one window from the halving that suits: tile, level, photo pixels a tile pixel."""
    scale = window.side_px / TILE_PX
    level = int(np.clip(np.floor(np.log2(max(scale, 1e-6)) + 0.3), 0, len(channel.levels) - 1))
    plane = channel.levels[level]
    h, w = plane.shape
    cx, cy = channel.to_level(np.array([[window.x_px, window.y_px]]), level)[0]
    reach = window.side_px / 2.0**level / 2.0 + 3.0
    x0, x1 = int(np.clip(cx - reach, 0, w)), int(np.clip(cx + reach + 1, 0, w))
    y0, y1 = int(np.clip(cy - reach, 0, h)), int(np.clip(cy + reach + 1, 0, h))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return np.zeros((TILE_PX, TILE_PX), np.uint8), level, scale
    crop = np.ascontiguousarray(plane[y0:y1, x0:x1])
    step = scale / 2.0**level
    half = (TILE_PX - 1) / 2.0
    tile_to_crop = np.array(
        [[step, 0.0, cx - x0 - half * step], [0.0, step, cy - y0 - half * step]]
    )
    tile = cv2.warpAffine(
        crop,
        tile_to_crop,
        (TILE_PX, TILE_PX),
        flags=(cv2.INTER_CUBIC if step < 1.0 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(tile, dtype=np.uint8), level, scale
