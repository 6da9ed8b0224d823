"""
From a direction in front of the camera to a pixel, and back.

Three lens models, each a parameter vector:

``radial``
    ``[ln f, cx, cy, a1, a2]``: focal length in pixels, principal point, and radial distortion
    in units of the half diagonal of the frame, so that `a1` reads as the shift at the corner.
``normal``
    ``[fx, fy, cx, cy, k1, k2, p1, p2, k3]``: radial and decentring distortion.
``fisheye``
    ``[fx, fy, cx, cy, k1, k2, k3, k4]``: image radius as a polynomial in the angle.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
LensModel = Literal["radial", "normal", "fisheye"]

N_PARAMS: dict[LensModel, int] = {"radial": 5, "normal": 9, "fisheye": 8}


def half_diagonal_px(image_size_px: tuple[int, int]) -> float:
    """
    Return half the diagonal of a frame.

    Parameters
    ----------
    image_size_px : tuple of int
        Width and height.

    Returns
    -------
    float
        In pixels.

    Examples
    --------
    >>> half_diagonal_px((4000, 3000))
    2500.0
    """
    return float(np.hypot(*image_size_px)) / 2.0


def _radial(c: FloatArray, xy: FloatArray, half_px: float) -> FloatArray:
    """Model `radial`: distortion as a polynomial in the undistorted radius."""
    uv = np.exp(c[0]) * xy
    rho2 = np.sum(uv**2, axis=1, keepdims=True) / half_px**2
    return np.asarray(c[1:3] + uv * (1.0 + c[3] * rho2 + c[4] * rho2**2))


def _normal(c: FloatArray, xy: FloatArray) -> FloatArray:
    """Model `normal`: Brown 1971, radial to the sixth power and decentring."""
    x, y = xy[:, 0], xy[:, 1]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (c[4] + r2 * (c[5] + r2 * c[8]))
    p1, p2 = c[6], c[7]
    xd = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
    yd = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
    return np.column_stack([c[0] * xd + c[2], c[1] * yd + c[3]])


def _fisheye(c: FloatArray, xy: FloatArray) -> FloatArray:
    """Model `fisheye`: Kannala & Brandt 2006, odd polynomial in the angle."""
    r = np.hypot(xy[:, 0], xy[:, 1])
    angle = np.arctan(r)
    a2 = angle * angle
    radius = angle * (1.0 + a2 * (c[4] + a2 * (c[5] + a2 * (c[6] + a2 * c[7]))))
    scale = np.where(r > 1e-9, radius / np.maximum(r, 1e-9), 1.0)
    return np.column_stack([c[0] * xy[:, 0] * scale + c[2], c[1] * xy[:, 1] * scale + c[3]])


def apply_lens(
    model: LensModel, params: ArrayLike, xy_norm: ArrayLike, half_px: float
) -> FloatArray:
    """
    Take directions to pixels.

    Parameters
    ----------
    model : {"radial", "normal", "fisheye"}
    params : array_like of float
        As the module says for the model.
    xy_norm : array_like of float, shape (n, 2)
        Direction as x/z and y/z (z along the optical axis).
    half_px : float
        Half diagonal of the frame, for ``radial``.

    Returns
    -------
    ndarray of float, shape (n, 2)
        Pixels.

    References
    ----------
    .. [1] Brown 1971, Photogrammetric Engineering 37:855-866.
    .. [2] Kannala & Brandt 2006, IEEE Trans. PAMI 28:1335-1340.

    Examples
    --------
    >>> lens = [np.log(1000.0), 500.0, 400.0, 0.0, 0.0]
    >>> apply_lens("radial", lens, [(0.1, 0.0)], 640.0).round(6).tolist()
    [[600.0, 400.0]]
    """
    c = np.asarray(params, dtype=np.float64)
    xy = np.asarray(xy_norm, dtype=np.float64).reshape(-1, 2)
    if model == "radial":
        return _radial(c, xy, half_px)
    return _normal(c, xy) if model == "normal" else _fisheye(c, xy)


def _radial_slopes(c: FloatArray, xy: FloatArray, half_px: float) -> tuple[FloatArray, FloatArray]:
    """Slopes of `_radial` by direction and by parameters."""
    focal = float(np.exp(c[0]))
    uv = focal * xy
    rho2 = np.sum(uv**2, axis=1) / half_px**2
    gain = 1.0 + c[3] * rho2 + c[4] * rho2**2
    bend = 2.0 * c[3] + 4.0 * c[4] * rho2
    outer = uv[:, :, None] * uv[:, None, :] / half_px**2
    by_xy = focal * (gain[:, None, None] * np.eye(2) + bend[:, None, None] * outer)
    by_c = np.zeros((len(xy), 2, 5))
    by_c[:, :, 0] = uv * (gain + bend * rho2)[:, None]
    by_c[:, 0, 1] = by_c[:, 1, 2] = 1.0
    by_c[:, :, 3] = uv * rho2[:, None]
    by_c[:, :, 4] = uv * (rho2**2)[:, None]
    return by_xy, by_c


def _normal_slopes(c: FloatArray, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes of `_normal` by direction and by parameters."""
    x, y = xy[:, 0], xy[:, 1]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (c[4] + r2 * (c[5] + r2 * c[8]))
    bend = 2.0 * (c[4] + r2 * (2.0 * c[5] + 3.0 * r2 * c[8]))  # d radial / d r2, doubled
    p1, p2 = c[6], c[7]
    jac = np.empty((len(xy), 2, 2))
    jac[:, 0, 0] = radial + bend * x * x + 2.0 * p1 * y + 6.0 * p2 * x
    jac[:, 1, 1] = radial + bend * y * y + 6.0 * p1 * y + 2.0 * p2 * x
    jac[:, 0, 1] = jac[:, 1, 0] = bend * x * y + 2.0 * p1 * x + 2.0 * p2 * y
    by_c = np.zeros((len(xy), 2, 9))
    by_c[:, 0, 0] = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
    by_c[:, 1, 1] = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
    by_c[:, 0, 2] = by_c[:, 1, 3] = 1.0
    scaled = c[:2] * xy
    for column, power in ((4, 1), (5, 2), (8, 3)):
        by_c[:, :, column] = scaled * (r2**power)[:, None]
    by_c[:, :, 6] = c[:2] * np.column_stack([2.0 * x * y, r2 + 2.0 * y * y])
    by_c[:, :, 7] = c[:2] * np.column_stack([r2 + 2.0 * x * x, 2.0 * x * y])
    return jac * c[:2][:, None], by_c


def _fisheye_slopes(c: FloatArray, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes of `_fisheye` by direction and by parameters."""
    r = np.maximum(np.hypot(xy[:, 0], xy[:, 1]), 1e-9)
    angle = np.arctan(r)
    powers = angle[:, None] ** np.array([2.0, 4.0, 6.0, 8.0])
    radius = angle * (1.0 + powers @ c[4:])
    scale = radius / r
    slope = (1.0 + powers @ (c[4:] * np.array([3.0, 5.0, 7.0, 9.0]))) / (1.0 + r * r)
    unit = xy / r[:, None]
    outer = unit[:, :, None] * unit[:, None, :]
    jac = scale[:, None, None] * np.eye(2) + (slope - scale)[:, None, None] * outer
    by_c = np.zeros((len(xy), 2, 8))
    by_c[:, 0, 0], by_c[:, 1, 1] = xy[:, 0] * scale, xy[:, 1] * scale
    by_c[:, 0, 2] = by_c[:, 1, 3] = 1.0
    by_c[:, :, 4:] = (c[:2] * unit)[:, :, None] * (angle[:, None] * powers)[:, None, :]
    return jac * c[:2][:, None], by_c


def lens_slopes(
    model: LensModel, params: ArrayLike, xy_norm: ArrayLike, half_px: float
) -> tuple[FloatArray, FloatArray]:
    """
    Differentiate `apply_lens`.

    Parameters
    ----------
    model, params, xy_norm, half_px
        As in `apply_lens`.

    Returns
    -------
    by_xy : ndarray of float, shape (n, 2, 2)
        Slope of the pixel (second axis) by the direction (last axis).
    by_params : ndarray of float, shape (n, 2, m)

    Examples
    --------
    >>> by_xy, by_params = lens_slopes("radial", [0.0, 0, 0, 0, 0], [(0.1, 0.0)], 100.0)
    >>> by_xy[0].tolist(), by_params.shape
    ([[1.0, 0.0], [0.0, 1.0]], (1, 2, 5))
    """
    c = np.asarray(params, dtype=np.float64)
    xy = np.asarray(xy_norm, dtype=np.float64).reshape(-1, 2)
    if model == "radial":
        return _radial_slopes(c, xy, half_px)
    return _normal_slopes(c, xy) if model == "normal" else _fisheye_slopes(c, xy)


def focal_and_centre(model: LensModel, params: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """
    Read focal length and principal point from a model's parameters.

    Parameters
    ----------
    model : {"radial", "normal", "fisheye"}
    params : array_like of float

    Returns
    -------
    focal_px, centre_px : ndarray of float, shape (2,)

    Examples
    --------
    >>> focal, centre = focal_and_centre("radial", [np.log(900.0), 3.0, 4.0, 0.0, 0.0])
    >>> focal.round(6).tolist(), centre.tolist()
    ([900.0, 900.0], [3.0, 4.0])
    """
    c = np.asarray(params, dtype=np.float64)
    if model == "radial":
        return np.full(2, np.exp(c[0])), c[1:3].copy()
    return c[:2].copy(), c[2:4].copy()


def apply_lens_backwards(
    model: LensModel, params: ArrayLike, points_px: ArrayLike, half_px: float
) -> FloatArray:
    """
    Take pixels to directions.

    Parameters
    ----------
    model, params, half_px
        As in `apply_lens`.
    points_px : array_like of float, shape (n, 2)

    Returns
    -------
    ndarray of float, shape (n, 2)
        Directions as x/z and y/z; NaN where the model has no direction for a pixel (a strong
        barrel distortion folds back beyond some radius).

    Notes
    -----
    Newton's method on `apply_lens`; stops at 1e-7 px.

    Examples
    --------
    >>> lens = [1000.0, 1000.0, 500.0, 400.0, -0.1, 0.0, 0.0, 0.0, 0.0]
    >>> there = apply_lens("normal", lens, [(0.3, 0.2)], 640.0)
    >>> apply_lens_backwards("normal", lens, there, 640.0).round(9).tolist()
    [[0.3, 0.2]]
    """
    px = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    focal, centre = focal_and_centre(model, params)
    xy = (px - centre) / focal
    if model == "fisheye":
        angle = np.minimum(np.hypot(xy[:, 0], xy[:, 1]), 1.5)
        xy = xy * (np.tan(angle) / np.maximum(angle, 1e-12))[:, None]
    for _ in range(30):
        miss = px - apply_lens(model, params, xy, half_px)
        if np.all(np.abs(miss) < 1e-7):
            break
        slope = lens_slopes(model, params, xy, half_px)[0]
        det = slope[:, 0, 0] * slope[:, 1, 1] - slope[:, 0, 1] * slope[:, 1, 0]
        det = np.where(np.abs(det) < 1e-12, np.nan, det)
        move_x = (slope[:, 1, 1] * miss[:, 0] - slope[:, 0, 1] * miss[:, 1]) / det
        move_y = (slope[:, 0, 0] * miss[:, 1] - slope[:, 1, 0] * miss[:, 0]) / det
        xy = xy + np.clip(np.column_stack([move_x, move_y]), -0.5, 0.5)
    miss = np.abs(px - apply_lens(model, params, xy, half_px))
    return np.where(np.all(miss < 1e-3, axis=1)[:, None], xy, np.nan)
