"""
Apply a correction to the pixels of a whole photo, within one level of the float64 reference.

Code values are few, so tone curve, veiling light and square roots become tables; the light field
is the product of a row and a column; what is left per pixel is one small matrix and one look-up.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.orientation import upright_xy
from dryslate.core.colour.correction import Correction, LightField, apply_tone
from dryslate.core.colour.spaces import linear_to_srgb

N_ENCODE = 16_384
"""Entries of the table from linear light to an 8-bit code: 16 KB, in the first-level cache."""

_N_ENCODE_WORDS = 65_536
_LOG_MOST = 43.0  # two factors of e^43 stay within float32


def apply_correction(
    pixels: NDArray[Any],
    linear_lut: NDArray[np.float32],
    correction: Correction,
    *,
    orientation: int = 1,
    reduced_by: int = 1,
    out: NDArray[np.uint8] | None = None,
) -> NDArray[np.uint8]:
    """
    Correct a photo to 8-bit sRGB.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        Code values as stored in the file, not turned. Not modified unless given as `out` too.
    linear_lut : ndarray of float32, shape (n_codes, 3)
        Linear light (0 to 1) for each code value and channel.
    correction : Correction
        Its light field is in pixels of the upright photo.
    orientation : int
        EXIF orientation of the stored pixels, 1 to 8.
    reduced_by : int
        1 for the photo itself; k where each pixel stands for a block of k x k pixels of it.
    out : ndarray of uint8, shape (height, width, 3), optional
        Filled and returned; may be `pixels` itself, to save a frame of memory.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB (D65) as stored: same orientation as `pixels`. Values out of gamut are clipped.

    Raises
    ------
    ValueError
        If an array's shape or type is not as stated (an error of the calling program).

    Notes
    -----
    Every value is within one level of clipping and encoding `correct_linear` in float64. True
    only near the card's distance, as stated there.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, transfer function.
    .. [2] Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Processing 24(5):1460-1470.

    Examples
    --------
    >>> from dryslate.core.colour.spaces import srgb_to_linear
    >>> lut = np.repeat(srgb_to_linear(np.arange(256) / 255)[:, None], 3, axis=1)
    >>> redder = Correction(
    ...     fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.diag([4.0, 1.0, 1.0])
    ... )
    >>> photo = np.full((2, 2, 3), 60, np.uint8)
    >>> print(apply_correction(photo, lut.astype(np.float32), redder)[0, 0])
    [118  60  60]
    """
    from dryslate.core.colour.kernels import correct_bytes

    _require_codes(pixels, linear_lut)
    target = _target(out, pixels.shape, np.uint8)
    tables, matrix, field = _prepare(pixels, linear_lut, correction, orientation, reduced_by)
    scaled = (matrix * (N_ENCODE - 1)).astype(np.float32)
    correct_bytes(_locked(pixels), target, tables, scaled, field, _byte_table())
    return target


def apply_correction_16(
    pixels: NDArray[Any],
    linear_lut: NDArray[np.float32],
    correction: Correction,
    *,
    orientation: int = 1,
    out: NDArray[np.uint16] | None = None,
) -> NDArray[np.uint16]:
    """
    Correct a photo to 16-bit sRGB, for TIFF.

    Parameters
    ----------
    pixels, linear_lut, correction, orientation
        As in `apply_correction`.
    out : ndarray of uint16, shape (height, width, 3), optional
        Filled and returned.

    Returns
    -------
    ndarray of uint16, shape (height, width, 3)
        sRGB (D65), 0 to 65,535, as stored.

    Raises
    ------
    ValueError
        If an array's shape or type is not as stated.

    Notes
    -----
    Within two levels of 65,535 of the float64 reference (float32 arithmetic inside).

    Examples
    --------
    >>> lut = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[:, None], 3, axis=1)
    >>> plain = Correction(
    ...     fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3)
    ... )
    >>> print(apply_correction_16(np.full((1, 1, 3), 255, np.uint8), lut, plain)[0, 0])
    [65535 65535 65535]
    """
    from dryslate.core.colour.kernels import correct_words

    _require_codes(pixels, linear_lut)
    target = _target(out, pixels.shape, np.uint16)
    tables, matrix, field = _prepare(pixels, linear_lut, correction, orientation, 1)
    scaled = (matrix * (_N_ENCODE_WORDS - 1)).astype(np.float32)
    correct_words(_locked(pixels), target, tables, scaled, field, _word_table())
    return target


def _require_codes(pixels: NDArray[Any], linear_lut: NDArray[np.float32]) -> None:
    """Refuse arrays that the compiled loop would read beyond."""
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype not in (np.uint8, np.uint16):
        raise ValueError(
            f"pixels: expected uint8 or uint16 (height, width, 3), got {pixels.dtype} "
            f"{pixels.shape}"
        )
    if linear_lut.ndim != 2 or linear_lut.shape[1] != 3:
        raise ValueError(f"linear_lut: expected (n_codes, 3), got {linear_lut.shape}")
    n_codes = 2 ** (8 * pixels.dtype.itemsize)
    if linear_lut.shape[0] < n_codes and (pixels.size and int(pixels.max()) >= linear_lut.shape[0]):
        raise ValueError(f"linear_lut: {linear_lut.shape[0]} codes do not cover the pixels")


def _locked(pixels: NDArray[Any]) -> NDArray[Any]:
    """Return a read-only view: one kind of input, so that the loop is compiled once."""
    view = pixels.view()
    view.setflags(write=False)
    return view


def _target(out: NDArray[Any] | None, shape: tuple[int, ...], dtype: Any) -> NDArray[Any]:
    """Return the array to fill."""
    if out is None:
        return np.empty(shape, dtype)
    if out.shape != shape or out.dtype != dtype:
        raise ValueError(f"out: expected {np.dtype(dtype)} {shape}, got {out.dtype} {out.shape}")
    return out


def _prepare(
    pixels: NDArray[Any],
    linear_lut: NDArray[np.float32],
    correction: Correction,
    orientation: int,
    reduced_by: int,
) -> tuple[NDArray[np.float32], NDArray[np.float64], tuple[NDArray[np.float32], ...]]:
    """Return the tables, the matrix and the separable light field of the compiled loop."""
    light = apply_tone(linear_lut, correction.tone) - correction.veil
    if correction.n_terms == 6:
        light = np.copysign(np.sqrt(np.abs(light)), light)
    tables = np.ascontiguousarray(light.T, dtype=np.float32)
    height, width = pixels.shape[:2]
    field = _field_factors((width, height), correction, orientation, reduced_by)
    return tables, np.asarray(correction.matrix, dtype=np.float64), field


def _field_factors(
    size_px: tuple[int, int], correction: Correction, orientation: int, reduced_by: int
) -> tuple[NDArray[np.float32], ...]:
    """Return exp(-log light) as a factor per column and per row, and its limits."""
    width, height = size_px
    if correction.field is None:
        return np.ones(width, np.float32), np.ones(height, np.float32), np.ones(2, np.float32)
    k, light = reduced_by, correction.field
    corners = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]) * k + (k - 1) / 2
    # Orientation maps are affine and keep right angles, so the field is a part of the column and
    # a part of the row; three points give both, for the photo that this is a copy of.
    at = upright_xy(corners, (width * k, height * k), orientation) - light.centre_px
    columns = -light.log_centre - _along(np.arange(width), at[0], at[1] - at[0], light)
    rows = -_along(np.arange(height), np.zeros(2), at[2] - at[0], light)
    rows -= 2.0 * light.bend_per_px2 * np.arange(height) * float(at[0] @ (at[2] - at[0]))
    limits = np.exp(-np.array([light.log_hi, light.log_lo]))
    return (
        np.exp(np.clip(columns, -_LOG_MOST, _LOG_MOST)).astype(np.float32),
        np.exp(np.clip(rows, -_LOG_MOST, _LOG_MOST)).astype(np.float32),
        limits.astype(np.float32),
    )


def _along(
    steps: NDArray[Any], start: NDArray[np.float64], way: NDArray[np.float64], light: LightField
) -> NDArray[np.float64]:
    """Slope and bend of the logarithm of light at start + steps * way, from the card's centre."""
    points = start + steps[:, None] * way
    bend = light.bend_per_px2 * (points * points).sum(axis=1)
    return np.asarray(points @ light.log_per_px + bend, dtype=np.float64)


@cache
def _byte_table() -> NDArray[np.uint8]:
    """Return the 8-bit sRGB code of each step of linear light."""
    steps = np.arange(N_ENCODE) / (N_ENCODE - 1)
    table = np.rint(255.0 * linear_to_srgb(steps)).astype(np.uint8)
    table.setflags(write=False)
    return table


@cache
def _word_table() -> NDArray[np.float32]:
    """Return the 16-bit sRGB value of each step of linear light, its last entry twice."""
    steps = np.minimum(np.arange(_N_ENCODE_WORDS + 1) / (_N_ENCODE_WORDS - 1), 1.0)
    table = (65_535.0 * linear_to_srgb(steps)).astype(np.float32)
    table.setflags(write=False)
    return table
