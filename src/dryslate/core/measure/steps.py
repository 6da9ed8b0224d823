"""Slopes and pointing bias of lengths along points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryslate.core.scale.plane import PlanePoints

FloatArray = NDArray[np.float64]


def step_slopes(xy_mm: FloatArray, *, closed: bool) -> FloatArray:
    """
    Slope of the length along points by each of them.

    Parameters
    ----------
    xy_mm : ndarray of float, shape (n, 2)
    closed : bool

    Returns
    -------
    ndarray of float, shape (n, 2)

    Examples
    --------
    >>> step_slopes(np.array([[0.0, 0.0], [3.0, 4.0]]), closed=False).tolist()
    [[-0.6, -0.8], [0.6, 0.8]]
    """
    ends = np.roll(xy_mm, -1, axis=0) if closed else xy_mm[1:]
    starts = xy_mm if closed else xy_mm[:-1]
    step = ends - starts
    unit = step / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12)[:, None]
    out = np.zeros_like(xy_mm)
    first = np.arange(len(step))
    np.add.at(out, first, -unit)
    np.add.at(out, (first + 1) % len(xy_mm), unit)
    return out


def noise_bias(points: PlanePoints, point_u_px: float, *, closed: bool) -> float:
    r"""
    How much pointing noise lengthens a line of points, on average.

    Parameters
    ----------
    points : PlanePoints
    point_u_px : float
        One standard uncertainty of each picked coordinate.
    closed : bool

    Returns
    -------
    float
        In millimetres, zero or more; at most a tenth of the length.

    Notes
    -----
    To second order the mean of :math:`|d + e|` is :math:`d + \sigma_\perp^2/(2d)`, with
    :math:`\sigma_\perp^2` the variance of the difference across the step. Reads too much
    where a hand draws smoothly, since the errors of neighbours then agree.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, note (second-order terms).
    """
    xy = points.xy_mm
    n = len(xy)
    first = np.arange(n if closed else n - 1)
    second = (first + 1) % n
    spread = point_u_px**2 * np.einsum("nij,nkj->nik", points.per_px, points.per_px)
    step = xy[second] - xy[first]
    length = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12)
    across = np.column_stack([-step[:, 1], step[:, 0]]) / length[:, None]
    variance = np.einsum("ni,nij,nj->n", across, spread[first] + spread[second], across)
    return float(min(np.sum(variance / (2.0 * length)), 0.1 * np.sum(length)))
