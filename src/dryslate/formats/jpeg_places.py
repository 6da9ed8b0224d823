"""
JPEG files without what tells where and by whom they were taken: Exif, XMP, IPTC, hidden pictures.

ITU-T T.81 for the segments. Pixels, colour profile and how the picture is turned stay.
"""

from __future__ import annotations

import struct

from dryslate.formats.exif import ORIENTATION, SHORT, ExifTree, parse_exif
from dryslate.formats.exif_edit import format_exif, numbers_entry
from dryslate.formats.jpeg import APP0, APP1, APP2, APP14, EXIF_HEAD, ICC_HEAD, SOI, SOS

_ALONE = {0x01, *range(0xD0, 0xD8)}
_EOI = 0xD9


def without_places(data: bytes) -> bytes:
    """
    Take out of a JPEG all that its maker, editor or user wrote into it.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    bytes
        Segments of the picture itself, JFIF, the colour profile, the colour transform, and how the
        picture is turned (written anew, since it stood in the Exif). A second picture behind the
        end of the first is cut off, for previews carry Exif of their own.

    Raises
    ------
    ValueError
        Where the segments cannot be followed: then nothing can be promised.
    """
    if data[:2] != SOI:
        raise _broken()
    kept = [SOI, b""]
    at = 2
    while at < len(data):
        marker, start, end = _segment(data, at)
        if marker == _EOI:
            kept.append(data[start:end])
            return b"".join(kept)
        if marker == APP1 and data.startswith(EXIF_HEAD, start + 4):
            kept[1] = _turned(data[start + 4 + len(EXIF_HEAD) : end])
        if _is_kept(marker, data[start + 4 : start + 4 + len(ICC_HEAD)]):
            kept.append(data[start:end])
        at = end
        if marker == SOS:
            at = _end_of_scan(data, end)
            kept.append(data[end:at])
    kept.append(b"\xff\xd9")
    return b"".join(kept)


def _turned(block: bytes) -> bytes:
    """Return a segment that says how the picture is turned, and nothing else."""
    tree = parse_exif(block, "Exif")
    found = tree.main.get(ORIENTATION)
    if found is None or found.type_code != SHORT or len(found.raw) < 2:
        return b""
    (turned,) = struct.unpack(tree.order + "H", found.raw[:2])
    entry = {ORIENTATION: numbers_entry(SHORT, (turned,))}
    exif = EXIF_HEAD + format_exif(ExifTree(order="<", main=entry))
    return b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif


def _is_kept(marker: int, head: bytes) -> bool:
    """Tell whether a segment belongs to the picture itself."""
    if marker == APP2:
        return head == ICC_HEAD
    if 0xE0 <= marker <= 0xEF:
        return marker in (APP0, APP14)
    return marker != 0xFE


def _segment(data: bytes, at: int) -> tuple[int, int, int]:
    """Return marker, start and end of the segment at a place."""
    if data[at] != 0xFF:
        raise _broken()
    while at + 1 < len(data) and data[at + 1] == 0xFF:
        at += 1
    if at + 1 >= len(data):
        raise _broken()
    marker = data[at + 1]
    if marker in _ALONE or marker == _EOI:
        return marker, at, at + 2
    if at + 4 > len(data):
        raise _broken()
    (length,) = struct.unpack(">H", data[at + 2 : at + 4])
    if length < 2 or at + 2 + length > len(data):
        raise _broken()
    return marker, at, at + 2 + length


def _end_of_scan(data: bytes, at: int) -> int:
    """Return where the coded pixels that begin here end."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        if data[at + 1] == 0x00 or data[at + 1] in _ALONE:
            at += 2
        elif data[at + 1] == 0xFF:
            at += 1
        else:
            return at


def _broken() -> ValueError:
    return ValueError("the segments of this JPEG cannot be followed")
