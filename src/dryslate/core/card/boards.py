"""Calibration boards: corners of a checkerboard or of a board of squares with markers in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.channel import find_strongest, split_channel
from dryslate.core.card.found import FloatArray, frozen
from dryslate.core.card.markers import aruco_dictionary

SEARCH_SIDE_PX = 1400
MIN_CORNERS = 8
FLOOR_U_PX = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """
    A flat calibration board.

    Parameters
    ----------
    kind : {"checkerboard", "charuco"}
        Plain squares, or squares with ArUco markers in the white ones.
    n_across, n_down : int
        Squares across and down (not inner corners).
    square_mm : float
        Side of a square.
    marker_mm : float
        Side of a marker; charuco only.
    dictionary : str
        Dictionary of the markers; charuco only.
    """

    kind: Literal["checkerboard", "charuco"]
    n_across: int
    n_down: int
    square_mm: float
    marker_mm: float = 0.0
    dictionary: str = "4X4_50"

    def __post_init__(self) -> None:
        if min(self.n_across, self.n_down) < 3 or not self.square_mm > 0:
            raise ValueError(
                "expected at least 3 by 3 squares of more than 0 mm, got "
                f"{self.n_across} by {self.n_down} of {self.square_mm:g} mm"
            )
        if self.kind == "charuco" and not 0 < self.marker_mm < self.square_mm:
            raise ValueError(
                f"expected markers smaller than the squares ({self.square_mm:g} mm), "
                f"got {self.marker_mm:g} mm"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardPoints:
    """
    Inner corners of a board seen in a photo.

    Parameters
    ----------
    points_mm, points_px : ndarray of float, shape (n, 2)
        On the board, from its first inner corner; and in the upright photo, pixel centres on
        whole numbers.
    corner_u_px : float
        One standard uncertainty of each coordinate in the photo.
    size_px : tuple of int
        Width and height of the photo.
    """

    points_mm: FloatArray
    points_px: FloatArray
    corner_u_px: float
    size_px: tuple[int, int]

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm))
        object.__setattr__(self, "points_px", frozen(self.points_px))


def _sharpened(grey: NDArray[np.uint8], xy_px: FloatArray) -> FloatArray:
    """Refine inner corners on the full-size photo, in a window that fits their spacing."""
    start = xy_px.astype(np.float32).reshape(-1, 1, 2)
    gaps = np.hypot(*np.diff(xy_px, axis=0).T)
    reach = int(np.clip(0.3 * np.percentile(gaps, 20), 3, 9))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.005)
    refined = cv2.cornerSubPix(grey, start, (reach, reach), (-1, -1), stop)
    return np.asarray(refined, dtype=np.float64).reshape(-1, 2)


def _grid_mm(board: Board) -> FloatArray:
    """Inner corners row by row, from the first."""
    xs, ys = np.meshgrid(np.arange(board.n_across - 1), np.arange(board.n_down - 1))
    squares = np.column_stack([xs.ravel(), ys.ravel()]).astype(np.float64)
    return np.asarray(squares * board.square_mm, dtype=np.float64)


def _find_checkerboard(
    grey: NDArray[np.uint8], board: Board
) -> tuple[FloatArray, FloatArray] | None:
    """Find all inner corners of a plain board on a smaller copy."""
    shrink = max(1.0, max(grey.shape) / SEARCH_SIDE_PX)
    size = (round(grey.shape[1] / shrink), round(grey.shape[0] / shrink))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if shrink > 1 else grey
    inner = (board.n_across - 1, board.n_down - 1)
    flags = cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY
    seen, corners = cv2.findChessboardCornersSB(small, inner, flags=flags)
    if not seen or corners is None:
        return None
    xy = np.asarray(corners, dtype=np.float64).reshape(-1, 2)
    scale = np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    return _grid_mm(board), (xy + 0.5) * scale - 0.5


def _find_charuco(grey: NDArray[np.uint8], board: Board) -> tuple[FloatArray, FloatArray] | None:
    """Find those inner corners whose neighbouring markers are read."""
    drawn = cv2.aruco.CharucoBoard(
        (board.n_across, board.n_down),
        board.square_mm,
        board.marker_mm,
        aruco_dictionary(board.dictionary),
    )
    shrink = max(1.0, max(grey.shape) / (2.0 * SEARCH_SIDE_PX))
    size = (round(grey.shape[1] / shrink), round(grey.shape[0] / shrink))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if shrink > 1 else grey
    corners, ids, _, _ = cv2.aruco.CharucoDetector(drawn).detectBoard(small)
    if ids is None or corners is None or len(corners) < MIN_CORNERS:
        return None
    scale = np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    xy = np.asarray(corners, dtype=np.float64).reshape(-1, 2)
    return _grid_mm(board)[np.ravel(ids)], (xy + 0.5) * scale - 0.5


def find_board(img: NDArray[np.uint8], board: Board) -> BoardPoints | None:
    """
    Find the inner corners of a calibration board.

    Parameters
    ----------
    img : ndarray of uint8, shape (h, w, 3)
        Upright.
    board : Board

    Returns
    -------
    BoardPoints or None
        None where the board is not seen: a checkerboard must be wholly in the frame, of a
        charuco board at least eight inner corners.

    Notes
    -----
    Found on a smaller copy, refined on the strongest channel at full size. A checkerboard with an
    odd and an even number of squares has one way up; others may come out turned, which does
    not matter to a calibration.

    Examples
    --------
    >>> board = Board(kind="checkerboard", n_across=7, n_down=5, square_mm=20.0)
    >>> find_board(np.zeros((60, 80, 3), np.uint8), board) is None
    True
    """
    channel = split_channel(img, index=find_strongest(img), n_levels=1)
    grey = np.ascontiguousarray(channel.levels[0])
    seek = _find_charuco if board.kind == "charuco" else _find_checkerboard
    pair = seek(grey, board)
    if pair is None:
        return None
    mm, px = pair
    sharp = _sharpened(grey, px)
    moved = np.hypot(*(sharp - px).T)
    spread = float(np.median(moved))
    gap = float(np.percentile(np.hypot(*np.diff(px, axis=0).T), 20))
    keep = moved <= max(4.0 * spread, 0.2 * gap)  # farther, and it is another corner
    if keep.sum() < MIN_CORNERS:
        return None
    return BoardPoints(
        points_mm=mm[keep],
        points_px=sharp[keep],
        corner_u_px=max(FLOOR_U_PX, 0.25 * spread),
        size_px=channel.size_px,
    )
