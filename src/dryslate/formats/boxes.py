"""ISO base media files (ISO/IEC 14496-12) as boxes; as much as is needed to find Exif in CR3."""

from __future__ import annotations

from collections.abc import Iterator

#: The box of a CR3 file that holds its directories as four TIFF blocks, by its public UUID.
_CR3_UUID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
_CR3_NAMES = {b"CMT1": "main", b"CMT2": "exif", b"CMT4": "gps"}


def walk_boxes(data: bytes | memoryview) -> Iterator[tuple[bytes, memoryview]]:
    """
    Go through the boxes of one level.

    Parameters
    ----------
    data : bytes
        The file or a box's content; what is cut off at its end is left out.

    Yields
    ------
    name : bytes
        Four letters; for ``uuid`` boxes the content begins with the 16 bytes of the UUID.
    content : memoryview
        Without the box's own head.

    Examples
    --------
    >>> [(n, bytes(c)) for n, c in walk_boxes(bytes([0, 0, 0, 10]) + b"free" + b"ab")]
    [(b'free', b'ab')]
    """
    view = memoryview(data)
    at = 0
    while at + 8 <= len(view):
        size = int.from_bytes(view[at : at + 4], "big")
        name, head = bytes(view[at + 4 : at + 8]), 8
        if size == 1:
            size, head = int.from_bytes(view[at + 8 : at + 16], "big"), 16
        elif size == 0:
            size = len(view) - at
        if size < head:
            return
        yield name, view[at + head : at + size]
        at += size


def find_cr3_blocks(data: bytes | memoryview) -> dict[str, bytes]:
    """
    Find the TIFF blocks of a CR3 raw file.

    Parameters
    ----------
    data : bytes
        The beginning of the file.

    Returns
    -------
    dict of str to bytes
        Blocks "main", "exif" and "gps", as far as they are there.
    """
    for name, content in walk_boxes(data):
        if name != b"moov":
            continue
        for inner, box in walk_boxes(content):
            if inner == b"uuid" and bytes(box[:16]) == _CR3_UUID:
                return {_CR3_NAMES[n]: bytes(c) for n, c in walk_boxes(box[16:]) if n in _CR3_NAMES}
    return {}
