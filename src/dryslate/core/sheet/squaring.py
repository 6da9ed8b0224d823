"""From the corner markers of a photographed sheet to the places of its cells in the photo."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.definition import Box
from dryslate.core.card.markers import aruco_dictionary, marker_corners_mm
from dryslate.core.sheet.number import N_DIGITS, is_sheet_number
from dryslate.core.sheet.page import (
    CORNER_DICTIONARY,
    CORNER_IDS,
    DIGIT_DICTIONARY,
    SheetPage,
)

FloatArray = NDArray[np.float64]
Grey = NDArray[np.uint8]

LEAST_CORNERS = 3
"""Fewer markers leave the far corner of the page to guesswork."""


def find_corners(img_grey: Grey) -> dict[int, FloatArray]:
    """
    Find the corner markers of a sheet.

    Parameters
    ----------
    img_grey : ndarray of uint8, shape (h, w)
        The upright photo.

    Returns
    -------
    dict of int to ndarray of float, shape (4, 2)
        By marker id: its own top left, top right, bottom right and bottom left in pixels, pixel
        centres on whole numbers. A marker that is seen twice is left out: two sheets in a photo.
    """
    seen = _find_markers(img_grey, CORNER_DICTIONARY)
    ids = [marker_id for marker_id, _ in seen]
    return {k: xy for k, xy in seen if k in CORNER_IDS and ids.count(k) == 1}


def _find_markers(img_grey: Grey, dictionary: str) -> list[tuple[int, FloatArray]]:
    """Every marker of a dictionary, its corners refined."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(aruco_dictionary(dictionary), settings)
    corners, ids, _ = detector.detectMarkers(img_grey)
    return [
        (int(k), np.asarray(xy, dtype=np.float64).reshape(4, 2))
        for k, xy in zip(np.ravel(ids) if len(corners) else (), corners, strict=True)
    ]


def read_number(img_grey: Grey, corners: Mapping[int, FloatArray]) -> str:
    """
    Read the number of a sheet.

    Parameters
    ----------
    img_grey : ndarray of uint8, shape (h, w)
    corners : Mapping
        As of `find_corners`; the two of the page's upper edge.

    Returns
    -------
    str
        Twelve digits.

    Raises
    ------
    InputError
        ``sheet-number-unreadable`` where the markers of the number are not all seen, or their
        check digits are wrong.
    """
    upper = [corners[k].mean(axis=0) for k in CORNER_IDS[:2] if k in corners]
    if len(upper) == 2:
        along = upper[1] - upper[0]
        groups = sorted(
            (float((xy.mean(axis=0) - upper[0]) @ along), k)
            for k, xy in _find_markers(img_grey, DIGIT_DICTIONARY)
        )
        number = "".join(f"{k:03d}" for _, k in groups)
        if len(number) == N_DIGITS and is_sheet_number(number):
            return number
    raise InputError(
        "sheet-number-unreadable",
        "The markers of the sheet's number cannot be read in this photo.",
        "Type the twelve digits that stand below them, or take the photo again, sharp and whole.",
    )


def fit_page(page: SheetPage, corners: Mapping[int, FloatArray]) -> FloatArray:
    """
    Find how a page lies in a photo.

    Parameters
    ----------
    page : SheetPage
    corners : Mapping
        As of `find_corners`.

    Returns
    -------
    ndarray of float, shape (3, 3)
        The homography from millimetres on the page to pixels.

    Raises
    ------
    InputError
        ``sheet-corners-too-few`` with fewer than three markers.

    Notes
    -----
    Least squares over all corners of the markers seen. Takes the page as flat and the lens as
    straight: a curled sheet, or a wide lens, moves cells away from the markers most in the middle
    of the page.
    """
    known = [marker for marker in page.corners if marker.marker_id in corners]
    if len(known) < LEAST_CORNERS:
        raise InputError(
            "sheet-corners-too-few",
            f"Only {len(known)} of the sheet's 4 corner markers are seen; {LEAST_CORNERS} are "
            "needed.",
            "Take the photo again with the whole sheet in it, flat, no finger on its corners.",
        )
    page_mm = np.vstack([marker_corners_mm(marker) for marker in known])
    seen_px = np.vstack([corners[marker.marker_id] for marker in known])
    found, _ = cv2.findHomography(page_mm, seen_px, 0)
    return np.asarray(found, dtype=np.float64)


def apply_page(to_px: FloatArray, points_mm: FloatArray) -> FloatArray:
    """Carry points on the page into the photo; shape (n, 2) both."""
    lifted = np.column_stack([points_mm, np.ones(len(points_mm))]) @ to_px.T
    return np.asarray(lifted[:, :2] / lifted[:, 2:], dtype=np.float64)


def box_corners_mm(box: Box) -> FloatArray:
    """Return the corners of a rectangle: top left, top right, bottom right, bottom left."""
    x1, y1 = box.x_mm + box.width_mm, box.y_mm + box.height_mm
    corners = [(box.x_mm, box.y_mm), (x1, box.y_mm), (x1, y1), (box.x_mm, y1)]
    return np.array(corners, dtype=np.float64)


def cell_corners_px(page: SheetPage, to_px: FloatArray) -> dict[str, FloatArray]:
    """
    Return where each cell of a page lies in a photo.

    Parameters
    ----------
    page : SheetPage
    to_px : ndarray of float, shape (3, 3)
        As of `fit_page`.

    Returns
    -------
    dict of str to ndarray of float, shape (4, 2)
        By cell id, in pixels.
    """
    return {cell.cell_id: apply_page(to_px, box_corners_mm(cell.box)) for cell in page.cells}


def straighten_page(
    img: NDArray[np.uint8], page: SheetPage, to_px: FloatArray, px_per_mm: float = 6.0
) -> NDArray[np.uint8]:
    """
    Cut a page out of its photo, seen straight from the front.

    Parameters
    ----------
    img : ndarray of uint8, shape (h, w) or (h, w, 3)
        The upright photo.
    page : SheetPage
    to_px : ndarray of float, shape (3, 3)
        As of `fit_page`.
    px_per_mm : float

    Returns
    -------
    ndarray of uint8
        The page from edge to edge; white where the photo does not show it.
    """
    size = (round(page.width_mm * px_per_mm), round(page.height_mm * px_per_mm))
    step = 1.0 / px_per_mm
    to_mm = np.array([[step, 0.0, step / 2], [0.0, step, step / 2], [0.0, 0.0, 1.0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    white = (255, 255, 255)
    out = cv2.warpPerspective(
        img, to_px @ to_mm, size, flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=white
    )
    return np.asarray(out, dtype=np.uint8)
