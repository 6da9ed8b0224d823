"""
ICC profiles of displays and cameras: three primaries and a tone curve per channel.

ICC.1:2022 (profile version 4.4) and ICC.1:2001-04 (version 2). Only RGB profiles made of a
matrix and curves are read; those made of tables say so and are refused, and the caller decides
what to assume instead.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import FormatError
from dryslate.core.colour.spaces import (
    SRGB_TO_XYZ,
    WHITE_D65,
    XYZ_TO_SRGB,
    bradford_matrix,
    linear_to_srgb,
    srgb_to_linear,
)

FloatArray = NDArray[np.float64]

_D65_XY = (0.3127, 0.3290)
#: The profile connection space's white, ICC.1:2022, 7.2.16.
_D50_XYZ = np.array([0.9642, 1.0, 0.8249])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RgbProfile:
    """
    How an RGB file's code values become linear sRGB.

    Parameters
    ----------
    name : str
        What the profile calls itself.
    curves : tuple of ndarray of float, each shape (4096,)
        Linear light (0 to 1) over evenly spaced codes, for red, green and blue.
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB (D65); white goes to (1, 1, 1).
    """

    name: str
    curves: tuple[FloatArray, FloatArray, FloatArray]
    to_srgb: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "curves", tuple(_frozen(c) for c in self.curves))
        object.__setattr__(self, "to_srgb", _frozen(self.to_srgb))

    def linear_lut(self, n_codes: int) -> NDArray[np.float32]:
        """
        Return linear light for each code value.

        Parameters
        ----------
        n_codes : int
            256 or 65536.

        Returns
        -------
        ndarray of float32, shape (n_codes, 3)
            Read-only.
        """
        codes = np.linspace(0.0, 1.0, n_codes)
        grid = np.linspace(0.0, 1.0, len(self.curves[0]))
        lut = np.stack([np.interp(codes, grid, c) for c in self.curves], axis=1)
        table: NDArray[np.float32] = lut.astype(np.float32)
        table.setflags(write=False)
        return table

    @property
    def is_srgb_like(self) -> bool:
        """Whether sRGB stands for it within half a code value and half a per cent of a primary."""
        codes = np.linspace(0.0, 1.0, 256)
        grid = np.linspace(0.0, 1.0, len(self.curves[0]))
        curves_agree = all(
            np.abs(linear_to_srgb(np.interp(codes, grid, c)) - codes).max() < 0.75 / 255
            for c in self.curves
        )
        return curves_agree and bool(np.abs(self.to_srgb - np.eye(3)).max() < 0.005)


def _frozen(values: FloatArray) -> FloatArray:
    """Return a read-only copy."""
    copy = np.array(values, dtype=np.float64)
    copy.setflags(write=False)
    return copy


def rgb_to_xyz(
    primaries_xy: tuple[tuple[float, float], ...], white_xy: tuple[float, float]
) -> FloatArray:
    """
    Return the matrix from linear RGB to XYZ for given primaries and white.

    Parameters
    ----------
    primaries_xy : tuple of three (x, y)
    white_xy : (x, y)

    Returns
    -------
    ndarray of float, shape (3, 3)

    References
    ----------
    SMPTE RP 177-1993, 3.3.

    Examples
    --------
    >>> primaries = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
    >>> rgb_to_xyz(primaries, (0.3127, 0.3290))[1].round(4).tolist()
    [0.2126, 0.7152, 0.0722]
    """
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries_xy]).T
    x, y = white_xy
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    matrix: FloatArray = columns * np.linalg.solve(columns, white)
    return matrix


def profile_from_primaries(
    name: str,
    primaries_xy: tuple[tuple[float, float], ...],
    white_xy: tuple[float, float],
    curve: FloatArray,
) -> RgbProfile:
    """
    Return a profile from primaries, white and one curve for all channels.

    Parameters
    ----------
    name : str
    primaries_xy, white_xy : (x, y) pairs
        Another white than D65 is adapted by Bradford.
    curve : ndarray of float, shape (n,)
        Linear light over evenly spaced codes.

    Returns
    -------
    RgbProfile
    """
    x, y = white_xy
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    matrix = _srgb_from(rgb_to_xyz(primaries_xy, white_xy), white)
    return RgbProfile(name=name, curves=(curve, curve, curve), to_srgb=matrix)


def _srgb_from(columns_xyz: FloatArray, white_xyz: FloatArray) -> FloatArray:
    """Return linear RGB to linear sRGB by Bradford adaptation from a white to D65."""
    matrix: FloatArray = XYZ_TO_SRGB @ bradford_matrix(white_xyz, WHITE_D65) @ columns_xyz
    return matrix


_GRID = np.linspace(0.0, 1.0, 4096)


def srgb_to_linear_grid() -> FloatArray:
    """Return sRGB's curve on the common grid of 4096 codes."""
    return srgb_to_linear(_GRID)


def srgb_profile() -> RgbProfile:
    """Return sRGB itself."""
    curve = srgb_to_linear_grid()
    return RgbProfile(name="sRGB", curves=(curve, curve, curve), to_srgb=np.eye(3))


def optional_space_profile() -> RgbProfile:
    """
    Return the optional wide space that cameras mark with interoperability index R03.

    References
    ----------
    DCF 2.0 (JEITA CP-3461A), optional colour space: primaries (0.64, 0.33), (0.21, 0.71),
    (0.15, 0.06), white D65, exponent 563/256. Values from memory of the standard.
    """
    return profile_from_primaries(
        "DCF optional colour space",
        ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
        _D65_XY,
        _GRID ** (563 / 256),
    )


def parse_icc(data: bytes, place: str) -> RgbProfile:
    """
    Read an RGB profile made of a matrix and curves.

    Parameters
    ----------
    data : bytes
        The whole profile.
    place : str
        What to call the file in a message.

    Returns
    -------
    RgbProfile

    Raises
    ------
    FormatError
        ``profile-damaged`` if it cannot be read; ``profile-not-matrix`` if it is made of
        tables or is not an RGB profile.
    """
    if len(data) < 132 or data[36:40] != b"acsp":
        raise _damaged(place, "no ICC header")
    if data[16:20] != b"RGB " or data[20:24] not in (b"XYZ ", b"Lab "):
        space = data[16:20].decode("latin-1").strip()
        raise FormatError(
            "profile-not-matrix", f"{place}: its colour profile is for {space!r} data, not RGB."
        )
    tags = _tags(data, place)
    columns = [tags.get(k) for k in (b"rXYZ", b"gXYZ", b"bXYZ")]
    curves = [tags.get(k) for k in (b"rTRC", b"gTRC", b"bTRC")]
    if data[20:24] == b"Lab " or None in columns or None in curves:
        raise FormatError(
            "profile-not-matrix",
            f"{place}: its colour profile is made of tables, not of primaries and curves.",
        )
    matrix = np.stack([_xyz(c, place) for c in columns if c is not None], axis=1)
    if abs(np.linalg.det(matrix)) < 1e-6 or not np.allclose(
        matrix.sum(axis=1), _D50_XYZ, atol=0.05
    ):
        raise _damaged(place, "its primaries do not add up to the profile's white")
    red, green, blue = (_curve(c, place) for c in curves if c is not None)
    white = matrix.sum(axis=1)
    return RgbProfile(
        name=_description(tags.get(b"desc")),
        curves=(red, green, blue),
        to_srgb=_srgb_from(matrix, white),
    )


def _damaged(place: str, what: str) -> FormatError:
    """Return the error for a profile that cannot be read."""
    return FormatError("profile-damaged", f"{place}: its colour profile cannot be read ({what}).")


def _tags(data: bytes, place: str) -> dict[bytes, bytes]:
    """Return the bytes of each tag (ICC.1:2022, 7.3)."""
    (n,) = struct.unpack(">I", data[128:132])
    if n > 200 or len(data) < 132 + 12 * n:
        raise _damaged(place, f"{n} tags stated")
    tags: dict[bytes, bytes] = {}
    for i in range(n):
        key, offset, size = struct.unpack(">4sII", data[132 + 12 * i : 144 + 12 * i])
        if offset + size <= len(data):
            tags[key] = data[offset : offset + size]
    return tags


def _xyz(tag: bytes, place: str) -> FloatArray:
    """Return an XYZType (10.31)."""
    if len(tag) < 20 or tag[:4] != b"XYZ ":
        raise _damaged(place, "a primary is not XYZ")
    return np.array(struct.unpack(">3i", tag[8:20])) / 65536.0


def _curve(tag: bytes, place: str) -> FloatArray:
    """Return a curveType (10.6) or parametricCurveType (10.18), sampled and checked."""
    with np.errstate(all="ignore"):
        if tag[:4] == b"curv" and len(tag) >= 12:
            curve = _sampled(tag, place)
        elif tag[:4] == b"para" and len(tag) >= 12:
            curve = _parametric(tag, place)
        else:
            raise _damaged(place, "a tone curve of unknown kind")
    if not np.isfinite(curve).all() or curve[-1] - curve[0] < 0.1 or np.any(np.diff(curve) < -1e-4):
        raise _damaged(place, "a tone curve does not rise")
    return np.clip(curve, 0.0, 1.0)


def _sampled(tag: bytes, place: str) -> FloatArray:
    """Return a curveType on the common grid."""
    (n,) = struct.unpack(">I", tag[8:12])
    if len(tag) < 12 + 2 * n:
        raise _damaged(place, "a tone curve is cut short")
    values = np.frombuffer(tag, ">u2", n, 12).astype(np.float64)
    if n == 0:
        return _GRID.copy()
    if n == 1:
        exponent: FloatArray = _GRID ** (values[0] / 256.0)
        return exponent
    return np.interp(_GRID, np.linspace(0.0, 1.0, n), values / 65535.0)


_N_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}


def _parametric(tag: bytes, place: str) -> FloatArray:
    """Return a parametricCurveType on the common grid (10.18, table 68)."""
    (kind,) = struct.unpack(">H", tag[8:10])
    n = _N_PARAMETERS.get(kind)
    if n is None or len(tag) < 12 + 4 * n:
        raise _damaged(place, f"a tone curve of kind {kind}")
    g, *rest = np.array(struct.unpack(f">{n}i", tag[12 : 12 + 4 * n])) / 65536.0
    a, b = (rest[0], rest[1]) if n >= 3 else (1.0, 0.0)
    power: FloatArray = np.maximum(a * _GRID + b, 0.0) ** g
    if kind == 0:
        return power
    if kind in (1, 2):
        c = rest[2] if kind == 2 else 0.0
        shifted: FloatArray = np.where(-b / a <= _GRID, power + c, c)
        return shifted
    c, d = rest[2], rest[3]
    e, f = (rest[4], rest[5]) if kind == 4 else (0.0, 0.0)
    jointed: FloatArray = np.where(d <= _GRID, power + e, c * _GRID + f)
    return jointed


def _description(tag: bytes | None) -> str:
    """Return what the profile calls itself (textDescriptionType or multiLocalizedUnicodeType)."""
    if tag is None:
        return ""
    if tag[:4] == b"desc" and len(tag) > 12:
        (n,) = struct.unpack(">I", tag[8:12])
        return tag[12 : 12 + min(n, 200)].split(b"\x00")[0].decode("latin-1")
    if tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack(">II", tag[20:28])
        return tag[offset : offset + min(size, 400)].decode("utf-16-be", "replace")
    return ""


def format_srgb_icc() -> bytes:
    """
    Return a small sRGB profile of our own (ICC version 4.3, one parametric curve).

    Returns
    -------
    bytes
        About 500 bytes, the same at each call.

    References
    ----------
    .. [1] ICC.1:2010 (version 4.3): header 7.2, tag table 7.3, parametric curve 10.16.
    .. [2] IEC 61966-2-1:1999, for the primaries and the curve.
    """
    to_d50 = bradford_matrix(WHITE_D65, _D50_XYZ)
    columns = to_d50 @ SRGB_TO_XYZ
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
    curve += _fixed(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    parts: list[tuple[tuple[bytes, ...], bytes]] = [
        ((b"desc",), _localised("sRGB (dryslate)")),
        ((b"cprt",), _localised("No rights reserved")),
        ((b"wtpt",), b"XYZ " + bytes(4) + _fixed(*_D50_XYZ)),
        ((b"chad",), b"sf32" + bytes(4) + _fixed(*to_d50.ravel())),
        ((b"rXYZ",), b"XYZ " + bytes(4) + _fixed(*columns[:, 0])),
        ((b"gXYZ",), b"XYZ " + bytes(4) + _fixed(*columns[:, 1])),
        ((b"bXYZ",), b"XYZ " + bytes(4) + _fixed(*columns[:, 2])),
        ((b"rTRC", b"gTRC", b"bTRC"), curve),
    ]
    n_tags = sum(len(keys) for keys, _ in parts)
    offset = 128 + 4 + 12 * n_tags
    table, body = struct.pack(">I", n_tags), b""
    for keys, data in parts:
        for key in keys:
            table += struct.pack(">4sII", key, offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = 128 + len(table) + len(body)
    head = struct.pack(">I4sI", size, bytes(4), 0x04300000) + b"mntrRGB XYZ "
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    head += _fixed(*_D50_XYZ)
    return head.ljust(128, b"\x00") + table + body


def _fixed(*values: float) -> bytes:
    """Return s15Fixed16Numbers (4.6)."""
    return struct.pack(f">{len(values)}i", *(round(float(v) * 65536) for v in values))


def _localised(text: str) -> bytes:
    """Return a multiLocalizedUnicodeType of one record (10.13)."""
    coded = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II4sII", 1, 12, b"enUS", len(coded), 28) + coded
