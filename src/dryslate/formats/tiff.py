"""Heads of uncompressed RGB TIFF files (TIFF 6.0, sections 6 and 8), to be followed by pixels."""

from __future__ import annotations

import dataclasses

from dryslate.base.errors import SettingsError
from dryslate.formats.exif import BYTE, LONG, RATIONAL, SHORT, ExifTree
from dryslate.formats.exif_edit import bytes_entry, format_exif, numbers_entry

_PHOTOMETRIC_RGB = 2


def format_tiff_head(
    width_px: int,
    height_px: int,
    n_bits: int,
    *,
    about: ExifTree,
    icc_profile: bytes,
    xmp: bytes,
) -> bytes:
    """
    Return everything of a TIFF file before its pixels, which follow in one strip.

    Parameters
    ----------
    width_px, height_px : int
        Size as stored.
    n_bits : int
        Bits per channel, 8 or 16.
    about : ExifTree
        Entries about the photo, with its Exif and GPS directories; gives the byte order.
    icc_profile, xmp : bytes
        Colour profile and XMP packet.

    Returns
    -------
    bytes
        Of even length. The pixels are to follow as RGB triples, row by row.

    Raises
    ------
    SettingsError
        ``output-too-large`` if the file would not fit the 4 GB that TIFF addresses.
    """
    order = about.order
    n_bytes = width_px * height_px * 3 * n_bits // 8
    if n_bytes > 0xFFF00000:
        raise SettingsError("output-too-large", f"{n_bytes / 1e9:.1f} GB do not fit a TIFF file.")
    numbers: dict[int, tuple[int, tuple[int, ...]]] = {
        0x0100: (LONG, (width_px,)),
        0x0101: (LONG, (height_px,)),
        0x0102: (SHORT, (n_bits,) * 3),
        0x0103: (SHORT, (1,)),
        0x0106: (SHORT, (_PHOTOMETRIC_RGB,)),
        0x0111: (LONG, (0,)),
        0x0115: (SHORT, (3,)),
        0x0116: (LONG, (height_px,)),
        0x0117: (LONG, (n_bytes,)),
        0x011A: (RATIONAL, (72, 1)),
        0x011B: (RATIONAL, (72, 1)),
        0x011C: (SHORT, (1,)),
        0x0128: (SHORT, (2,)),
    }
    main = {tag: numbers_entry(code, values, order) for tag, (code, values) in numbers.items()}
    main[0x02BC] = bytes_entry(xmp, BYTE)
    main[0x8773] = bytes_entry(icc_profile)
    main = {**dict(about.main), **main}
    size = len(format_exif(dataclasses.replace(about, main=main)))
    offset = size + size % 2
    main[0x0111] = numbers_entry(LONG, (offset,), order)
    return format_exif(dataclasses.replace(about, main=main)).ljust(offset, b"\x00")
