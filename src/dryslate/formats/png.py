"""PNG files as a row of chunks: size, profile, Exif and XMP, and whether the file is whole.

W3C PNG specification, third edition (2025). Pixels are never touched here.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field

from dryslate.base.errors import FormatError

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_XMP_KEYWORD = b"XML:com.adobe.xmp"
_MAX_UNPACKED = 1 << 24


@dataclass(frozen=True, slots=True, kw_only=True)
class PngHead:
    """
    What a PNG file says beside its pixels.

    Parameters
    ----------
    width_px, height_px, n_bits, colour_type : int
        From IHDR; colour type 0 and 4 are grey, 2 and 6 RGB, 3 a palette.
    icc_profile, exif, xmp : bytes or None
        From iCCP, eXIf and iTXt.
    is_srgb : bool
        Whether the file says so (sRGB chunk).
    gamma : float or None
        Exponent of encoding from gAMA.
    white_primaries_xy : tuple of float
        White, red, green and blue from cHRM (8 numbers); empty where absent.
    code_points : tuple of int
        Primaries, transfer, matrix and range from cICP; empty where absent.
    n_damaged_words : int
        Profile, Exif and XMP chunks that could not be unpacked.
    """

    width_px: int
    height_px: int
    n_bits: int
    colour_type: int
    icc_profile: bytes | None = None
    exif: bytes | None = None
    xmp: bytes | None = None
    is_srgb: bool = False
    gamma: float | None = None
    white_primaries_xy: tuple[float, ...] = ()
    code_points: tuple[int, ...] = ()
    n_damaged_words: int = 0


@dataclass(slots=True)
class _Found:
    """Chunks of interest, as they come by."""

    icc_profile: bytes | None = None
    exif: bytes | None = None
    xmp: bytes | None = None
    is_srgb: bool = False
    gamma: float | None = None
    white_primaries_xy: tuple[float, ...] = ()
    code_points: tuple[int, ...] = ()
    n_damaged_words: int = 0
    seen: set[bytes] = field(default_factory=set)


def parse_png_head(data: bytes, place: str, *, check_all: bool = True) -> PngHead:
    """
    Read a PNG file's chunks and check that it is whole.

    Parameters
    ----------
    data : bytes
        The file, or its beginning where `check_all` is false.
    place : str
        What to call the file in a message.
    check_all : bool
        Whether every chunk's check sum and the end are proved.

    Returns
    -------
    PngHead

    Raises
    ------
    FormatError
        ``photo-truncated`` if the file ends before its last chunk; ``photo-damaged`` if a
        check sum is wrong or the size is missing.
    """
    if not data.startswith(SIGNATURE) or data[12:16] != b"IHDR" or len(data) < 33:
        raise FormatError("photo-damaged", f"{place}: this PNG states no size at its beginning.")
    width, height, bits, colour_type = struct.unpack(">IIBB", data[16:26])
    found = _Found()
    at, name = 8, b""
    while name != b"IEND":
        if at + 12 > len(data):
            if not check_all:
                break
            raise _cut_off(place, len(data))
        size, name = struct.unpack(">I4s", data[at : at + 8])
        if at + 12 + size > len(data):
            if not check_all:
                break
            raise _cut_off(place, len(data))
        body = memoryview(data)[at + 8 : at + 8 + size]
        if check_all:
            (stated,) = struct.unpack(">I", data[at + 8 + size : at + 12 + size])
            if zlib.crc32(body, zlib.crc32(name)) != stated:
                raise FormatError(
                    "photo-damaged",
                    f"{place}: the check sum of a part of this PNG ({name!r}, byte {at}) is wrong.",
                    "Copy it again.",
                )
        if name != b"IDAT":
            _note(found, name, bytes(body))
        at += 12 + size
    return PngHead(
        width_px=width,
        height_px=height,
        n_bits=bits,
        colour_type=colour_type,
        icc_profile=found.icc_profile,
        exif=found.exif,
        xmp=found.xmp,
        is_srgb=found.is_srgb,
        gamma=found.gamma,
        white_primaries_xy=found.white_primaries_xy,
        code_points=found.code_points,
        n_damaged_words=found.n_damaged_words,
    )


def _cut_off(place: str, size: int) -> FormatError:
    """Return the error for a file that ends too early."""
    return FormatError(
        "photo-truncated",
        f"{place}: this PNG breaks off after {size} bytes, before its end.",
        "Copy it again from where it came from.",
    )


def _note(found: _Found, name: bytes, body: bytes) -> None:
    """Keep a chunk of interest; only the first of a kind counts."""
    if name in found.seen and name != b"iTXt":
        return
    found.seen.add(name)
    if name == b"iCCP":
        found.icc_profile = _unpacked(body.partition(b"\x00")[2][1:])
        found.n_damaged_words += found.icc_profile is None
    elif name == b"eXIf":
        found.exif = body.removeprefix(b"Exif\x00\x00")
    elif name == b"iTXt" and body.startswith(_XMP_KEYWORD + b"\x00") and found.xmp is None:
        found.xmp = _international_text(body)
        found.n_damaged_words += found.xmp is None
    elif name == b"sRGB":
        found.is_srgb = True
    elif name == b"gAMA" and len(body) == 4:
        found.gamma = struct.unpack(">I", body)[0] / 100000 or None
    elif name == b"cHRM" and len(body) == 32:
        found.white_primaries_xy = tuple(v / 100000 for v in struct.unpack(">8I", body))
    elif name == b"cICP" and len(body) == 4:
        found.code_points = tuple(body)


def _international_text(body: bytes) -> bytes | None:
    """Return the text of an iTXt chunk (11.3.4.4)."""
    flags, rest = body[len(_XMP_KEYWORD) + 1 :][:2], body[len(_XMP_KEYWORD) + 3 :]
    parts = rest.split(b"\x00", 2)
    if len(parts) < 3 or len(flags) < 2:
        return None
    return _unpacked(parts[2]) if flags[0] else parts[2]


def _unpacked(packed: bytes) -> bytes | None:
    """Unpack a zlib stream of at most 16 MB; None where it is damaged or larger."""
    unpacker = zlib.decompressobj()
    try:
        text = unpacker.decompress(packed, _MAX_UNPACKED)
    except zlib.error:
        return None
    return text if unpacker.eof else None
