"""
How much a dark shape looks like the black border of a marker: compiled, from its outline.

A marker's outline is a quad, light outside and dark inside all the way round.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.compiled import compiled
from dryslate.core.card.shapes import Integers, Shapes

TICKS = (np.arange(10) + 0.5) / 10
N_ALONG = 6
"""Places along each side where the rim is looked at."""
INWARD, OUTWARD = 0.15, 0.12
"""How far from the outline, as a share of the way from the shape's middle."""


@compiled
def _outline(runs: Any, box: Any, name: Any, left: Any, right: Any) -> None:  # pragma: no cover
    """First and last pixel of a shape in each of its rows."""
    ends, first, joined = runs
    x, y, w, h = box[0], box[1], box[2], box[3]
    for r in range(h):
        left[r], right[r] = x + w, x - 1
        low, high = first[y + r], first[y + r + 1]
        while low < high:  # the first run that ends beyond the box's left side
            middle = (low + high) // 2
            if ends[2 * middle + 1] <= x:
                low = middle + 1
            else:
                high = middle
        for i in range(low, first[y + r + 1]):
            if ends[2 * i] >= x + w:
                break
            if joined[i] == name:
                left[r] = min(left[r], ends[2 * i])
                right[r] = max(right[r], ends[2 * i + 1] - 1)


@compiled
def _add_side(side: Any, sign: Any, hull: Any, n: Any, h: Any) -> Any:  # pragma: no cover
    """Add the outer corners of one side of an outline to a hull, top to bottom or back."""
    begin = n
    for k in range(h):
        r = k if sign > 0 else h - 1 - k
        x = side[r]
        while n - begin >= 2:
            ax, ay = hull[n - 2, 0], hull[n - 2, 1]
            bx, by = hull[n - 1, 0], hull[n - 1, 1]
            if (bx - ax) * (r - ay) - (by - ay) * (x - ax) > 0:
                break
            n -= 1
        hull[n, 0], hull[n, 1] = x, r
        n += 1
    return n


@compiled
def _fit_quad(hull: Any, n: Any, quad: Any) -> Any:  # pragma: no cover
    """Write the ends of a hull's two longest diagonals; returns the share that they span."""
    doubled, longest, a, b = 0, -1, 0, 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        doubled += hull[i, 0] * hull[j, 1] - hull[i, 1] * hull[j, 0]
        for k in range(i + 1, n):
            dx, dy = hull[k, 0] - hull[i, 0], hull[k, 1] - hull[i, 1]
            if dx * dx + dy * dy > longest:
                longest, a, b = dx * dx + dy * dy, i, k
    dx, dy = hull[b, 0] - hull[a, 0], hull[b, 1] - hull[a, 1]
    low, high, c, d = 0, 0, a, a
    for i in range(n):
        across = (hull[i, 1] - hull[a, 1]) * dx - (hull[i, 0] - hull[a, 0]) * dy
        if across < low:
            low, c = across, i
        if across > high:
            high, d = across, i
    for k, i in enumerate((a, c, b, d)):
        quad[k, 0], quad[k, 1] = hull[i, 0], hull[i, 1]
    return 0.5 * (high - low) / max(0.5 * abs(doubled), 1.0)


@compiled
def _value(grey: Any, x: Any, y: Any) -> Any:  # pragma: no cover
    """Value between four pixels."""
    x = min(max(x, 0.0), grey.shape[1] - 1.001)
    y = min(max(y, 0.0), grey.shape[0] - 1.001)
    i, j = int(x), int(y)
    a, b = x - i, y - j
    above = (1.0 - a) * grey[j, i] + a * grey[j, i + 1]
    below = (1.0 - a) * grey[j + 1, i] + a * grey[j + 1, i + 1]
    return (1.0 - b) * above + b * below


@compiled
def _rim_share(grey: Any, quad: Any) -> Any:  # pragma: no cover
    """Share of the variance about an outline that lies between outside and inside."""
    cx = (quad[0, 0] + quad[1, 0] + quad[2, 0] + quad[3, 0]) / 4.0
    cy = (quad[0, 1] + quad[1, 1] + quad[2, 1] + quad[3, 1]) / 4.0
    inside, outside, squares = 0.0, 0.0, 0.0
    for k in range(4):
        ax, ay = quad[k, 0], quad[k, 1]
        bx, by = quad[(k + 1) % 4, 0], quad[(k + 1) % 4, 1]
        for i in range(N_ALONG):
            t = (i + 0.5) / N_ALONG
            x, y = ax + t * (bx - ax) - cx, ay + t * (by - ay) - cy
            away = math.sqrt(x * x + y * y) + 1e-9
            near = 1.0 - INWARD
            far = 1.0 + max(OUTWARD, 0.5 / away) + 0.5 / away
            dark, light = (
                _value(grey, cx + near * x, cy + near * y),
                _value(grey, cx + far * x, cy + far * y),
            )
            inside += dark
            outside += light
            squares += dark * dark + light * light
    n = 8 * N_ALONG
    about = squares / n - ((inside + outside) / n) ** 2
    step = (outside - inside) / n
    return step * step / max(about, 1e-6) if step > 0.0 else 0.0


@compiled
def _fill_looks(
    grey: Any, runs: Any, boxes: Any, names: Any, largest: Any, looks: Any
) -> None:  # pragma: no cover
    """Squareness and rim of each shape."""
    left, right = np.empty(largest, np.int64), np.empty(largest, np.int64)
    hull, quad = np.empty((2 * largest, 2), np.int64), np.empty((4, 2))
    for k in range(names.shape[0]):
        h = boxes[k, 3]
        _outline(runs, boxes[k], names[k], left, right)
        n = _add_side(right, 1, hull, 0, h)
        n = _add_side(left, -1, hull, n, h)
        looks[0, k] = _fit_quad(hull, n, quad)
        for i in range(4):
            quad[i, 1] += boxes[k, 1]
        looks[1, k] = _rim_share(grey, quad)


@compiled
def _fill_spreads(grey: Any, boxes: Any, ticks: Any, spreads: Any) -> None:  # pragma: no cover
    """Standard deviation of a grid of pixels within each box."""
    m = ticks.shape[0]
    cols = np.empty(m, np.int64)
    for k in range(boxes.shape[0]):
        x, y, w, h = boxes[k, 0], boxes[k, 1], boxes[k, 2], boxes[k, 3]
        for i in range(m):
            cols[i] = min(max(int(np.rint(x - 0.5 + ticks[i] * w)), 0), grey.shape[1] - 1)
        whole, squares = 0, 0
        for j in range(m):
            row = min(max(int(np.rint(y - 0.5 + ticks[j] * h)), 0), grey.shape[0] - 1)
            for i in range(m):
                v = int(grey[row, cols[i]])
                whole += v
                squares += v * v
        n = m * m
        spreads[k] = math.sqrt(float(squares * n - whole * whole)) / n


def measure_looks(
    grey: NDArray[np.uint8], shapes: Shapes, which: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Measure how well four corners describe some shapes, and how plain their rims are.

    Parameters
    ----------
    grey : ndarray of uint8, shape (h, w)
    shapes : Shapes
        Traced there.
    which : ndarray of int, shape (n,)

    Returns
    -------
    squareness : ndarray of float, shape (n,)
        Share of the convex hull that its two longest diagonals span: 1 for quads, 0.64 for discs.
    rim : ndarray of float, shape (n,)
        Share of the variance of values just outside and just inside those four corners that
        the step between outside and inside makes up: 1 for black on white, 0 where
        it is not lighter outside.

    Examples
    --------
    >>> from dryslate.core.card.shapes import trace_shapes
    >>> photo = np.full((60, 60), 200, np.uint8)
    >>> photo[10:30, 12:32] = 20
    >>> shapes = trace_shapes(photo, 6, 5, 90)
    >>> [look.round(2).tolist() for look in measure_looks(photo, shapes, np.array([0]))]
    [[1.0], [1.0]]
    """
    boxes, names = shapes.boxes[which], shapes.names[which]
    looks = np.empty((2, len(which)))
    runs = (shapes.ends, shapes.first, shapes.joined)
    _fill_looks(grey, runs, boxes, names, int(boxes[:, 3].max(initial=1)), looks)
    return looks[0], looks[1]


def measure_spreads(grey: NDArray[np.uint8], boxes: Integers) -> NDArray[np.float64]:
    """
    Measure the contrast within boxes.

    Parameters
    ----------
    grey : ndarray of uint8, shape (h, w)
    boxes : ndarray of int32, shape (n, 4 or more)
        Left, top, width, height.

    Returns
    -------
    ndarray of float, shape (n,)
        Standard deviation of the pixels on a grid of 10 by 10.

    Examples
    --------
    >>> photo = np.full((40, 40), 100, np.uint8)
    >>> photo[:, 20:] = 140
    >>> measure_spreads(photo, np.array([(10, 10, 20, 20)], np.int32)).tolist()
    [20.0]
    """
    spreads = np.empty(len(boxes))
    _fill_spreads(grey, boxes, TICKS, spreads)
    return spreads
