"""Plane homographies: fit from pairs of points, apply, local scale."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]


def _normaliser(xy: FloatArray) -> FloatArray:
    """Similarity that centres points and gives them mean radius sqrt(2) (Hartley 1997)."""
    centre = xy.mean(axis=0)
    radius = float(np.mean(np.hypot(*(xy - centre).T)))
    scale = np.sqrt(2.0) / radius if radius > 0 else 1.0
    return np.array(
        [[scale, 0.0, -scale * centre[0]], [0.0, scale, -scale * centre[1]], [0.0, 0.0, 1.0]]
    )


def require_spread(xy: FloatArray, what: str) -> None:
    """Raise unless at least four points span a plane, no more than one off a line excluded."""
    centred = xy - xy.mean(axis=0)
    (xx, across), (_, yy) = (centred.T @ centred).tolist()
    middle = (xx + yy) / 2.0  # the larger principal axis in closed form; the other by the product
    larger = middle + math.hypot((xx - yy) / 2.0, across)
    if larger <= 0 or (xx * yy - across * across) / larger < 1e-8 * larger:
        raise InputError(
            "scale-points-on-a-line",
            f"The {what} points lie on one line; a plane needs four that span an area.",
            "Use markers or corners that are apart in both directions.",
        )


def fit_homography(
    points_from: ArrayLike, points_to: ArrayLike, weights: ArrayLike | None = None
) -> FloatArray:
    r"""
    Fit the homography that takes one plane's points to another's.

    Parameters
    ----------
    points_from, points_to : array_like of float, shape (n, 2)
        Pairs of points, n >= 4, not on one line.
    weights : array_like of float, shape (n,), optional
        Relative weight of each pair (inverse standard uncertainty); 1 each when absent.

    Returns
    -------
    ndarray of float, shape (3, 3)
        Scaled so that its last element is 1.

    Raises
    ------
    InputError
        ``scale-too-few-points`` with fewer than four pairs; ``scale-points-on-a-line`` if they
        do not span a plane.

    Notes
    -----
    Normalised direct linear transformation [1]_: exact for four pairs; with more it minimises
    an algebraic distance, good as a start for a least-squares fit.

    References
    ----------
    .. [1] Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., algorithm 4.2.

    Examples
    --------
    >>> square = [(0, 0), (1, 0), (1, 1), (0, 1)]
    >>> doubled = [(0, 0), (2, 0), (2, 2), (0, 2)]
    >>> bool(np.allclose(fit_homography(square, doubled), np.diag([2.0, 2.0, 1.0])))
    True
    """
    source = np.asarray(points_from, dtype=np.float64).reshape(-1, 2)
    target = np.asarray(points_to, dtype=np.float64).reshape(-1, 2)
    if len(source) < 4 or len(source) != len(target):
        raise InputError(
            "scale-too-few-points",
            f"A plane needs four pairs of points; found {min(len(source), len(target))}.",
            "Keep at least one whole marker, or give the card's four corners.",
        )
    require_spread(source, "card's")
    require_spread(target, "photo's")
    exact = _through_four(source, target) if len(source) == 4 else None
    if exact is not None:
        return exact
    w = np.ones(len(source)) if weights is None else np.asarray(weights, dtype=np.float64)
    t_from, t_to = _normaliser(source), _normaliser(target)
    a, b = apply_homography(t_from, source), apply_homography(t_to, target)
    one, nil = np.ones(len(a)), np.zeros((len(a), 3))
    lifted = np.column_stack([a, one])
    rows_x = np.hstack([lifted, nil, -b[:, :1] * lifted])
    rows_y = np.hstack([nil, lifted, -b[:, 1:] * lifted])
    design = np.vstack([rows_x * w[:, None], rows_y * w[:, None]])
    h = np.linalg.svd(design, full_matrices=False)[2][-1].reshape(3, 3)
    full = np.linalg.solve(t_to, h @ t_from)
    return np.asarray(full / full[2, 2], dtype=np.float64)


def _through_four(source: FloatArray, target: FloatArray) -> FloatArray | None:
    """Homography through four pairs, exactly; None where their middle goes to infinity."""
    from_middle, to_middle = source.mean(axis=0), target.mean(axis=0)
    from_size = float(np.abs(source - from_middle).max())
    to_size = float(np.abs(target - to_middle).max())
    a, b = (source - from_middle) / from_size, (target - to_middle) / to_size
    design = np.zeros((8, 8))
    design[:4, :2] = design[4:, 3:5] = a
    design[:4, 2] = design[4:, 5] = 1.0
    design[:4, 6:] = -b[:, :1] * a
    design[4:, 6:] = -b[:, 1:] * a
    try:
        h = np.append(np.linalg.solve(design, b.T.ravel()), 1.0).reshape(3, 3)
    except np.linalg.LinAlgError:
        return None
    back = np.array([[to_size, 0, to_middle[0]], [0, to_size, to_middle[1]], [0, 0, 1.0]])
    there = np.array([[1, 0, -from_middle[0]], [0, 1, -from_middle[1]], [0, 0, from_size]])
    full = back @ h @ there
    return np.asarray(full / full[2, 2], dtype=np.float64)


def apply_homography(homography: ArrayLike, points: ArrayLike) -> FloatArray:
    """
    Take points through a homography.

    Parameters
    ----------
    homography : array_like of float, shape (3, 3)
    points : array_like of float, shape (n, 2)

    Returns
    -------
    ndarray of float, shape (n, 2)
        Points on the horizon become infinite.

    Examples
    --------
    >>> apply_homography([[2, 0, 1], [0, 2, 0], [0, 0, 1]], [(1.0, 1.0)]).tolist()
    [[3.0, 2.0]]
    """
    h = np.asarray(homography, dtype=np.float64)
    xy = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    lifted = np.column_stack([xy, np.ones(len(xy))]) @ h.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(lifted[:, :2] / lifted[:, 2:], dtype=np.float64)


def homography_jacobian(homography: ArrayLike, point: ArrayLike) -> FloatArray:
    """
    Differentiate a homography at a point.

    Parameters
    ----------
    homography : array_like of float, shape (3, 3)
    point : array_like of float, shape (2,)

    Returns
    -------
    ndarray of float, shape (2, 2)
        Row: output coordinate; column: input coordinate. The root of its determinant is the
        local scale.

    Examples
    --------
    >>> homography_jacobian([[2, 0, 1], [0, 3, 0], [0, 0, 1]], (5.0, 7.0)).tolist()
    [[2.0, 0.0], [0.0, 3.0]]
    """
    h = np.asarray(homography, dtype=np.float64)
    x, y = np.asarray(point, dtype=np.float64)
    u, v, w = h @ np.array([x, y, 1.0])
    out = np.array(
        [
            [h[0, 0] * w - u * h[2, 0], h[0, 1] * w - u * h[2, 1]],
            [h[1, 0] * w - v * h[2, 0], h[1, 1] * w - v * h[2, 1]],
        ]
    )
    return np.asarray(out / w**2, dtype=np.float64)
