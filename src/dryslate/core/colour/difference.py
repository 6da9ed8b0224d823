"""Colour differences: CIE 1976 and CIEDE2000."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_HALF_TURN_SLACK_DEG = 1e-9


def cie76(lab1: ArrayLike, lab2: ArrayLike) -> FloatArray:
    """
    CIE 1976 colour difference: the distance in CIELAB.

    Parameters
    ----------
    lab1, lab2 : array_like of float, shape (..., 3)
        L*, a*, b*; the shapes must broadcast.

    Returns
    -------
    ndarray of float
        The difference, without the last axis.

    References
    ----------
    .. [1] CIE 15:2004, equation 8.18.

    Examples
    --------
    >>> float(cie76([50, 0, 0], [53, 4, 12]))
    13.0
    """
    gap = np.asarray(lab1, dtype=np.float64) - np.asarray(lab2, dtype=np.float64)
    return np.asarray(np.sqrt((gap * gap).sum(axis=-1)), dtype=np.float64)


def _hue_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    """Hue angle in degrees, 0 to 360; 0 for a grey (equation 7)."""
    return np.asarray(np.degrees(np.arctan2(b, a)) % 360.0)


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> FloatArray:
    """
    CIEDE2000 colour difference with kL = kC = kH = 1.

    Parameters
    ----------
    lab1, lab2 : array_like of float, shape (..., 3)
        L*, a*, b*; the shapes must broadcast.

    Returns
    -------
    ndarray of float
        The difference, without the last axis.

    Notes
    -----
    Where the two hues lie exactly 180 degrees apart, floating point would decide the branch of
    the mean hue. The published test pairs follow the branch "not more than 180", so a gap within
    1e-9 degrees of 180 is taken as 180.

    References
    ----------
    .. [1] Sharma, Wu & Dalal 2005, Color Research and Application 30(1):21-30, equations 2 to 22.

    Examples
    --------
    >>> round(float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    first, second = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    L1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    L2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]
    c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(c7 / (c7 + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = _hue_deg(a1, b1), _hue_deg(a2, b2)
    coloured = (C1 * C2) > 0.0
    gap = h2 - h1
    near = np.abs(gap) <= 180.0 + _HALF_TURN_SLACK_DEG
    turned = np.where(near, gap, gap - np.copysign(360.0, gap))
    dh = np.where(coloured, turned, 0.0)
    total = h1 + h2
    mean_far = np.where(total < 360.0, (total + 360.0) / 2.0, (total - 360.0) / 2.0)
    h = np.where(coloured, np.where(near, total / 2.0, mean_far), total)
    dL, dC = L2 - L1, C2 - C1
    dH = 2.0 * np.sqrt(C1 * C2) * np.sin(np.radians(dh / 2.0))
    L, C = (L1 + L2) / 2.0, (C1 + C2) / 2.0
    T = (
        1.0
        - 0.17 * np.cos(np.radians(h - 30.0))
        + 0.24 * np.cos(np.radians(2.0 * h))
        + 0.32 * np.cos(np.radians(3.0 * h + 6.0))
        - 0.20 * np.cos(np.radians(4.0 * h - 63.0))
    )
    C_7 = C**7
    turn = 60.0 * np.exp(-(((h - 275.0) / 25.0) ** 2))
    rotation = -2.0 * np.sqrt(C_7 / (C_7 + 25.0**7)) * np.sin(np.radians(turn))
    scale_L = 1.0 + 0.015 * (L - 50.0) ** 2 / np.sqrt(20.0 + (L - 50.0) ** 2)
    l_part, c_part, h_part = dL / scale_L, dC / (1.0 + 0.045 * C), dH / (1.0 + 0.015 * C * T)
    square = l_part**2 + c_part**2 + h_part**2 + rotation * c_part * h_part
    return np.asarray(np.sqrt(np.maximum(square, 0.0)), dtype=np.float64)
