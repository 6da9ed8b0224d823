"""Reading markers of open dictionaries in a grey picture, with one reader per thread."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import pyapriltags
from numpy.typing import NDArray

from dryslate.core.card.found import FloatArray
from dryslate.core.card.markers import APRILTAG_FAMILIES, aruco_dictionary, count_ids

MIN_MARGIN = 4.0
"""Decision margin below which the AprilTag reader is guessing."""

HALF_PIXEL = 0.5
"""The AprilTag library counts from pixel edges; we count from pixel centres."""

WEAK_CODES = 2000.0
"""Dictionaries that a random square hits more often than once in so many are weak proof."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawMarker:
    """
    A marker as a reader gives it.

    Parameters
    ----------
    dictionary, marker_id
        As in `Marker`.
    corners_px : ndarray of float, shape (4, 2)
        Its own top left, top right, bottom right, bottom left; pixel centres on whole numbers.
    margin : float
        Decision margin; 0 where the reader gives none.
    """

    dictionary: str
    marker_id: int
    corners_px: FloatArray
    margin: float


class _Kept(pyapriltags.Detector):
    """A reader that is never torn down: the library crashes when readers come and go."""

    def __del__(self) -> None:
        pass


_readers = threading.local()
_all_readers: list[_Kept] = []


def _reader(families: tuple[str, ...]) -> _Kept:
    """Return this thread's reader for these families, made on first use."""
    key = " ".join(families)
    made: dict[str, _Kept] = _readers.__dict__  # the thread's own
    if key not in made:
        made[key] = _Kept(families=key, nthreads=1, quad_decimate=1.0)
        _all_readers.append(made[key])
    return made[key]


def is_weak(dictionary: str) -> bool:
    """
    Tell whether a dictionary is so dense that a single marker of it proves little.

    Parameters
    ----------
    dictionary : str

    Returns
    -------
    bool

    Notes
    -----
    A random framed square is read as one of n ids with a probability near 4 n / 2^bits.

    Examples
    --------
    >>> is_weak("4X4_50"), is_weak("16h5"), is_weak("36h11")
    (True, True, False)
    """
    bits = int(aruco_dictionary(dictionary).markerSize) ** 2
    return bool(2.0**bits / (4.0 * count_ids(dictionary)) < WEAK_CODES)


def find_apriltags(
    grey: NDArray[np.uint8], dictionaries: Iterable[str], *, coarse: bool = False
) -> list[RawMarker]:
    """
    Read AprilTags.

    Parameters
    ----------
    grey : ndarray of uint8, shape (h, w)
    dictionaries : iterable of str
        Those that are AprilTag families are read, the others passed over.
    coarse : bool
        Look for squares on every other pixel only: three to four times as fast, but markers under
        about 25 pixels are often missed.

    Returns
    -------
    list of RawMarker
        In pixels of `grey`; margin above 4, at most one wrong bit (none in weak families).

    Examples
    --------
    >>> find_apriltags(np.zeros((40, 40), np.uint8), ["36h11"])
    []
    """
    wanted = sorted({d for d in dictionaries if d in APRILTAG_FAMILIES})
    if not wanted or min(grey.shape) < 12:
        return []
    reader = _reader(tuple(APRILTAG_FAMILIES[d] for d in wanted))
    # set for each call: a second reader would hold a table of codes of its own, 30 MB
    library: Any = reader.tag_detector_ptr
    library.contents.quad_decimate = 2.0 if coarse else 1.0
    out = []
    for seen in reader.detect(np.ascontiguousarray(grey)):
        dictionary = seen.tag_family.decode("ascii").removeprefix("tag")
        allowed = 0 if is_weak(dictionary) else 1
        if seen.decision_margin <= MIN_MARGIN or seen.hamming > allowed:
            continue
        # The library starts at what the drawn marker calls top right and goes round by its left.
        corners = np.asarray(seen.corners, dtype=np.float64)[[1, 0, 3, 2]] - HALF_PIXEL
        out.append(
            RawMarker(
                dictionary=dictionary,
                marker_id=int(seen.tag_id),
                corners_px=corners,
                margin=float(seen.decision_margin),
            )
        )
    return out


def _aruco_settings() -> cv2.aruco.DetectorParameters:
    """Settings that also read markers of low contrast."""
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = 5
    settings.adaptiveThreshWinSizeMax = 29
    settings.adaptiveThreshWinSizeStep = 12
    settings.adaptiveThreshConstant = 3
    settings.minMarkerPerimeterRate = 0.04
    return settings


def find_aruco(grey: NDArray[np.uint8], dictionaries: Iterable[str]) -> list[RawMarker]:
    """
    Read markers with OpenCV's reader, set for low contrast.

    Parameters
    ----------
    grey : ndarray of uint8, shape (h, w)
    dictionaries : iterable of str

    Returns
    -------
    list of RawMarker
        In pixels of `grey`; corners are good to about a pixel.

    Examples
    --------
    >>> find_aruco(np.zeros((40, 40), np.uint8), ["4X4_50"])
    []
    """
    out = []
    picture = np.ascontiguousarray(grey)
    for dictionary in sorted(set(dictionaries)):
        settings = _aruco_settings()
        if is_weak(dictionary):
            settings.errorCorrectionRate = 0.0
        reader = cv2.aruco.ArucoDetector(aruco_dictionary(dictionary), settings)
        corners, ids, _ = reader.detectMarkers(picture)
        for quad, marker_id in zip(corners, [] if not corners else np.ravel(ids), strict=True):
            out.append(
                RawMarker(
                    dictionary=dictionary,
                    marker_id=int(marker_id),
                    corners_px=np.asarray(quad, dtype=np.float64).reshape(4, 2),
                    margin=0.0,
                )
            )
    return out
