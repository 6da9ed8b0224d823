"""
Dark shapes of a grey picture, by compiled passes over runs of pixels.

A pixel is dark when it is so much darker than the mean of a square around it. Rows are cut into
runs of dark pixels, runs that touch are joined, and only joined runs of a fitting size are handed
on; the picture of labels that a general routine would write is never made.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.compiled import compiled

Integers = NDArray[np.int32]

REACH = 7
AREA = (2 * REACH + 1) ** 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shapes:
    """
    Shapes of a fitting size.

    Parameters
    ----------
    boxes : ndarray of int32, shape (n, 5)
        Left, top, width, height and number of dark pixels.
    names : ndarray of int32, shape (n,)
        The first run of each.
    ends : ndarray of int32, shape (m, 2)
        Where each run of dark pixels begins and ends (excluded), row by row.
    first : ndarray of int32, shape (rows + 1,)
        First run of each row.
    joined : ndarray of int32, shape (m,)
        Name of the shape that each run belongs to.
    """

    boxes: Integers
    names: Integers
    ends: Integers
    first: Integers
    joined: Integers


@compiled
def _sum_columns(
    sums: Any, grey: Any, gone: Any, come: Any, reach: Any
) -> None:  # pragma: no cover
    """Move sums over rows of a square down by one row, and mirror them beyond both edges."""
    w = grey.shape[1]
    inner, old, new = sums[reach : reach + w], grey[gone], grey[come]
    for x in range(w):
        inner[x] = np.uint16(inner[x] + new[x] - old[x])
    for k in range(reach):
        sums[reach - 1 - k] = inner[k + 1]
        sums[reach + w + k] = inner[w - 2 - k]


@compiled
def _mark_dark(
    row: Any, sums: Any, darker_by: Any, spare: Any, dark: Any
) -> None:  # pragma: no cover
    """Mark pixels of one row that are darker than the mean of 15 x 15 about them, rounded."""
    w = row.shape[0]
    n = sums.shape[0]
    pair, four, level = spare[0], spare[1], spare[2]
    for x in range(n - 1):
        pair[x] = np.uint16(sums[x] + sums[x + 1])
    for x in range(n - 3):
        four[x] = np.uint16(pair[x] + pair[x + 2])
    for x in range(w):
        level[x] = np.uint16(np.uint32(row[x]) * np.uint32(AREA) + darker_by)
    for x in range(w):
        whole = np.uint16(four[x] + four[x + 4] + four[x + 8] + pair[x + 12] + sums[x + 14])
        dark[x] = whole > level[x]


@compiled
def _cut_runs(dark: Any, ends: Any, k: Any) -> Any:  # pragma: no cover
    """Write where dark begins and ends in one row; returns the place after the last."""
    before = 0
    for x in range(dark.shape[0]):
        now = int(dark[x])
        ends[k] = x
        k += now ^ before
        before = now
    ends[k] = dark.shape[0]
    return k + before


@compiled
def _join_rows(ends: Any, above: Any, row: Any, stop: Any, joined: Any) -> None:  # pragma: no cover
    """Join the runs of one row with those of the row above that they touch, corners too."""
    p = above
    for i in range(row, stop):
        begin, end = ends[2 * i], ends[2 * i + 1]
        joined[i] = i
        while p < row and ends[2 * p + 1] < begin:
            p += 1
        q = p
        while q < row and ends[2 * q] <= end:
            a, b = q, i
            while joined[a] != a:
                joined[a] = joined[joined[a]]
                a = joined[a]
            while joined[b] != b:
                joined[b] = joined[joined[b]]
                b = joined[b]
            if a < b:
                joined[b] = a
            elif b < a:
                joined[a] = b
            q += 1


@compiled
def _trace(
    grey: Any, darker_by: Any, ends: Any, first: Any, joined: Any
) -> Any:  # pragma: no cover
    """Cut all rows into runs and join them; returns the number of runs."""
    h, w = grey.shape
    reach = REACH
    sums = np.zeros(w + 2 * reach, np.uint16)
    spare = np.zeros((3, w + 2 * reach), np.uint16)
    dark = np.empty(w, np.uint8)
    for k in range(-reach, reach + 1):
        for x in range(w):
            sums[reach + x] += grey[abs(k), x]
    n = 0
    for y in range(h):
        if y:
            come, gone = y + reach, abs(y - 1 - reach)
            come = come if come < h else 2 * h - 2 - come
            _sum_columns(sums, grey, gone, come, reach)
        else:
            _sum_columns(sums, grey, 0, 0, reach)
        _mark_dark(grey[y], sums, darker_by, spare, dark)
        first[y] = n
        n = _cut_runs(dark, ends, 2 * n) // 2
        _join_rows(ends, first[max(y - 1, 0)], first[y], n, joined)
    first[h] = n
    return n


@compiled
def _measure(ends: Any, first: Any, joined: Any, boxes: Any) -> None:  # pragma: no cover
    """Name every run by the first of its shape; box and dark pixels of each shape at its name."""
    row = 0
    for i in range(boxes.shape[0]):
        while i >= first[row + 1]:
            row += 1
        name = joined[joined[i]]
        joined[i] = name
        begin, end = ends[2 * i], ends[2 * i + 1]
        box = boxes[name]
        if name == i:
            box[0], box[1], box[2], box[3], box[4] = begin, row, end, row, end - begin
        else:
            box[0], box[2] = min(box[0], begin), max(box[2], end)
            box[3] = row
            box[4] += end - begin


@compiled
def _choose(
    joined: Any, boxes: Any, smallest: Any, largest: Any, names: Any
) -> Any:  # pragma: no cover
    """Write the names of shapes that are large, small, square and full enough; their number."""
    m = 0
    for i in range(boxes.shape[0]):
        if joined[i] != i:
            continue
        box = boxes[i]
        w, h = box[2] - box[0], box[3] - box[1] + 1
        longer, shorter = max(w, h), min(w, h)
        if longer < smallest or longer > largest or 2 * shorter < longer:
            continue
        if box[4] < 0.15 * w * h:
            continue
        box[2], box[3] = w, h
        names[m] = i
        m += 1
    return m


def trace_shapes(
    grey: NDArray[np.uint8], darker_by: int, smallest_px: int, largest_px: int
) -> Shapes:
    """
    Join dark pixels into shapes and keep those that are near square.

    Parameters
    ----------
    grey : ndarray of uint8, shape (h, w)
        Contiguous, at least 15 rows and columns.
    darker_by : int
        A pixel is dark when it is more than this below the mean of the 15 by 15 about it.
    smallest_px, largest_px : int
        Bounds of a shape's longer side.

    Returns
    -------
    Shapes
        Joined over edges and corners of pixels; those at most twice as long as wide whose box is
        filled to a seventh at least.

    Notes
    -----
    Means are rounded to whole values, and the picture is mirrored about its outermost pixels.

    Examples
    --------
    >>> photo = np.full((40, 40), 200, np.uint8)
    >>> photo[10:20, 12:24] = 20
    >>> trace_shapes(photo, 6, 5, 90).boxes.tolist()
    [[12, 10, 12, 10, 120]]
    """
    h, w = grey.shape
    ends = np.empty((h * (w + 1) + w + 2) // 2 * 2, np.int32)  # used as far as there are runs
    first = np.empty(h + 1, np.int32)
    joined = np.empty(len(ends) // 2, np.int32)
    # the rounded mean is above grey + darker_by: the sum is above this and 225 times grey
    n = _trace(grey, np.uint32(AREA * darker_by + AREA // 2), ends, first, joined)
    boxes, names = np.empty((n, 5), np.int32), np.empty(n, np.int32)
    _measure(ends, first, joined, boxes)
    names = names[: _choose(joined, boxes, smallest_px, largest_px, names)].copy()
    return Shapes(boxes=boxes[names], names=names, ends=ends, first=first, joined=joined)
