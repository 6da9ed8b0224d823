"""
Colour spaces: sRGB code values, linear light, XYZ and CIELAB, with Bradford adaptation.

Everything is for the 2 degree observer. XYZ is scaled so that the white has Y = 1. The 7-digit
matrix between linear sRGB and XYZ is used throughout (the 4-digit one of the standard differs
by up to about 0.03 in Lab).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

WHITE_D65: tuple[float, float, float] = (0.95047, 1.0, 1.08883)
WHITE_D50: tuple[float, float, float] = (0.96422, 1.0, 0.82521)

SRGB_TO_XYZ: FloatArray = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
XYZ_TO_SRGB: FloatArray = np.asarray(np.linalg.inv(SRGB_TO_XYZ), dtype=np.float64)
BRADFORD: FloatArray = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
for _constant in (SRGB_TO_XYZ, XYZ_TO_SRGB, BRADFORD):
    _constant.setflags(write=False)

_EPSILON = 216.0 / 24389.0
_KAPPA = 24389.0 / 27.0


def srgb_to_linear(encoded: ArrayLike) -> FloatArray:
    """
    Convert encoded sRGB (0 to 1) to linear light.

    Parameters
    ----------
    encoded : array_like of float
        Encoded values; an 8-bit code divided by 255. Any shape; values outside 0 to 1 follow
        the same curve, odd about zero.

    Returns
    -------
    ndarray of float
        Linear light, same shape.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, transfer function.

    Examples
    --------
    >>> print(np.round(srgb_to_linear([0.0, 128 / 255, 1.0]), 6))
    [0.       0.215861 1.      ]
    """
    v = np.asarray(encoded, dtype=np.float64)
    size = np.abs(v)
    curve = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.copysign(curve, v), dtype=np.float64)


def linear_to_srgb(linear: ArrayLike) -> FloatArray:
    """
    Convert linear light to encoded sRGB (0 to 1), without clipping.

    Parameters
    ----------
    linear : array_like of float
        Linear light, any shape; negative values follow the same curve, odd about zero.

    Returns
    -------
    ndarray of float
        Encoded values, same shape.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, transfer function.

    Examples
    --------
    >>> print(np.round(linear_to_srgb([0.0, 0.2158605, 1.0]) * 255, 2))
    [  0. 128. 255.]
    """
    v = np.asarray(linear, dtype=np.float64)
    size = np.abs(v)
    curve = np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    return np.asarray(np.copysign(curve, v), dtype=np.float64)


def linear_srgb_to_xyz(linear: ArrayLike) -> FloatArray:
    """
    Convert linear sRGB to XYZ (D65, white Y = 1).

    Parameters
    ----------
    linear : array_like of float, shape (..., 3)
        Linear sRGB.

    Returns
    -------
    ndarray of float, shape (..., 3)
        X, Y, Z.

    References
    ----------
    .. [1] IEC 61966-2-1:1999; matrix to seven digits from its primaries and white.

    Examples
    --------
    >>> print(np.round(linear_srgb_to_xyz([1.0, 1.0, 1.0]), 4))
    [0.9505 1.     1.0888]
    """
    return np.asarray(np.asarray(linear, dtype=np.float64) @ SRGB_TO_XYZ.T, dtype=np.float64)


def xyz_to_linear_srgb(xyz: ArrayLike) -> FloatArray:
    """
    Convert XYZ (D65, white Y = 1) to linear sRGB, without clipping.

    Parameters
    ----------
    xyz : array_like of float, shape (..., 3)
        X, Y, Z.

    Returns
    -------
    ndarray of float, shape (..., 3)
        Linear sRGB; outside 0 to 1 where the colour lies outside the gamut.

    Examples
    --------
    >>> print(np.round(xyz_to_linear_srgb([0.95047, 1.0, 1.08883]), 4))
    [1. 1. 1.]
    """
    return np.asarray(np.asarray(xyz, dtype=np.float64) @ XYZ_TO_SRGB.T, dtype=np.float64)


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = WHITE_D65) -> FloatArray:
    """
    Convert XYZ to CIELAB, with the linear branch near black.

    Parameters
    ----------
    xyz : array_like of float, shape (..., 3)
        X, Y, Z on the scale of `white`; negative values stay on the linear branch.
    white : array_like of float, shape (3,)
        XYZ of the white.

    Returns
    -------
    ndarray of float, shape (..., 3)
        L*, a*, b*.

    References
    ----------
    .. [1] CIE 15:2004, equations 8.3 to 8.11.

    Examples
    --------
    >>> print(np.round(xyz_to_lab([0.2, 0.2, 0.2]), 4))
    [51.8372  4.9934  3.2713]
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    f = np.where(
        ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)), (_KAPPA * ratio + 16.0) / 116.0
    )
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: ArrayLike, white: ArrayLike = WHITE_D65) -> FloatArray:
    """
    Convert CIELAB to XYZ, with the linear branch near black.

    Parameters
    ----------
    lab : array_like of float, shape (..., 3)
        L*, a*, b*.
    white : array_like of float, shape (3,)
        XYZ of the white.

    Returns
    -------
    ndarray of float, shape (..., 3)
        X, Y, Z.

    References
    ----------
    .. [1] CIE 15:2004, inverse of equations 8.3 to 8.11.

    Examples
    --------
    >>> print(np.round(lab_to_xyz([50.0, 0.0, 0.0]), 4))
    [0.1751 0.1842 0.2005]
    """
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    cube = f**3
    ratio = np.where(cube > _EPSILON, cube, (116.0 * f - 16.0) / _KAPPA)
    return np.asarray(ratio * np.asarray(white, dtype=np.float64), dtype=np.float64)


def bradford_matrix(white_from: ArrayLike, white_to: ArrayLike) -> FloatArray:
    """
    Make the linear Bradford matrix that carries XYZ from one white to another.

    Parameters
    ----------
    white_from, white_to : array_like of float, shape (3,)
        XYZ of the two whites.

    Returns
    -------
    ndarray of float, shape (3, 3)
        Matrix to multiply column vectors of XYZ with.

    References
    ----------
    .. [1] ICC.1:2010, annex E (linearised Bradford).

    Examples
    --------
    >>> print(np.round(bradford_matrix(WHITE_D65, WHITE_D50) @ WHITE_D65, 5))
    [0.96422 1.      0.82521]
    """
    cone_from = BRADFORD @ np.asarray(white_from, dtype=np.float64)
    cone_to = BRADFORD @ np.asarray(white_to, dtype=np.float64)
    return np.asarray(np.linalg.inv(BRADFORD) @ np.diag(cone_to / cone_from) @ BRADFORD)


def adapt_bradford(xyz: ArrayLike, white_from: ArrayLike, white_to: ArrayLike) -> FloatArray:
    """
    Adapt XYZ from one white to another.

    Parameters
    ----------
    xyz : array_like of float, shape (..., 3)
        X, Y, Z under `white_from`.
    white_from, white_to : array_like of float, shape (3,)
        XYZ of the two whites.

    Returns
    -------
    ndarray of float, shape (..., 3)
        X, Y, Z under `white_to`.

    References
    ----------
    .. [1] ICC.1:2010, annex E (linearised Bradford).

    Examples
    --------
    >>> print(np.round(adapt_bradford(WHITE_D50, WHITE_D50, WHITE_D65), 5))
    [0.95047 1.      1.08883]
    """
    matrix = bradford_matrix(white_from, white_to)
    return np.asarray(np.asarray(xyz, dtype=np.float64) @ matrix.T, dtype=np.float64)


def lab_d50_to_d65(lab_d50: ArrayLike) -> FloatArray:
    """
    Convert CIELAB for D50 to CIELAB for D65 by Bradford adaptation.

    Parameters
    ----------
    lab_d50 : array_like of float, shape (..., 3)
        L*, a*, b* for D50.

    Returns
    -------
    ndarray of float, shape (..., 3)
        L*, a*, b* for D65.

    Notes
    -----
    An adaptation is an estimate: colours measured under D50 may look a little different under
    D65 (up to about 1 CIEDE2000 for strongly banded pigments; common experience, no source).

    Examples
    --------
    >>> print(np.abs(np.round(lab_d50_to_d65([50.0, 0.0, 0.0]), 3)))
    [50.  0.  0.]
    """
    xyz = adapt_bradford(lab_to_xyz(lab_d50, WHITE_D50), WHITE_D50, WHITE_D65)
    return xyz_to_lab(xyz, WHITE_D65)


def lab_to_linear_srgb(lab_d65: ArrayLike) -> FloatArray:
    """
    Convert CIELAB for D65 to linear sRGB, without clipping.

    Parameters
    ----------
    lab_d65 : array_like of float, shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    ndarray of float, shape (..., 3)
        Linear sRGB.

    Examples
    --------
    >>> print(np.round(lab_to_linear_srgb([50.0, 0.0, 0.0]), 4))
    [0.1842 0.1842 0.1842]
    """
    return xyz_to_linear_srgb(lab_to_xyz(lab_d65))


def linear_srgb_to_lab(linear: ArrayLike) -> FloatArray:
    """
    Convert linear sRGB to CIELAB for D65.

    Parameters
    ----------
    linear : array_like of float, shape (..., 3)
        Linear sRGB; values outside 0 to 1 are allowed.

    Returns
    -------
    ndarray of float, shape (..., 3)
        L*, a*, b*.

    Examples
    --------
    >>> print(np.round(linear_srgb_to_lab([1.0, 0.0, 0.0]), 2))
    [53.24 80.09 67.2 ]
    """
    return xyz_to_lab(linear_srgb_to_xyz(linear))


def lab_jacobian(linear: ArrayLike) -> FloatArray:
    """
    Derivative of CIELAB (D65) by linear sRGB.

    Parameters
    ----------
    linear : array_like of float, shape (..., 3)
        Linear sRGB where the derivative is taken.

    Returns
    -------
    ndarray of float, shape (..., 3, 3)
        Row i, column j: d Lab_i / d linear_j.

    References
    ----------
    .. [1] CIE 15:2004, derivatives of equations 8.3 to 8.11.

    Examples
    --------
    >>> print(np.round(lab_jacobian([0.5, 0.5, 0.5]).sum(axis=1) * 0.01, 3) + 0.0)
    [0.614 0.    0.   ]
    """
    ratio = linear_srgb_to_xyz(linear) / np.asarray(WHITE_D65)
    slope = np.where(
        ratio > _EPSILON,
        np.cbrt(np.maximum(ratio, _EPSILON)) ** -2 / 3.0,
        _KAPPA / 116.0,
    )
    by_f = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    by_linear = SRGB_TO_XYZ / np.asarray(WHITE_D65)[:, None]
    return np.asarray((by_f * slope[..., None, :]) @ by_linear, dtype=np.float64)
