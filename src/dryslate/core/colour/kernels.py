"""
The compiled inner loop: code values in, corrected code values out, in one pass over the photo.

Blocks of a row stay in the first-level cache: look up, mix, encode. The arithmetic between the
two look-ups is a plain loop over float32 planes, which compilers turn into vector instructions.
Square roots cost nothing: the tables hold the root of linear light, so a channel is the square of
its entry and a root-polynomial term is the product of two.

Compiled once per machine and kept in numba's cache; where no cache can be written, compiled again
in each process. Serial and without the interpreter lock, so photos run side by side in threads.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dryslate.core.arrays.compiled import compiled

BLOCK = 256
"""Pixels handled at a time: six planes of this length fit the first-level cache."""

N_ROOT_TERMS = 6
"""R, G, B and the roots of RG, GB, RB."""


@compiled
def _look_up(pixels: Any, tables: Any, planes: Any) -> None:  # pragma: no cover
    """Fill the three planes of one block from code values."""
    red, green, blue = tables[0], tables[1], tables[2]
    out_r, out_g, out_b = planes[0], planes[1], planes[2]
    for i in range(pixels.shape[0]):
        out_r[i] = red[pixels[i, 0]]
        out_g[i] = green[pixels[i, 1]]
        out_b[i] = blue[pixels[i, 2]]


@compiled
def _mix_roots(planes: Any, matrix: Any, shade: Any, top: Any) -> None:  # pragma: no cover
    """Mix signed roots of linear light by a root-polynomial of degree 2, scale, clip to 0..top."""
    p0, p1, p2 = planes[0], planes[1], planes[2]
    zero = np.float32(0.0)
    a0, a1, a2, a3, a4, a5 = matrix[0]
    b0, b1, b2, b3, b4, b5 = matrix[1]
    c0, c1, c2, c3, c4, c5 = matrix[2]
    for i in range(shade.shape[0]):
        s, r, g, b = shade[i], p0[i], p1[i], p2[i]
        rr, gg, bb = r * abs(r), g * abs(g), b * abs(b)
        r = zero if r < zero else r
        g = zero if g < zero else g
        b = zero if b < zero else b
        rg, gb, rb = r * g, g * b, r * b
        u = (a0 * rr + a1 * gg + a2 * bb + a3 * rg + a4 * gb + a5 * rb) * s
        v = (b0 * rr + b1 * gg + b2 * bb + b3 * rg + b4 * gb + b5 * rb) * s
        w = (c0 * rr + c1 * gg + c2 * bb + c3 * rg + c4 * gb + c5 * rb) * s
        u = zero if u < zero else u
        v = zero if v < zero else v
        w = zero if w < zero else w
        p0[i] = top if u > top else u
        p1[i] = top if v > top else v
        p2[i] = top if w > top else w


@compiled
def _mix_linear(planes: Any, matrix: Any, shade: Any, top: Any) -> None:  # pragma: no cover
    """Mix linear light by a 3x3 matrix, scale, clip to 0..top."""
    p0, p1, p2 = planes[0], planes[1], planes[2]
    zero = np.float32(0.0)
    a0, a1, a2 = matrix[0]
    b0, b1, b2 = matrix[1]
    c0, c1, c2 = matrix[2]
    for i in range(shade.shape[0]):
        s, r, g, b = shade[i], p0[i], p1[i], p2[i]
        u = (a0 * r + a1 * g + a2 * b) * s
        v = (b0 * r + b1 * g + b2 * b) * s
        w = (c0 * r + c1 * g + c2 * b) * s
        u = zero if u < zero else u
        v = zero if v < zero else v
        w = zero if w < zero else w
        p0[i] = top if u > top else u
        p1[i] = top if v > top else v
        p2[i] = top if w > top else w


@compiled
def _encode_bytes(planes: Any, index: Any, table: Any, out: Any) -> None:  # pragma: no cover
    """Round each value to an entry of the output table and write the table's byte."""
    half = np.float32(0.5)
    p0, p1, p2 = planes[0], planes[1], planes[2]
    i0, i1, i2 = index[0], index[1], index[2]
    n = out.shape[0]
    for i in range(n):
        i0[i] = np.uint16(np.int32(p0[i] + half))
        i1[i] = np.uint16(np.int32(p1[i] + half))
        i2[i] = np.uint16(np.int32(p2[i] + half))
    for i in range(n):
        out[i, 0] = table[i0[i]]
        out[i, 1] = table[i1[i]]
        out[i, 2] = table[i2[i]]


@compiled
def _encode_words(planes: Any, table: Any, out: Any) -> None:  # pragma: no cover
    """Interpolate the output table linearly and round to 16 bits."""
    half = np.float32(0.5)
    for i in range(out.shape[0]):
        for c in range(3):
            value = planes[c, i]
            low = np.uint32(value)
            part = value - np.float32(low)
            code = table[low] + part * (table[low + np.uint32(1)] - table[low])
            out[i, c] = np.uint16(code + half)


@compiled
def _mix_block(planes: Any, matrix: Any, shade: Any, top: Any) -> None:  # pragma: no cover
    """Mix one block by whichever form the matrix has."""
    if matrix.shape[1] == N_ROOT_TERMS:
        _mix_roots(planes, matrix, shade, top)
    else:
        _mix_linear(planes, matrix, shade, top)


@compiled
def _fill_shade(columns: Any, row: Any, limits: Any, shade: Any) -> None:  # pragma: no cover
    """Light relative to the card's centre, inverted: a separable field, clamped."""
    low, high = limits[0], limits[1]
    for i in range(shade.shape[0]):
        s = columns[i] * row
        s = low if s < low else s
        shade[i] = high if s > high else s


@compiled
def correct_bytes(
    pixels: Any, out: Any, tables: Any, matrix: Any, field: Any, encode: Any
) -> None:  # pragma: no cover
    """
    Correct a photo to bytes, block by block.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        Code values; read only. `out` may be the same memory.
    out : ndarray of uint8, shape (height, width, 3)
        Filled.
    tables : ndarray of float32, shape (3, n_codes)
        Per channel, veil taken off: the signed root of linear light (6-column `matrix`) or
        linear light itself (3 columns).
    matrix : ndarray of float32, shape (3, 6) or (3, 3)
        Already times the last index of `encode`.
    field : tuple of (columns, rows, limits)
        float32 arrays of shape (width,), (height,) and (2,): the shade of a pixel is
        ``columns[x] * rows[y]`` clamped to the limits.
    encode : ndarray of uint8, shape (n,)
        Output code for each step of linear light.
    """
    columns, rows, limits = field
    planes = np.empty((3, BLOCK), np.float32)
    index = np.empty((3, BLOCK), np.uint16)
    shades = np.empty(BLOCK, np.float32)
    top = np.float32(encode.shape[0] - 1)
    height, width = pixels.shape[0], pixels.shape[1]
    for y in range(height):
        for start in range(0, width, BLOCK):
            stop = min(start + BLOCK, width)
            shade = shades[: stop - start]
            _look_up(pixels[y, start:stop], tables, planes)
            _fill_shade(columns[start:stop], rows[y], limits, shade)
            _mix_block(planes, matrix, shade, top)
            _encode_bytes(planes, index, encode, out[y, start:stop])


@compiled
def correct_words(
    pixels: Any, out: Any, tables: Any, matrix: Any, field: Any, encode: Any
) -> None:  # pragma: no cover
    """
    Correct a photo to 16-bit words, block by block; arguments as in `correct_bytes`.

    Here `out` is uint16 and `encode` is float32 of shape (n + 1,) with its last entry repeated,
    interpolated linearly between entries.
    """
    columns, rows, limits = field
    planes = np.empty((3, BLOCK), np.float32)
    shades = np.empty(BLOCK, np.float32)
    top = np.float32(encode.shape[0] - 2)
    height, width = pixels.shape[0], pixels.shape[1]
    for y in range(height):
        for start in range(0, width, BLOCK):
            stop = min(start + BLOCK, width)
            shade = shades[: stop - start]
            _look_up(pixels[y, start:stop], tables, planes)
            _fill_shade(columns[start:stop], rows[y], limits, shade)
            _mix_block(planes, matrix, shade, top)
            _encode_words(planes, encode, out[y, start:stop])
