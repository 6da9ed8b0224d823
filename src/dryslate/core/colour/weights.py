"""How much each patch counts: its noise, its own doubt and the unlikeness of pigments."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.colour.spaces import lab_jacobian, lab_to_linear_srgb, linear_to_srgb

FloatArray = NDArray[np.float64]

GREY_SPREAD = 1.0
"""One standard deviation of a grey patch's lack of fit, in CIEDE2000-like units."""
COLOUR_SPREAD = 3.0
"""The same for a coloured patch: no linear map can serve all pigments at once."""
_CODE_STEP = 0.7 / 255.0


def decode_slope(encoded: ArrayLike) -> FloatArray:
    """
    Derivative of linear light by the encoded sRGB value.

    Parameters
    ----------
    encoded : array_like of float
        Encoded values; taken as 0 below 0 and as 1.2 above it.

    Returns
    -------
    ndarray of float
        The slope, same shape.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, derivative of the transfer function.

    Examples
    --------
    >>> print(np.round(decode_slope([0.0, 1.0]), 4))
    [0.0774 2.2749]
    """
    y = np.clip(np.asarray(encoded, dtype=np.float64), 0.0, 1.2)
    bend = 2.4 / 1.055 * ((y + 0.055) / 1.055) ** 1.4
    return np.asarray(np.where(y <= 0.04045, 1 / 12.92, bend), dtype=np.float64)


def difference_jacobian(lab: ArrayLike) -> FloatArray:
    """
    Derivative of lightness, chroma and hue difference by linear sRGB, in CIEDE2000 scale.

    Parameters
    ----------
    lab : array_like of float, shape (n, 3)
        L*, a*, b* (D65) where the derivative is taken.

    Returns
    -------
    ndarray of float, shape (n, 3, 3)
        Rows: lightness over S_L, chroma over S_C, hue over S_H (with T = 1).

    References
    ----------
    .. [1] Sharma, Wu & Dalal 2005, equations 15 to 17 (the hue's T and the rotation left out).

    Examples
    --------
    >>> difference_jacobian([[50.0, 0.0, 0.0]]).shape
    (1, 3, 3)
    """
    values = np.asarray(lab, dtype=np.float64)
    lightness, a, b = values[:, 0], values[:, 1], values[:, 2]
    chroma, hue = np.hypot(a, b), np.arctan2(b, a)
    s_l = 1.0 + 0.015 * (lightness - 50.0) ** 2 / np.sqrt(20.0 + (lightness - 50.0) ** 2)
    s_c, s_h = 1.0 + 0.045 * chroma, 1.0 + 0.015 * chroma
    cos, sin = np.cos(hue), np.sin(hue)
    turn = np.zeros((len(values), 3, 3))
    turn[:, 0, 0] = 1.0 / s_l
    turn[:, 1, 1], turn[:, 1, 2] = cos / s_c, sin / s_c
    turn[:, 2, 1], turn[:, 2, 2] = -sin / s_h, cos / s_h
    return np.asarray(turn @ lab_jacobian(lab_to_linear_srgb(values)), dtype=np.float64)


def whiten(
    lab: FloatArray,
    lab_u: FloatArray,
    mean_linear: FloatArray,
    cov_mean: FloatArray,
    to_out: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """
    Make the matrices that turn residuals in linear sRGB into units of their own spread.

    Parameters
    ----------
    lab, lab_u : ndarray of float, shape (n, 3)
        Reference colours (D65) and their standard uncertainty with the lack of fit, in Lab units.
    mean_linear : ndarray of float, shape (n, 3)
        File-linear means.
    cov_mean : ndarray of float, shape (n, 3, 3)
        Covariance of each mean.
    to_out : ndarray of float, shape (3, 3)
        First guess of the matrix from file-linear values to linear sRGB.

    Returns
    -------
    reference : ndarray of float, shape (n, 3)
        Reference in linear sRGB.
    whitener : ndarray of float, shape (n, 3, 3)
        W with ``W @ (prediction - reference)`` of unit covariance.

    Examples
    --------
    >>> reference, whitener = whiten(
    ...     np.array([[50.0, 0.0, 0.0]]), np.ones((1, 3)), np.full((1, 3), 0.2),
    ...     np.zeros((1, 3, 3)), np.eye(3),
    ... )
    >>> print(np.round(reference, 3))
    [[0.184 0.184 0.184]]
    """
    reference = lab_to_linear_srgb(lab)
    by_linear = difference_jacobian(lab)
    step = _CODE_STEP * decode_slope(linear_to_srgb(mean_linear))
    seen = cov_mean + (step * step)[:, :, None] * np.eye(3)
    by_file = by_linear @ to_out
    spread = by_file @ seen @ by_file.transpose(0, 2, 1) + (lab_u**2)[:, :, None] * np.eye(3)
    root = np.linalg.cholesky(np.linalg.inv(spread)).transpose(0, 2, 1)
    return reference, np.asarray(root @ by_linear, dtype=np.float64)
