"""Following a ray down to the seabed: the maps it is followed through, and where it hits."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(function: Loop) -> Loop:
    """
    Compile a loop once and keep it on disk (a typed face for numba's decorator).

    What is kept is made anew when the loop's own file changes, not when a file it calls into
    does: after an edit here, touch ``tracing.py`` too.
    """
    return cast(
        "Loop", numba.njit(cache=True, nogil=True, fastmath=True, error_model="numpy")(function)
    )


class Relief(NamedTuple):
    """
    A map of the seabed, looked up by world x and y in millimetres.

    `first` and `second` are numbers of materials, `share` the part of the second (0 to 255),
    `shade` the light it gets (1 = level and open), `height_mm` above the ground plane,
    `ceiling_mm` the highest point in and around each block of `block` cells. A map that wraps
    has sides of a power of two.
    """

    height_mm: NDArray[np.float32]
    first: NDArray[np.uint8]
    second: NDArray[np.uint8]
    share: NDArray[np.uint8]
    shade: NDArray[np.float32]
    x0_mm: float
    y0_mm: float
    px_per_mm: float
    wraps: bool
    ceiling_mm: NDArray[np.float32]
    block: int


class Eye(NamedTuple):
    """The camera: `turn` world to camera, `place_mm` in the world, focal length in pixels."""

    turn: NDArray[np.float64]
    place_mm: NDArray[np.float64]
    focal_px: float


@compiled
def height_at(m: Relief, x: float, y: float) -> float:
    """Height of a map by straight lines between its points; -1e9 outside."""
    rows, cols = m.height_mm.shape
    u = (x - m.x0_mm) * m.px_per_mm
    v = (y - m.y0_mm) * m.px_per_mm
    iu = math.floor(u)
    iv = math.floor(v)
    fu = u - iu
    fv = v - iv
    a = int(iu)
    c = int(iv)
    if m.wraps:
        a = a & (cols - 1)
        c = c & (rows - 1)
        b = (a + 1) & (cols - 1)
        d = (c + 1) & (rows - 1)
    else:
        if a < 0 or c < 0 or a >= cols - 1 or c >= rows - 1:
            return -1e9
        b = a + 1
        d = c + 1
    h = m.height_mm
    upper = h[c, a] * (1 - fu) + h[c, b] * fu
    return float(upper * (1 - fv) + (h[d, a] * (1 - fu) + h[d, b] * fu) * fv)


@compiled
def _terrain(near: Relief, far: Relief, x: float, y: float) -> float:
    """Height of the seabed: the near map where there is one."""
    h = height_at(near, x, y)
    if h < -1e8:
        return height_at(far, x, y)
    return h


@compiled
def _ceiling_of(m: Relief, x: float, y: float) -> float:
    """Highest point around a world place; -1e9 outside the map."""
    rows, cols = m.height_mm.shape
    a = math.floor((x - m.x0_mm) * m.px_per_mm)
    c = math.floor((y - m.y0_mm) * m.px_per_mm)
    if m.wraps:
        a = a & (cols - 1)
        c = c & (rows - 1)
    elif a < 0 or c < 0 or a >= cols - 1 or c >= rows - 1:
        return -1e9
    return float(m.ceiling_mm[c // m.block, a // m.block])


@compiled
def _gap(eye: Eye, near: Relief, far: Relief, s: float, d: tuple[float, float, float]) -> float:
    """How far a ray is above the seabed at a place."""
    h = _terrain(near, far, eye.place_mm[0] + s * d[0], eye.place_mm[1] + s * d[1])
    return float(-eye.place_mm[2] - s * d[2] - h)


@compiled
def _between(
    eye: Eye,
    near: Relief,
    far: Relief,
    bracket: tuple[float, float, float, float],
    d: tuple[float, float, float],
) -> float:
    """Where a ray meets the seabed between two places, by halving and a last straight line."""
    s_a, s_b, gap_a, gap_b = bracket
    across = math.sqrt(d[0] * d[0] + d[1] * d[1])
    for _ in range(6):
        if (s_b - s_a) * across < 0.2:
            break
        s = 0.5 * (s_a + s_b)
        gap = _gap(eye, near, far, s, d)
        if gap > 0.0:
            s_a = s
            gap_a = gap
        else:
            s_b = s
            gap_b = gap
    return float(s_a + (s_b - s_a) * gap_a / max(gap_a - gap_b, 1e-6))


@compiled
def march(
    eye: Eye,
    near: Relief,
    far: Relief,
    span: tuple[float, float],
    hit: NDArray[np.float64],
    d: tuple[float, float, float],
) -> bool:
    """Follow a ray (world direction d) down to the seabed; False when it never gets there."""
    top, bottom = span
    if d[2] < 0.02:
        return False
    hc = -eye.place_mm[2]
    across = math.sqrt(d[0] * d[0] + d[1] * d[1]) + 1e-9
    s = max((hc - top) / d[2], 1.0)
    end = (hc - bottom) / d[2]
    found = end
    for _ in range(220):
        x = eye.place_mm[0] + s * d[0]
        y = eye.place_mm[1] + s * d[1]
        ceiling = _ceiling_of(near, x, y)
        if ceiling < -1e8:
            ceiling = _ceiling_of(far, x, y)
        if hc - s * d[2] > ceiling + 0.02:
            s = min(s + 7.0 / across, (hc - ceiling - 0.01) / d[2])
            continue
        after = min(s + 2.0 / across, end + 0.01)
        gap_after = _gap(eye, near, far, after, d)
        if gap_after <= 0.0:
            bracket = (s, after, max(_gap(eye, near, far, s, d), 0.0), gap_after)
            found = _between(eye, near, far, bracket, d)
            break
        s = after
        if s >= end:
            break
    hit[0] = eye.place_mm[0] + found * d[0]
    hit[1] = eye.place_mm[1] + found * d[1]
    hit[2] = found * math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    return True
