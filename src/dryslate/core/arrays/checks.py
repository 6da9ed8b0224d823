"""Shape and value checks that every array entering the core passes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray


def require_image(img: NDArray[Any], name: str = "img") -> None:
    """
    Refuse anything that is not an 8 or 16-bit RGB frame.

    Parameters
    ----------
    img : ndarray of uint8 or uint16, shape (height, width, 3)
        The frame; only looked at.
    name : str
        What the caller calls it, for the sentence.

    Raises
    ------
    TypeError
        If the type is neither uint8 nor uint16.
    ValueError
        If the shape is not (height, width, 3) with at least one pixel.

    Examples
    --------
    >>> require_image(np.zeros((2, 3, 3), np.uint8))
    """
    if img.dtype not in (np.uint8, np.uint16):
        raise TypeError(f"{name}: expected uint8 or uint16, got {img.dtype}")
    if img.ndim != 3 or img.shape[2] != 3 or img.size == 0:
        raise ValueError(f"{name}: expected shape (height, width, 3), got {img.shape}")


def require_points(xy_px: ArrayLike, name: str = "xy_px") -> NDArray[np.float64]:
    """
    Return points as float64, refusing wrong shapes and values that are not finite.

    Parameters
    ----------
    xy_px : array_like of float, shape (n, 2)
        Points as (x, y); a single pair is taken as one point.
    name : str
        What the caller calls them, for the sentence.

    Returns
    -------
    ndarray of float64, shape (n, 2)
        A new array; the input is never handed through.

    Raises
    ------
    ValueError
        If the shape is not (n, 2) or a coordinate is not finite.

    Examples
    --------
    >>> require_points([1, 2]).shape
    (1, 2)
    """
    points = np.array(xy_px, dtype=np.float64, ndmin=2)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ValueError(f"{name}: expected shape (n, 2), got {points.shape}")
    if not np.isfinite(points).all():
        raise ValueError(f"{name}: expected finite coordinates, got {points.tolist()}")
    return points
