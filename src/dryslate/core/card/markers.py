"""Markers of open dictionaries: their cells, their rim, and where their corners lie on the card."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import Marker

APRILTAG_FAMILIES = {"36h11": "tag36h11", "16h5": "tag16h5", "25h9": "tag25h9"}
"""Dictionary names whose reader is the AprilTag library, with that library's own names."""

_ARUCO_NAMES = {
    "36h11": "DICT_APRILTAG_36h11",
    "16h5": "DICT_APRILTAG_16h5",
    "25h9": "DICT_APRILTAG_25h9",
    **{f"{n}X{n}_{m}": f"DICT_{n}X{n}_{m}" for n in (4, 5, 6, 7) for m in (50, 100, 250, 1000)},
}

DICTIONARIES = tuple(_ARUCO_NAMES)
"""All dictionary names a card may use."""


@cache
def aruco_dictionary(dictionary: str) -> cv2.aruco.Dictionary:
    """
    Return OpenCV's table of a dictionary.

    Parameters
    ----------
    dictionary : str
        One of `DICTIONARIES`.

    Returns
    -------
    cv2.aruco.Dictionary
        Shared; not to be changed.

    Raises
    ------
    ValueError
        If the name is unknown.
    """
    if dictionary not in _ARUCO_NAMES:
        expected = ", ".join(DICTIONARIES)
        raise ValueError(f"expected one of {expected}, got {dictionary!r}")
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, _ARUCO_NAMES[dictionary]))


def count_ids(dictionary: str) -> int:
    """
    Count the markers of a dictionary.

    Parameters
    ----------
    dictionary : str
        One of `DICTIONARIES`.

    Returns
    -------
    int
        Ids run from 0 to one less than this.

    Examples
    --------
    >>> count_ids("36h11")
    587
    """
    return int(aruco_dictionary(dictionary).bytesList.shape[0])


def marker_cells(dictionary: str, marker_id: int) -> NDArray[np.bool_]:
    """
    Return the cells of a marker, with its black border of one cell.

    Parameters
    ----------
    dictionary : str
        One of `DICTIONARIES`.
    marker_id : int
        Number within the dictionary.

    Returns
    -------
    ndarray of bool, shape (n, n)
        True where the cell is white; row 0 is the marker's own top.

    Raises
    ------
    ValueError
        If the dictionary is unknown or has no such id.

    Notes
    -----
    "Top" is the top of the picture that OpenCV draws; the AprilTag library's own idea of
    up is half a turn away from it.

    Examples
    --------
    >>> cells = marker_cells("36h11", 201)
    >>> cells.shape
    (8, 8)
    >>> bool(cells[0].any())
    False
    """
    table = aruco_dictionary(dictionary)
    n_ids = count_ids(dictionary)
    if not 0 <= marker_id < n_ids:
        raise ValueError(f"expected an id from 0 to {n_ids - 1} in {dictionary}, got {marker_id}")
    n = int(table.markerSize) + 2
    return np.asarray(cv2.aruco.generateImageMarker(table, int(marker_id), n)) > 127


def rim_mm(marker: Marker) -> float:
    """
    Return the width of the white rim around a marker: one cell.

    Parameters
    ----------
    marker : Marker

    Returns
    -------
    float
        Millimetres.

    Examples
    --------
    >>> rim_mm(Marker(dictionary="36h11", marker_id=0, x_mm=5.0, y_mm=5.0, side_mm=20.0))
    2.5
    """
    return marker.side_mm / (int(aruco_dictionary(marker.dictionary).markerSize) + 2)


def marker_corners_mm(marker: Marker) -> NDArray[np.float64]:
    """
    Return the corners of a marker's black square on the card.

    Parameters
    ----------
    marker : Marker

    Returns
    -------
    ndarray of float, shape (4, 2)
        The marker's own top left, top right, bottom right and bottom left, in millimetres from
        the card's top left corner.

    Examples
    --------
    >>> marker = Marker(dictionary="36h11", marker_id=0, x_mm=5.0, y_mm=5.0, side_mm=20.0)
    >>> marker_corners_mm(marker)[0]
    array([5., 5.])
    """
    square = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]) * marker.side_mm
    square += (marker.x_mm, marker.y_mm)
    return np.roll(square, -(marker.turn_deg // 90) % 4, axis=0)
