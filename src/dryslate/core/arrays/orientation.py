"""
The eight ways a frame can lie in its file, and the way back to upright.

Pixels are kept as stored; the core looks at them through a view that costs nothing.
Orientation numbers are those of the Exif standard (CIPA DC-008, tag 0x0112): the number
says on which side of the upright picture the first stored row and column lie.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.arrays.checks import require_points

#: For each orientation: (rows and columns swapped, upright x runs backwards, upright y too).
_LAYOUT: dict[int, tuple[bool, bool, bool]] = {
    1: (False, False, False),
    2: (False, True, False),
    3: (False, True, True),
    4: (False, False, True),
    5: (True, False, False),
    6: (True, True, False),
    7: (True, True, True),
    8: (True, False, True),
}


def _layout(orientation: int) -> tuple[bool, bool, bool]:
    """Return the layout, or raise for a number that the standard does not know."""
    try:
        return _LAYOUT[orientation]
    except KeyError:
        raise ValueError(f"orientation: expected 1 to 8, got {orientation!r}") from None


def upright_view(img: NDArray[Any], orientation: int) -> NDArray[Any]:
    """
    Look at a stored frame the right way up, without copying a pixel.

    Parameters
    ----------
    img : ndarray, shape (height, width) or (height, width, channels)
        The frame as stored in its file.
    orientation : int
        Exif orientation, 1 to 8.

    Returns
    -------
    ndarray
        A view of `img`; writing to it writes to `img`.

    Raises
    ------
    ValueError
        If `orientation` is not 1 to 8.

    References
    ----------
    CIPA DC-008-2019 (Exif 2.32), 4.6.4, tag Orientation.

    Examples
    --------
    >>> upright_view(np.array([[1, 2, 3], [4, 5, 6]]), 6).tolist()
    [[4, 1], [5, 2], [6, 3]]
    """
    swapped, x_back, y_back = _layout(orientation)
    view = img.swapaxes(0, 1) if swapped else img
    return view[:: -1 if y_back else 1, :: -1 if x_back else 1]


def stored_view(img: NDArray[Any], orientation: int) -> NDArray[Any]:
    """
    Look at an upright frame as its file stores it: the way back from `upright_view`.

    Parameters
    ----------
    img : ndarray, shape (height, width) or (height, width, channels)
        The upright frame.
    orientation : int
        Exif orientation, 1 to 8.

    Returns
    -------
    ndarray
        A view of `img`.

    Raises
    ------
    ValueError
        If `orientation` is not 1 to 8.

    Examples
    --------
    >>> frame = np.arange(6).reshape(2, 3)
    >>> bool((stored_view(upright_view(frame, 8), 8) == frame).all())
    True
    """
    swapped, x_back, y_back = _layout(orientation)
    view = img[:: -1 if y_back else 1, :: -1 if x_back else 1]
    return view.swapaxes(0, 1) if swapped else view


def upright_size(size_px: tuple[int, int], orientation: int) -> tuple[int, int]:
    """
    Return (width, height) of the upright picture from those stored; its own inverse.

    Parameters
    ----------
    size_px : tuple of int
        Width and height as stored.
    orientation : int
        Exif orientation, 1 to 8.

    Returns
    -------
    tuple of int
        Width and height once upright.

    Raises
    ------
    ValueError
        If `orientation` is not 1 to 8.

    Examples
    --------
    >>> upright_size((6000, 4000), 6)
    (4000, 6000)
    """
    width, height = size_px
    return (height, width) if _layout(orientation)[0] else (width, height)


def upright_xy(xy_px: ArrayLike, size_px: tuple[int, int], orientation: int) -> NDArray[np.float64]:
    """
    Map points of the stored frame to the upright picture.

    Parameters
    ----------
    xy_px : array_like of float, shape (n, 2)
        Points as (x, y) in the stored frame, pixel centres on whole numbers.
    size_px : tuple of int
        Width and height as stored.
    orientation : int
        Exif orientation, 1 to 8.

    Returns
    -------
    ndarray of float64, shape (n, 2)
        The same points in the upright picture.

    Raises
    ------
    ValueError
        If `orientation` is not 1 to 8, or the points are not finite pairs.

    Examples
    --------
    >>> upright_xy([[0, 0]], (6000, 4000), 6).tolist()
    [[3999.0, 0.0]]
    """
    points = require_points(xy_px)
    if _layout(orientation)[0]:
        points = points[:, ::-1]
    return _mirrored(points, size_px, orientation)


def stored_xy(xy_px: ArrayLike, size_px: tuple[int, int], orientation: int) -> NDArray[np.float64]:
    """
    Map points of the upright picture to the stored frame: the inverse of `upright_xy`.

    Parameters
    ----------
    xy_px : array_like of float, shape (n, 2)
        Points as (x, y) in the upright picture, pixel centres on whole numbers.
    size_px : tuple of int
        Width and height **as stored** (the same pair that `upright_xy` takes).
    orientation : int
        Exif orientation, 1 to 8.

    Returns
    -------
    ndarray of float64, shape (n, 2)
        The same points in the stored frame.

    Raises
    ------
    ValueError
        If `orientation` is not 1 to 8, or the points are not finite pairs.

    Examples
    --------
    >>> stored_xy([[3999, 0]], (6000, 4000), 6).tolist()
    [[0.0, 0.0]]
    """
    points = _mirrored(require_points(xy_px), size_px, orientation)
    return points[:, ::-1].copy() if _layout(orientation)[0] else points


def _mirrored(
    points: NDArray[np.float64], size_px: tuple[int, int], orientation: int
) -> NDArray[np.float64]:
    """Turn points of the upright picture over where the stored frame runs the other way."""
    _, x_back, y_back = _layout(orientation)
    width, height = upright_size(size_px, orientation)
    mirrored = points.copy()
    if x_back:
        mirrored[:, 0] = width - 1 - mirrored[:, 0]
    if y_back:
        mirrored[:, 1] = height - 1 - mirrored[:, 1]
    return mirrored
