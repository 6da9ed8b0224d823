"""
Exif blocks (and any other TIFF structure) as directories of entries.

The reader is tolerant: files from the field have loops, offsets past the end, wrong types and
lying counts, and none of that may cost the surveyor the photo. What cannot be read is left out
and counted. TIFF 6.0 (the structure), CIPA DC-008-2019 / Exif 2.32 (the tags).
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from dryslate.base.errors import FormatError

Buffer = bytes | memoryview
Order = Literal["<", ">"]

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SLONG, SRATIONAL = 1, 2, 3, 4, 5, 7, 9, 10
#: Bytes per value for each type; types 11 and 12 are float and double.
TYPE_SIZES: Final[dict[int, int]] = {
    1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4,
}  # fmt: skip
_CODES: Final[dict[int, str]] = {
    1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I",
}  # fmt: skip
#: Magic numbers: TIFF itself, and raw files that only differ in it.
_MAGICS: Final = {42, 0x55, 0x4F52, 0x5352}

EXIF_POINTER, GPS_POINTER, INTEROP_POINTER = 0x8769, 0x8825, 0xA005
ORIENTATION, COLOUR_SPACE, INTEROP_INDEX, MAKER_NOTE = 0x0112, 0xA001, 0x0001, 0x927C

_MAX_ENTRIES = 1000
_MAX_VALUE_BYTES = 1 << 22


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """
    One entry of a directory.

    Parameters
    ----------
    type_code, n : int
        TIFF type and number of values.
    raw : bytes
        The values as stored, in the byte order of the block.
    offset : int
        Where the values lie in the block.
    """

    type_code: int
    n: int
    raw: bytes
    offset: int


Directory = Mapping[int, Entry]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExifTree:
    """
    The directories of an Exif block.

    Parameters
    ----------
    order : {"<", ">"}
        Byte order, as `struct` writes it.
    main, exif, gps, interop, thumbnail : mapping of int to Entry
        Entries by tag; empty where the directory is absent or broken.
    thumbnail_pointer : int
        Offset of the 4 bytes that point to the thumbnail's directory; 0 where there are none.
    n_broken : int
        Entries and directories that could not be read.
    """

    order: Order
    main: Directory = field(default_factory=dict)
    exif: Directory = field(default_factory=dict)
    gps: Directory = field(default_factory=dict)
    interop: Directory = field(default_factory=dict)
    thumbnail: Directory = field(default_factory=dict)
    thumbnail_pointer: int = 0
    n_broken: int = 0


def parse_exif(block: Buffer, place: str) -> ExifTree:
    r"""
    Read the directories of an Exif block.

    Parameters
    ----------
    block : bytes
        From the byte-order mark on (without ``Exif\0\0``); a whole TIFF or TIFF-like raw
        file will do, as only the directories are read.
    place : str
        What to call the file in a message.

    Returns
    -------
    ExifTree

    Raises
    ------
    FormatError
        ``exif-unreadable`` if not even the first directory is there.
    """
    view = memoryview(block)
    orders: dict[bytes, Order] = {b"II": "<", b"MM": ">"}
    order = orders.get(bytes(view[:2]))
    if order is None or len(view) < 8:
        raise FormatError("exif-unreadable", f"{place}: its Exif block has no byte-order mark.")
    magic, first = struct.unpack(order + "HI", view[2:8])
    if magic not in _MAGICS:
        raise FormatError("exif-unreadable", f"{place}: its Exif block begins with magic {magic}.")
    seen: set[int] = set()
    main, after, broken = _directory(view, first, order, seen)
    if not main:
        raise FormatError("exif-unreadable", f"{place}: its Exif block holds no readable entry.")
    exif, _, b1 = _directory(view, _pointer(main, EXIF_POINTER, order), order, seen)
    gps, _, b2 = _directory(view, _pointer(main, GPS_POINTER, order), order, seen)
    interop, _, b3 = _directory(view, _pointer(exif, INTEROP_POINTER, order), order, seen)
    next_ifd = struct.unpack(order + "I", view[after : after + 4])[0] if after else 0
    thumbnail, _, b4 = _directory(view, next_ifd, order, seen)
    return ExifTree(
        order=order,
        main=main,
        exif=exif,
        gps=gps,
        interop=interop,
        thumbnail=thumbnail,
        thumbnail_pointer=after if next_ifd else 0,
        n_broken=broken + b1 + b2 + b3 + b4,
    )


def _pointer(directory: Directory, tag: int, order: str) -> int:
    """Return the offset an entry points to, 0 where there is none."""
    entry = directory.get(tag)
    if entry is None or entry.type_code not in (LONG, 13) or entry.n < 1:
        return 0
    return int(struct.unpack(order + "I", entry.raw[:4])[0])


def _directory(
    view: memoryview, at: int, order: str, seen: set[int]
) -> tuple[dict[int, Entry], int, int]:
    """Read one directory: entries, offset of the pointer to the next (or 0), number broken."""
    if at == 0:
        return {}, 0, 0
    if at in seen or at + 2 > len(view):
        return {}, 0, 1
    seen.add(at)
    (n,) = struct.unpack(order + "H", view[at : at + 2])
    entries: dict[int, Entry] = {}
    broken = 0
    for i in range(min(n, _MAX_ENTRIES)):
        start = at + 2 + 12 * i
        if start + 12 > len(view):
            return entries, 0, broken + 1
        tag, entry = _entry(view, start, order)
        if entry is None:
            broken += 1
        else:
            entries.setdefault(tag, entry)
    after = at + 2 + 12 * n
    return entries, after if after + 4 <= len(view) else 0, broken


def _entry(view: memoryview, start: int, order: str) -> tuple[int, Entry | None]:
    """Read one 12-byte entry; None where its values cannot be there."""
    tag, type_code, n = struct.unpack(order + "HHI", view[start : start + 8])
    size = TYPE_SIZES.get(type_code, 0) * n
    if size == 0 or size > _MAX_VALUE_BYTES:
        return tag, None
    offset = start + 8
    if size > 4:
        (offset,) = struct.unpack(order + "I", view[start + 8 : start + 12])
    raw = bytes(view[offset : offset + size])
    if len(raw) < size:
        return tag, None
    return tag, Entry(type_code=type_code, n=n, raw=raw, offset=offset)


def numbers_of(entry: Entry | None, order: str) -> tuple[float | None, ...]:
    """
    Return an entry's values as numbers.

    Parameters
    ----------
    entry : Entry or None
    order : {"<", ">"}
        Byte order of the block.

    Returns
    -------
    tuple of float or None
        None in place of a fraction over zero; empty where the entry is absent or is text.

    Examples
    --------
    >>> numbers_of(Entry(type_code=5, n=1, raw=bytes([1, 0, 0, 0, 4, 0, 0, 0]), offset=0), "<")
    (0.25,)
    """
    if entry is None:
        return ()
    if entry.type_code in (RATIONAL, SRATIONAL):
        code = "I" if entry.type_code == RATIONAL else "i"
        parts = struct.unpack(f"{order}{2 * entry.n}{code}", entry.raw)
        return tuple(
            parts[i] / parts[i + 1] if parts[i + 1] else None for i in range(0, 2 * entry.n, 2)
        )
    found = _CODES.get(entry.type_code)
    return struct.unpack(f"{order}{entry.n}{found}", entry.raw) if found else ()


def text_of(entry: Entry | None) -> str | None:
    r"""
    Return an entry's text, trimmed; None where it is absent, empty or not text.

    Examples
    --------
    >>> text_of(Entry(type_code=2, n=6, raw=b"Reef \x00", offset=0))
    'Reef'
    """
    if entry is None or entry.type_code not in (ASCII, BYTE, UNDEFINED):
        return None
    raw = entry.raw.split(b"\x00", 1)[0]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    printable = "".join(c for c in text if c.isprintable()).strip()
    return printable or None
