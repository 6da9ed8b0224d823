"""The compiled inner loops of the pattern fit: a blurred pattern at pixels, and its slopes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from dryslate.core.arrays.compiled import compiled

FAR = 8.0
"""So many standard deviations from an edge, a double tells a step from 0 or 1 no more."""

BELL = 0.3989422804014327


@compiled
def _cross(z: Any, steps: Any, bells: Any, k: Any) -> None:  # pragma: no cover
    """Write the step and the bell of one edge."""
    if z > FAR:
        steps[k], bells[k] = 1.0, 0.0
    elif z < -FAR:
        steps[k], bells[k] = 0.0, 0.0
    else:
        steps[k] = 0.5 * math.erfc(-0.7071067811865476 * z)
        bells[k] = BELL * math.exp(-0.5 * z * z)


@compiled
def see_pattern(
    xy: Any, to_cells: Any, blur: Any, turns: Any, seen: Any
) -> None:  # pragma: no cover
    """
    See a blurred pattern at pixels.

    Parameters
    ----------
    xy : ndarray of float, shape (k, 2)
    to_cells : ndarray of float, shape (3, 3)
        Homography from pixels to the pattern, one a cell.
    blur : float
        Standard deviation, pixels.
    turns : ndarray of float, shape (n + 1, n + 1)
        Mixed second differences of the cells, rows down: the pattern is their sum over steps.
    seen : ndarray of float, shape (6, k)
        Written: value 0 to 1; place across and down, 0 to 1; slopes by x, by y and by log blur.
    """
    m = turns.shape[0]
    step_u, bell_u, step_v, bell_v = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
    for k in range(xy.shape[0]):
        x, y = xy[k, 0], xy[k, 1]
        near = 1.0 / (to_cells[2, 0] * x + to_cells[2, 1] * y + to_cells[2, 2])
        u = (to_cells[0, 0] * x + to_cells[0, 1] * y + to_cells[0, 2]) * near
        v = (to_cells[1, 0] * x + to_cells[1, 1] * y + to_cells[1, 2]) * near
        ux = (to_cells[0, 0] - u * to_cells[2, 0]) * near
        uy = (to_cells[0, 1] - u * to_cells[2, 1]) * near
        vx = (to_cells[1, 0] - v * to_cells[2, 0]) * near
        vy = (to_cells[1, 1] - v * to_cells[2, 1]) * near
        slope_u = 1.0 / (blur * math.sqrt(ux * ux + uy * uy))
        slope_v = 1.0 / (blur * math.sqrt(vx * vx + vy * vy))
        for i in range(m):
            _cross((u - i) * slope_u, step_u, bell_u, i)
            _cross((v - i) * slope_v, step_v, bell_v, i)
        value, by_u, by_v, widen = 1.0, 0.0, 0.0, 0.0
        for i in range(m):
            along_v, along_u = 0.0, 0.0
            for j in range(m):
                along_v += turns[j, i] * step_v[j]
                along_u += turns[i, j] * step_u[j]
            value += along_v * step_u[i]
            by_u += along_v * bell_u[i]
            by_v += along_u * bell_v[i]
            widen += along_v * bell_u[i] * (u - i) * slope_u
            widen += along_u * bell_v[i] * (v - i) * slope_v
        by_u, by_v = by_u * slope_u, by_v * slope_v
        seen[0, k], seen[1, k], seen[2, k] = value, u / (m - 1), v / (m - 1)
        seen[3, k] = -(by_u * ux + by_v * vx)
        seen[4, k] = -(by_u * uy + by_v * vy)
        seen[5, k] = -widen


@compiled
def fill_light(seen: Any, light: Any) -> None:  # pragma: no cover
    """Write what black, white, tone and the light's two slopes add to each pixel (k, 5)."""
    for k in range(light.shape[0]):
        m, p, q = seen[0, k], seen[1, k], seen[2, k]
        light[k, 0], light[k, 1], light[k, 2] = 1.0, m, m * (1.0 - m)
        light[k, 3], light[k, 4] = m * (p - 0.5), m * (q - 0.5)


@compiled
def fill_design(
    seen: Any, light: Any, at: Any, shown: Any, design: Any
) -> None:  # pragma: no cover
    """
    Write how each pixel changes with the fourteen parameters.

    Parameters
    ----------
    seen, light
        As above.
    at : ndarray of float, shape (5,)
        Black, white over black, tone, and the two slopes, now.
    shown : ndarray of float, shape (k,)
        Share of a change of light that a pixel shows.
    design : ndarray of float, shape (k, 14)
        Written.
    """
    for k in range(design.shape[0]):
        m, p, q = seen[0, k], seen[1, k], seen[2, k]
        rise = at[1] + at[2] * (1.0 - 2.0 * m) + at[3] * (p - 0.5) + at[4] * (q - 0.5)
        rise *= shown[k]
        x, y = seen[3, k] * rise, seen[4, k] * rise
        design[k, 0], design[k, 1] = (1 - p) * (1 - q) * x, (1 - p) * (1 - q) * y
        design[k, 2], design[k, 3] = p * (1 - q) * x, p * (1 - q) * y
        design[k, 4], design[k, 5] = p * q * x, p * q * y
        design[k, 6], design[k, 7] = (1 - p) * q * x, (1 - p) * q * y
        design[k, 8] = seen[5, k] * rise
        for i in range(5):
            design[k, 9 + i] = light[k, i] * shown[k]


@compiled
def sum_blocks(design: Any, scale: Any, block: Any, sums: Any) -> None:  # pragma: no cover
    """Add the rows of a design, each times its scale, to the sums of the block that it lies in."""
    for k in range(design.shape[0]):
        row, by = sums[block[k]], scale[k]
        for i in range(design.shape[1]):
            row[i] += by * design[k, i]
