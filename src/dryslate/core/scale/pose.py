"""A plane in front of a camera: its points projected, and a first guess of where it lies."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import fit_homography
from dryslate.core.scale.camera import LensModel, apply_lens, apply_lens_backwards, lens_slopes

FloatArray = NDArray[np.float64]
N_POSE = 6

_CROSS_AXES = np.array(
    [
        [[0.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]],
        [[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]],
        [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]],
    ]
)
"""Matrices of the cross product with each axis."""


def rotation_matrix(turn: FloatArray) -> FloatArray:
    """
    Turn a rotation vector into a matrix.

    Parameters
    ----------
    turn : ndarray of float, shape (3,)
        Axis times angle in radians.

    Returns
    -------
    ndarray of float, shape (3, 3)

    References
    ----------
    .. [1] Rodrigues 1840, J. Math. Pures Appl. 5:380-440.

    Examples
    --------
    >>> rotation_matrix(np.array([0.0, 0.0, np.pi / 2])).round(6).tolist()[0]
    [0.0, -1.0, 0.0]
    """
    angle = float(np.sqrt(turn @ turn))
    x, y, z = turn
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-9:
        return np.asarray(np.eye(3) + cross)
    return np.asarray(
        np.eye(3)
        + np.sin(angle) / angle * cross
        + (1.0 - np.cos(angle)) / angle**2 * (cross @ cross)
    )


def rotation_vector(matrix: FloatArray) -> FloatArray:
    """
    Turn a rotation matrix into axis times angle.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)

    Returns
    -------
    ndarray of float, shape (3,)

    Examples
    --------
    >>> turn = np.array([0.1, -0.2, 0.3])
    >>> rotation_vector(rotation_matrix(turn)).round(9).tolist()
    [0.1, -0.2, 0.3]
    """
    return np.asarray(cv2.Rodrigues(matrix)[0], dtype=np.float64).ravel()


def apply_pose(
    theta: FloatArray, model: LensModel, half_px: float, centred_mm: FloatArray
) -> FloatArray:
    """
    Take points of a plane to pixels.

    Parameters
    ----------
    theta : ndarray of float, shape (6 + n,)
        Rotation vector, place of the plane's origin in millimetres, lens parameters.
    model : {"radial", "normal", "fisheye"}
    half_px : float
        Half diagonal of the frame.
    centred_mm : ndarray of float, shape (n, 2)
        Points in the plane, from its origin.

    Returns
    -------
    ndarray of float, shape (n, 2)
        Pixels.

    Examples
    --------
    >>> theta = np.array([0, 0, 0, 0, 0, 500.0, np.log(1000.0), 0, 0, 0, 0])
    >>> apply_pose(theta, "radial", 1000.0, np.array([[10.0, 5.0]])).round(6).tolist()
    [[20.0, 10.0]]
    """
    matrix = rotation_matrix(theta[:3])
    xyz = centred_mm @ matrix[:, :2].T + theta[3:6]
    return apply_lens(model, theta[N_POSE:], xyz[:, :2] / xyz[:, 2:], half_px)


def rotation_slopes(turn: FloatArray) -> FloatArray:
    """
    Differentiate a rotation matrix by its rotation vector.

    Parameters
    ----------
    turn : ndarray of float, shape (3,)

    Returns
    -------
    ndarray of float, shape (3, 3, 3)
        First axis: component of `turn`.

    References
    ----------
    .. [1] Gallego & Yezzi 2015, J. Math. Imaging Vis. 51:378-384, equation (9).

    Examples
    --------
    >>> rotation_slopes(np.zeros(3))[2].tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    """
    matrix = rotation_matrix(turn)
    square = float(turn @ turn)
    if square < 1e-12:
        return np.asarray(_CROSS_AXES @ matrix)
    own = turn @ _CROSS_AXES.reshape(3, 9)
    tip = (np.eye(3) - matrix).T @ own.reshape(3, 3).T  # row i: turn x (I - R) e_i
    out = (turn[:, None] * own + tip @ _CROSS_AXES.reshape(3, 9)) / square
    return np.asarray(out.reshape(3, 3, 3) @ matrix)


def depths_mm(theta: FloatArray, centred_mm: FloatArray) -> FloatArray:
    """
    Tell how far in front of the camera points of a plane lie.

    Parameters
    ----------
    theta : ndarray of float, shape (6 + n,)
    centred_mm : ndarray of float, shape (n, 2)

    Returns
    -------
    ndarray of float, shape (n,)
        Along the optical axis; negative behind the camera.

    Examples
    --------
    >>> depths_mm(np.array([0, 0, 0, 0, 0, 500.0]), np.array([[10.0, 5.0]])).tolist()
    [500.0]
    """
    matrix = rotation_matrix(theta[:3])
    return np.asarray(centred_mm @ matrix[2, :2] + theta[5])


def pose_slopes(
    theta: FloatArray, model: LensModel, half_px: float, centred_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Differentiate `apply_pose`.

    Parameters
    ----------
    theta, model, half_px, centred_mm
        As in `apply_pose`.

    Returns
    -------
    by_mm : ndarray of float, shape (n, 2, 2)
        Slope of the pixel by the point in the plane.
    by_theta : ndarray of float, shape (n, 2, 6 + m)

    Examples
    --------
    >>> theta = np.array([0, 0, 0, 0, 0, 500.0, np.log(1000.0), 0, 0, 0, 0])
    >>> pose_slopes(theta, "radial", 1000.0, np.zeros((1, 2)))[0].round(9).tolist()
    [[[2.0, 0.0], [0.0, 2.0]]]
    """
    matrix = rotation_matrix(theta[:3])
    xyz = centred_mm @ matrix[:, :2].T + theta[3:6]
    xy, depth = xyz[:, :2] / xyz[:, 2:], xyz[:, 2]
    by_xy, by_lens = lens_slopes(model, theta[N_POSE:], xy, half_px)
    perspective = np.zeros((len(xy), 2, 3))
    perspective[:, 0, 0] = perspective[:, 1, 1] = 1.0 / depth
    perspective[:, :, 2] = -xy / depth[:, None]
    by_xyz = by_xy @ perspective
    turned = np.einsum("kab,nb->nak", rotation_slopes(theta[:3])[:, :, :2], centred_mm)
    by_theta = np.concatenate([by_xyz @ turned, by_xyz, by_lens], axis=2)
    return by_xyz @ matrix[:, :2], by_theta


def apply_pose_backwards(
    theta: FloatArray, model: LensModel, half_px: float, points_px: FloatArray
) -> FloatArray:
    """
    Take pixels to points of a plane.

    Parameters
    ----------
    theta, model, half_px
        As in `apply_pose`.
    points_px : ndarray of float, shape (n, 2)

    Returns
    -------
    ndarray of float, shape (n, 2)
        Millimetres from the plane's origin; NaN where the line of sight misses the plane.

    Examples
    --------
    >>> theta = np.array([0, 0, 0, 0, 0, 500.0, np.log(1000.0), 0, 0, 0, 0])
    >>> apply_pose_backwards(theta, "radial", 1000.0, np.array([[20.0, 10.0]])).round(6).tolist()
    [[10.0, 5.0]]
    """
    matrix = rotation_matrix(theta[:3])
    xy = apply_lens_backwards(model, theta[N_POSE:], points_px, half_px)
    rays = np.column_stack([xy, np.ones(len(xy))])
    normal = matrix[:, 2]
    steep = rays @ normal
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (normal @ theta[3:6]) / steep
    along = np.where(along > 0, along, np.nan)
    return np.asarray((rays * along[:, None] - theta[3:6]) @ matrix[:, :2])


def no_plane() -> InputError:
    """
    Build the error for corners that no flat card before the camera fits.

    Returns
    -------
    InputError
        ``scale-no-plane``.
    """
    return InputError(
        "scale-no-plane",
        "No flat card before the camera fits the corners found.",
        "Check the order of the corners, the card's definition and the lens file.",
    )


def find_poses(
    centred_mm: FloatArray,
    points_px: FloatArray,
    lens: tuple[LensModel, FloatArray, float],
    weights: FloatArray,
) -> tuple[FloatArray, ...]:
    """
    Guess where a plane lies, from its homography.

    Parameters
    ----------
    centred_mm, points_px : ndarray of float, shape (n, 2)
    lens : tuple
        Model, parameters and half diagonal of the frame.
    weights : ndarray of float, shape (n,)

    Returns
    -------
    tuple of ndarray of float, shape (6,)
        Rotation vector and place; the second is tilted the other way about the line of sight,
        which a distant plane resembles.

    Raises
    ------
    InputError
        ``scale-no-plane`` for corners that are folded: some would lie behind the camera.

    Notes
    -----
    The columns of the homography of directions are the plane's axes up to scale [1]_.

    References
    ----------
    .. [1] Zhang 2000, IEEE Trans. PAMI 22:1330-1334, section 3.1.
    """
    model, params, half_px = lens
    seen = apply_lens_backwards(model, params, points_px, half_px)
    fine = np.isfinite(seen).all(axis=1)
    h = fit_homography(centred_mm[fine], seen[fine], weights[fine])
    scale = 2.0 / (np.linalg.norm(h[:, 0]) + np.linalg.norm(h[:, 1]))
    depth = centred_mm @ h[2, :2] + h[2, 2]
    if depth.min() * depth.max() <= 0:
        raise no_plane()
    if depth[0] < 0:
        scale = -scale
    x, y, place = h[:, 0] * scale, h[:, 1] * scale, h[:, 2] * scale
    u, _, vt = np.linalg.svd(np.column_stack([x, y, np.cross(x, y)]))
    matrix = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    sight = place / np.linalg.norm(place)
    half_turn = 2.0 * np.outer(sight, sight) - np.eye(3)
    normal = matrix[:, 2]
    mirrored = half_turn @ normal
    axis = np.cross(normal, mirrored)
    sine, cosine = float(np.linalg.norm(axis)), float(normal @ mirrored)
    if sine < 1e-6:
        return (np.concatenate([rotation_vector(matrix), place]),)
    swing = rotation_matrix(axis / sine * np.arctan2(sine, cosine))
    return (
        np.concatenate([rotation_vector(matrix), place]),
        np.concatenate([rotation_vector(swing @ matrix), place]),
    )
