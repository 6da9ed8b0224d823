"""
Exif for a corrected photo: patched in place where the block stays whole, else built anew.

Patching changes single bytes and moves nothing, so that maker notes (whose offsets nobody
documents) stay valid. Building anew drops them, and says so in its name.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping

from dryslate.formats.exif import (
    ASCII,
    BYTE,
    COLOUR_SPACE,
    EXIF_POINTER,
    GPS_POINTER,
    INTEROP_INDEX,
    INTEROP_POINTER,
    LONG,
    MAKER_NOTE,
    ORIENTATION,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    Directory,
    Entry,
    ExifTree,
)

#: Entries of the first directory that describe the photo and not how its pixels are laid out.
_ABOUT_PHOTO = frozenset(
    {0x010D, 0x010E, 0x010F, 0x0110, 0x0131, 0x0132, 0x013B, 0x013C, 0x8298, 0xC62F}
)
#: Entries that hold for the old block only.
_BOUND_TO_BLOCK = frozenset({MAKER_NOTE, INTEROP_POINTER, 0xA002, 0xA003})


def patch_exif(block: bytes, tree: ExifTree, *, orientation: int | None = None) -> bytes:
    """
    Make an Exif block true for sRGB pixels without moving a byte of it.

    The thumbnail, which shows the uncorrected photo, is unlinked (its bytes stay); the colour
    space becomes sRGB; an orientation that the standard does not know becomes 1.

    Parameters
    ----------
    block : bytes
        The block that `tree` was parsed from.
    tree : ExifTree
    orientation : int, optional
        Orientation of the pixels written, where it differs from what the block says.

    Returns
    -------
    bytes
        As long as `block`; equal to it in all but the bytes named above.
    """
    patched = bytearray(block)
    order = tree.order
    if tree.thumbnail_pointer:
        patched[tree.thumbnail_pointer : tree.thumbnail_pointer + 4] = bytes(4)
    _patch_number(patched, tree.exif.get(COLOUR_SPACE), order, 1)
    index = tree.interop.get(INTEROP_INDEX)
    if index is not None and index.raw[:3] == b"R03":
        patched[index.offset : index.offset + 3] = b"R98"
    found = tree.main.get(ORIENTATION)
    if orientation is not None:
        _patch_number(patched, found, order, orientation)
    elif found is not None and not _is_known_orientation(found, order):
        _patch_number(patched, found, order, 1)
    return bytes(patched)


def _is_known_orientation(entry: Entry, order: str) -> bool:
    """Tell whether an orientation entry holds 1 to 8."""
    code = {SHORT: "H", LONG: "I", BYTE: "B"}.get(entry.type_code)
    if code is None:
        return True  # nothing that a reader would take for an orientation
    return 1 <= int(struct.unpack_from(order + code, entry.raw)[0]) <= 8


def _patch_number(patched: bytearray, entry: Entry | None, order: str, value: int) -> None:
    """Overwrite the first value of a whole-number entry."""
    if entry is None:
        return
    code = {SHORT: "H", LONG: "I", BYTE: "B"}.get(entry.type_code)
    if code is not None:
        struct.pack_into(order + code, patched, entry.offset, value)


def numbers_entry(type_code: int, values: tuple[int, ...], order: str = "<") -> Entry:
    r"""
    Return an entry of whole numbers or fractions (numerator, denominator, ...).

    Examples
    --------
    >>> numbers_entry(SHORT, (6,)).raw
    b'\x06\x00'
    """
    code = {BYTE: "B", SHORT: "H", LONG: "I", RATIONAL: "I", SRATIONAL: "i"}[type_code]
    n = len(values) // 2 if type_code in (RATIONAL, SRATIONAL) else len(values)
    return Entry(
        type_code=type_code, n=n, raw=struct.pack(f"{order}{len(values)}{code}", *values), offset=0
    )


def text_entry(text: str) -> Entry:
    """Return an entry of text, closed by a zero byte."""
    raw = text.encode("utf-8") + b"\x00"
    return Entry(type_code=ASCII, n=len(raw), raw=raw, offset=0)


def bytes_entry(raw: bytes, type_code: int = UNDEFINED) -> Entry:
    """Return an entry of bytes."""
    return Entry(type_code=type_code, n=len(raw), raw=raw, offset=0)


def without_maker_notes(tree: ExifTree, orientation: int) -> ExifTree:
    """
    Keep what holds for the photo outside its old block: not maker notes, not the pixel layout.

    Parameters
    ----------
    tree : ExifTree
    orientation : int
        Orientation of the pixels written.

    Returns
    -------
    ExifTree
        To be handed to `format_exif`.
    """
    main = {tag: entry for tag, entry in tree.main.items() if tag in _ABOUT_PHOTO}
    main[ORIENTATION] = numbers_entry(SHORT, (orientation,), tree.order)
    exif = {tag: entry for tag, entry in tree.exif.items() if tag not in _BOUND_TO_BLOCK}
    exif[COLOUR_SPACE] = numbers_entry(SHORT, (1,), tree.order)
    return ExifTree(order=tree.order, main=main, exif=exif, gps=tree.gps)


def format_exif(tree: ExifTree) -> bytes:
    """
    Build an Exif block (or the head of a TIFF file) from directories.

    Parameters
    ----------
    tree : ExifTree
        `main`, `exif` and `gps` are written; pointers are set here.

    Returns
    -------
    bytes
        From the byte-order mark on.
    """
    order = tree.order
    start = 8
    main = dict(tree.main)
    for tag, sub in ((EXIF_POINTER, tree.exif), (GPS_POINTER, tree.gps)):
        main.pop(tag, None)
        if sub:
            main[tag] = numbers_entry(LONG, (0,), order)
    at = start + _size(main)
    blocks = []
    for tag, sub in ((EXIF_POINTER, tree.exif), (GPS_POINTER, tree.gps)):
        if sub:
            main[tag] = numbers_entry(LONG, (at,), order)
            blocks.append(_format_directory(sub, at, order))
            at += len(blocks[-1])
    mark = b"II" if order == "<" else b"MM"
    head = mark + struct.pack(order + "HI", 42, start)
    return head + _format_directory(main, start, order) + b"".join(blocks)


def _size(directory: Mapping[int, Entry]) -> int:
    """Return how many bytes a directory takes with the values that lie outside it."""
    outside = sum(len(e.raw) + len(e.raw) % 2 for e in directory.values() if len(e.raw) > 4)
    return 2 + 12 * len(directory) + 4 + outside


def _format_directory(directory: Directory, at: int, order: str) -> bytes:
    """Return a directory's bytes for the offset `at`, values behind it, no next directory."""
    entries = bytearray(struct.pack(order + "H", len(directory)))
    values = bytearray()
    base = at + 2 + 12 * len(directory) + 4
    for tag in sorted(directory):
        entry = directory[tag]
        entries += struct.pack(order + "HHI", tag, entry.type_code, entry.n)
        if len(entry.raw) <= 4:
            entries += entry.raw.ljust(4, b"\x00")
        else:
            entries += struct.pack(order + "I", base + len(values))
            values += entry.raw + bytes(len(entry.raw) % 2)
    return bytes(entries + bytes(4) + values)
