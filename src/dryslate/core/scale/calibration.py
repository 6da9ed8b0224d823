"""Lens calibration from photos of a flat board, with the covariance of what it finds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.card.found import frozen
from dryslate.core.scale.camera import half_diagonal_px
from dryslate.core.scale.lens import Lens
from dryslate.core.scale.pose import apply_pose, pose_slopes, rotation_matrix

FloatArray = NDArray[np.float64]
CalibratedModel = Literal["normal", "fisheye"]

LEAST_VIEWS = 5
LEAST_POINTS = 8
LEAST_TILT_SPREAD_DEG = 12.0
LARGEST_RMS_FRAC = 0.001
"""Largest accepted residual, in half diagonals (2.5 px in 12 MP)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardView:
    """
    One photo's view of the board.

    Parameters
    ----------
    name : str
        The photo, for messages.
    points_mm, points_px : ndarray of float, shape (n, 2)
        The board's corners in its own plane and in the photo, in the sensor's frame.
    """

    name: str
    points_mm: FloatArray
    points_px: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm))
        object.__setattr__(self, "points_px", frozen(self.points_px))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """
    The outcome of a calibration.

    Parameters
    ----------
    lens : Lens
    rms_px_by_view : tuple of float
        Root mean square residual of each view, both coordinates.
    tilt_spread_deg : float
        Largest angle between two views of the board.
    covered_frac : float
        How far from the principal point the board reached, in half diagonals.
    problems : tuple of Problem
    """

    lens: Lens
    rms_px_by_view: tuple[float, ...]
    tilt_spread_deg: float
    covered_frac: float
    problems: tuple[Problem, ...]


def fit_lens(
    views: Sequence[BoardView], image_size_px: tuple[int, int], model: CalibratedModel, name: str
) -> Calibration:
    r"""
    Calibrate a lens from views of a flat board.

    Parameters
    ----------
    views : sequence of BoardView
        At least five with eight corners or more, tilted in different directions.
    image_size_px : tuple of int
        Width and height of the photos as the sensor stores them.
    model : {"normal", "fisheye"}
    name : str
        What to call the lens.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        ``lens-too-few-views``; ``lens-views-too-similar`` when the board was always seen at
        nearly the same tilt, which leaves focal length and distance undecided;
        ``lens-fit-failed`` when no lens of this model fits.

    Notes
    -----
    Start by Zhang's method in OpenCV [1]_, then all parameters and poses together. The
    covariance is that of least squares with the residual's own variance, times the ratio of
    corners to views' degrees of freedom where the residuals within a view hang together: it
    is taken from the spread of whole views (a sandwich estimate over views), since a bent board
    or refraction moves many corners alike; the larger of the two is kept for each direction.

    References
    ----------
    .. [1] Zhang 2000, IEEE Trans. PAMI 22:1330-1334.
    .. [2] White 1980, Econometrica 48:817-838 (covariance from the scores of groups).
    """
    used = [v for v in views if len(v.points_px) >= LEAST_POINTS]
    if len(used) < LEAST_VIEWS:
        raise InputError(
            "lens-too-few-views",
            f"The board was read in {len(used)} photos with {LEAST_POINTS} corners or more; "
            f"{LEAST_VIEWS} are needed.",
            "Take 12 to 20 photos: board near the middle and near each edge, tilted to all sides.",
        )
    params, poses = _start(used, image_size_px, model)
    theta, covariance, residuals = _refine(used, params, poses, model, image_size_px)
    n = len(params)
    spread = _tilt_spread_deg([theta[n + 6 * i : n + 6 * i + 3] for i in range(len(used))])
    if spread < LEAST_TILT_SPREAD_DEG:
        raise InputError(
            "lens-views-too-similar",
            f"All photos show the board at nearly the same tilt (spread {spread:.0f} degrees; at "
            f"least {LEAST_TILT_SPREAD_DEG:.0f} needed).",
            "Tilt the board by 20 to 40 degrees to the left, right, top and bottom.",
        )
    half = half_diagonal_px(image_size_px)
    corners = np.concatenate([v.points_px for v in used])
    radius = float(np.percentile(np.hypot(*(corners - theta[2:4]).T), 99.0))
    rms = tuple(float(np.sqrt(np.mean(r**2))) for r in residuals)
    overall = float(np.sqrt(np.mean(np.concatenate(residuals) ** 2)))
    lens = Lens(
        name=name,
        model=model,
        image_size_px=image_size_px,
        params=theta[:n],
        covariance=covariance,
        rms_px=overall,
        n_views=len(used),
        radius_px=radius,
    )
    problems = _reservations(lens, rms, [v.name for v in used], radius / half)
    return Calibration(
        lens=lens,
        rms_px_by_view=rms,
        tilt_spread_deg=spread,
        covered_frac=radius / half,
        problems=problems,
    )


def _start(
    views: Sequence[BoardView], size: tuple[int, int], model: CalibratedModel
) -> tuple[FloatArray, list[FloatArray]]:
    """First guess of lens and poses by OpenCV."""
    flat = [np.column_stack([v.points_mm, np.zeros(len(v.points_mm))]) for v in views]
    try:
        if model == "normal":
            _, matrix, bend, turns, places = cv2.calibrateCamera(
                [p.astype(np.float32) for p in flat],
                [v.points_px.astype(np.float32) for v in views],
                size,
                None,
                None,
            )
            tail = np.asarray(bend).ravel()[:5]
        else:
            _, matrix, bend, turns, places = cv2.fisheye.calibrate(
                [p[None] for p in flat],
                [np.array(v.points_px)[None] for v in views],
                size,
                np.eye(3),
                np.zeros((4, 1)),
                flags=cv2.CALIB_RECOMPUTE_EXTRINSIC | cv2.CALIB_FIX_SKEW,
            )
            tail = np.asarray(bend).ravel()[:4]
    except cv2.error as error:
        raise InputError(
            "lens-fit-failed",
            f"No lens of the {model} model fits these photos.",
            "Use sharp photos of a flat board from one camera at one zoom, with the board tilted "
            "to all sides; try the other model.",
        ) from error
    head = [matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2]]
    poses = [np.concatenate([np.ravel(r), np.ravel(t)]) for r, t in zip(turns, places, strict=True)]
    return np.concatenate([head, tail]).astype(np.float64), poses


def _refine(
    views: Sequence[BoardView],
    params: FloatArray,
    poses: Sequence[FloatArray],
    model: CalibratedModel,
    size: tuple[int, int],
) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
    """Gauss-Newton over lens and poses; returns parameters, lens covariance, residuals by view."""
    n, half = len(params), half_diagonal_px(size)
    theta = np.concatenate([params, *poses])
    best = np.inf
    for _ in range(30):
        pieces = [_view_pieces(v, theta, i, n, model, half) for i, v in enumerate(views)]
        cost = float(sum(float(r @ r) for r, _ in pieces))
        if not np.isfinite(cost) or cost >= best * (1 - 1e-9):
            break
        best, kept = cost, theta
        normal = sum(j.T @ j for _, j in pieces)
        slope = sum(j.T @ r for r, j in pieces)
        scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
        step = np.linalg.lstsq(normal / np.outer(scale, scale), -slope / scale, rcond=1e-12)[0]
        theta = theta + step / scale
    theta = kept
    pieces = [_view_pieces(v, theta, i, n, model, half) for i, v in enumerate(views)]
    covariance = _covariance(pieces, n)
    return theta, covariance, [r for r, _ in pieces]


def _view_pieces(
    view: BoardView, theta: FloatArray, i: int, n: int, model: CalibratedModel, half: float
) -> tuple[FloatArray, FloatArray]:
    """Residuals of one view and their slopes by all parameters."""
    pose = slice(n + 6 * i, n + 6 * i + 6)
    own = np.concatenate([theta[pose], theta[:n]])
    miss = apply_pose(own, model, half, view.points_mm) - view.points_px
    by_own = pose_slopes(own, model, half, view.points_mm)[1].reshape(-1, 6 + n)
    jac = np.zeros((by_own.shape[0], len(theta)))
    jac[:, pose], jac[:, :n] = by_own[:, :6], by_own[:, 6:]
    return miss.ravel(), jac


def _covariance(pieces: Sequence[tuple[FloatArray, FloatArray]], n: int) -> FloatArray:
    """Covariance of the lens: by least squares, or by the spread of whole views where larger."""
    normal = sum(j.T @ j for _, j in pieces)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    inverse = np.linalg.pinv(normal / np.outer(scale, scale), hermitian=True, rcond=1e-13)
    inverse = inverse / np.outer(scale, scale)
    n_free = sum(len(r) for r, _ in pieces) - len(scale)
    variance = sum(float(r @ r) for r, _ in pieces) / max(n_free, 1)
    plain = variance * inverse[:n, :n]
    scores = np.array([j.T @ r for r, j in pieces])
    groups = len(pieces)
    spread = (inverse @ scores.T @ scores @ inverse)[:n, :n] * groups / max(groups - 1, 1)
    return _larger(plain, spread)


def _larger(a: FloatArray, b: FloatArray) -> FloatArray:
    """Covariance no smaller than either, direction by direction."""
    root = np.linalg.cholesky(a + 1e-12 * np.diag(np.diag(a)) + 1e-300 * np.eye(len(a)))
    inner = np.linalg.solve(root, np.linalg.solve(root, b).T)
    values, vectors = np.linalg.eigh((inner + inner.T) / 2.0)
    grown = vectors @ np.diag(np.maximum(values, 1.0)) @ vectors.T
    return np.asarray(root @ grown @ root.T)


def _tilt_spread_deg(turns: Sequence[FloatArray]) -> float:
    """Largest angle between the board's normals in two views."""
    normals = np.array([rotation_matrix(turn)[:, 2] for turn in turns])
    return float(np.degrees(np.arccos(np.clip(np.min(normals @ normals.T), -1.0, 1.0))))


def _reservations(
    lens: Lens, rms: Sequence[float], names: Sequence[str], covered: float
) -> tuple[Problem, ...]:
    """What speaks against trusting a calibration too far."""
    problems = []
    half = half_diagonal_px(lens.image_size_px)
    if lens.rms_px > LARGEST_RMS_FRAC * half:
        problems.append(
            Problem(
                slug="lens-residuals-large",
                severity="warning",
                place="lens",
                message=f"The corners miss the model by {lens.rms_px:.2f} px on average.",
                fix="Check that the board is flat, the photos sharp, zoom and focus unchanged; "
                "try the other model.",
            )
        )
    middle = float(np.median(rms))
    for name, value in zip(names, rms, strict=True):
        if value > 3.0 * middle and value > 0.3:
            problems.append(
                Problem(
                    slug="lens-view-poor",
                    severity="warning",
                    place=name,
                    message=f"This view misses the model by {value:.2f} px; the others by "
                    f"{middle:.2f} px.",
                    fix="Leave it out, or take it again.",
                )
            )
    if covered < 0.8:
        problems.append(
            Problem(
                slug="lens-edges-not-covered",
                severity="warning",
                place="lens",
                message=f"The board reached only {100 * covered:.0f} % of the way to the corners "
                "of the frame.",
                fix="Add photos with the board in each corner; points out there are flagged.",
            )
        )
    return tuple(problems)
