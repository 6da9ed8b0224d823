"""Plain geometry of polygons: area, perimeter, widths, and whether they cross themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]


def polygon_area(xy: ArrayLike) -> float:
    """
    Area of a simple polygon, whichever way it runs.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)
        Corners in order; the last joins the first.

    Returns
    -------
    float
        In the square of the unit of `xy`.

    Notes
    -----
    The shoelace formula about the first corner.

    Examples
    --------
    >>> polygon_area([(0, 0), (4, 0), (0, 3)])
    6.0
    """
    p = np.asarray(xy, dtype=np.float64)
    q = p - p[0]
    nxt = np.roll(q, -1, axis=0)
    return abs(float(np.sum(q[:, 0] * nxt[:, 1] - q[:, 1] * nxt[:, 0]))) / 2.0


def polyline_length(xy: ArrayLike, *, closed: bool = False) -> float:
    """
    Length along a line of points.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)
    closed : bool
        True: the last point joins the first (a perimeter).

    Returns
    -------
    float

    Examples
    --------
    >>> polyline_length([(0, 0), (3, 4)]), polyline_length([(0, 0), (4, 0), (0, 3)], closed=True)
    (5.0, 12.0)
    """
    p = np.asarray(xy, dtype=np.float64)
    steps = np.diff(np.vstack([p, p[:1]]) if closed else p, axis=0)
    return float(np.sum(np.hypot(steps[:, 0], steps[:, 1])))


def convex_corners(xy: ArrayLike) -> NDArray[np.intp]:
    """
    Find the corners on the convex hull.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)

    Returns
    -------
    ndarray of int
        Their indices, counter-clockwise in axes with y up.

    Raises
    ------
    InputError
        ``outline-flat`` when the points span no area.

    Examples
    --------
    >>> sorted(convex_corners([(0, 0), (2, 0), (2, 2), (0, 2), (1, 1)]).tolist())
    [0, 1, 2, 3]
    """
    try:
        return np.asarray(ConvexHull(np.asarray(xy, dtype=np.float64)).vertices, dtype=np.intp)
    except (QhullError, ValueError) as error:
        raise InputError(
            "outline-flat",
            "The outline spans no area: its points lie on one line or coincide.",
            "Give at least three points around the coral.",
        ) from error


def find_longest_diameter(xy: ArrayLike) -> tuple[int, int]:
    """
    Find the two corners farthest apart.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)

    Returns
    -------
    i, j : int
        Indices; i < j.

    References
    ----------
    .. [1] ISO 9276-6:2008, maximum Feret diameter.

    Examples
    --------
    >>> find_longest_diameter([(0, 0), (4, 0), (0, 3)])
    (1, 2)
    """
    p = np.asarray(xy, dtype=np.float64)
    hull = convex_corners(p)
    gap = p[hull][:, None, :] - p[hull][None, :, :]
    far = np.hypot(gap[..., 0], gap[..., 1])
    a, b = np.unravel_index(int(np.argmax(far)), far.shape)
    i, j = sorted((int(hull[a]), int(hull[b])))
    return i, j


def find_width_across(xy: ArrayLike, along: tuple[int, int]) -> tuple[int, int]:
    """
    Find the two corners that set the width at right angles to a diameter.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)
    along : tuple of int
        The diameter's two corners.

    Returns
    -------
    k, m : int
        The corners farthest to one side and to the other.

    Examples
    --------
    >>> find_width_across([(0, 0), (2, 1), (8, 0), (2, -3)], (0, 2))
    (1, 3)
    """
    p = np.asarray(xy, dtype=np.float64)
    axis = p[along[1]] - p[along[0]]
    side = -axis[1] * p[:, 0] + axis[0] * p[:, 1]
    return int(np.argmax(side)), int(np.argmin(side))


def narrowest_width(xy: ArrayLike) -> float:
    """
    Smallest distance between two parallel lines that hold the polygon.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)

    Returns
    -------
    float

    Notes
    -----
    One of the two lines runs along an edge of the convex hull.

    References
    ----------
    .. [1] ISO 9276-6:2008, minimum Feret diameter.

    Examples
    --------
    >>> round(narrowest_width([(0, 0), (4, 0), (0, 3)]), 6)
    2.4
    """
    p = np.asarray(xy, dtype=np.float64)
    hull = p[convex_corners(p)]
    edge = np.roll(hull, -1, axis=0) - hull
    edge /= np.hypot(edge[:, 0], edge[:, 1])[:, None]
    side = edge[:, None, 0] * hull[None, :, 1] - edge[:, None, 1] * hull[None, :, 0]
    return float(np.min(np.ptp(side, axis=1)))


def find_crossing(xy: ArrayLike) -> tuple[int, int] | None:
    """
    Find two edges of a polygon that cross or touch.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)

    Returns
    -------
    tuple of int or None
        Numbers of the two edges (edge i runs from corner i to the next); None for a simple polygon.

    Examples
    --------
    >>> find_crossing([(0, 0), (1, 1), (1, 0), (0, 1)])
    (0, 2)
    >>> find_crossing([(0, 0), (1, 0), (1, 1), (0, 1)]) is None
    True
    """
    p = np.asarray(xy, dtype=np.float64)
    q = np.roll(p, -1, axis=0)
    n = len(p)
    for start in range(0, n, 256):  # in strips, so that long outlines take little memory
        rows = np.arange(start, min(start + 256, n))
        hit = _touching(p[rows][:, None], q[rows][:, None], p[None], q[None])
        gap = np.arange(n)[None] - rows[:, None]
        hit &= (gap > 1) & (gap < n - 1)
        where = np.argwhere(hit)
        if len(where):
            return int(rows[where[0][0]]), int(where[0][1])
    return None


def find_inside(
    xy: ArrayLike, size_px: tuple[int, int]
) -> tuple[tuple[int, int], NDArray[np.bool_]]:
    """
    Find the pixels whose centre lies inside a polygon.

    Parameters
    ----------
    xy : array_like of float, shape (n, 2)
        Corners in order, in pixels; pixel centres lie on whole numbers.
    size_px : tuple of int
        Width and height of the picture; what lies beyond is cut off.

    Returns
    -------
    corner : tuple of int
        Column and row of the mask's first pixel.
    inside : ndarray of bool, shape (rows, columns)
        The mask of the polygon's bounding box; empty where no pixel centre is inside it.

    Notes
    -----
    Even-odd rule, row by row: each edge toggles every pixel to the right of where it crosses the
    row. A centre on a left or upper edge counts as inside, on a right or lower edge as outside,
    so that polygons that share an edge share no pixel.

    Examples
    --------
    >>> corner, inside = find_inside([(1, 1), (4, 1), (4, 3), (1, 3)], (9, 9))
    >>> corner, inside.astype(int).tolist()
    ((1, 1), [[1, 1, 1], [1, 1, 1]])
    """
    p = np.asarray(xy, dtype=np.float64)
    low = np.maximum(np.ceil(p.min(axis=0)), 0.0).astype(int)
    high = np.minimum(np.ceil(p.max(axis=0)), np.array(size_px, dtype=np.float64)).astype(int)
    left, top = int(low[0]), int(low[1])
    columns, rows = (int(v) for v in np.maximum(high - low, 0))
    flips = np.zeros((rows, columns + 1), dtype=np.bool_)
    for (x0, y0), (x1, y1) in zip(p, np.roll(p, -1, axis=0), strict=True):
        first, last = np.ceil(np.clip(sorted((y0, y1)), top, top + rows)).astype(int)
        if first == last:
            continue
        y = np.arange(first, last)
        crossing = np.ceil(x0 + (y - y0) * ((x1 - x0) / (y1 - y0))).astype(int)
        at = np.clip(crossing - left, 0, columns)
        flips[y - top, at] ^= True
    return (left, top), np.logical_xor.accumulate(flips, axis=1)[:, :columns]


def _side(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """On which side of the line from a to b c lies: twice the signed area."""
    return np.asarray(
        (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
        - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    )


def _touching(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> NDArray[np.bool_]:
    """Which edges a-b and c-d cross or touch."""
    apart_cd = _side(a, b, c) * _side(a, b, d)
    apart_ab = _side(c, d, a) * _side(c, d, b)
    boxes = np.all(np.minimum(a, b) <= np.maximum(c, d), axis=-1) & np.all(
        np.minimum(c, d) <= np.maximum(a, b), axis=-1
    )
    return np.asarray((apart_cd <= 0) & (apart_ab <= 0) & boxes)
