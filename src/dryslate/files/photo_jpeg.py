"""JPEG photos: pixels as stored, and everything in front of them."""

from __future__ import annotations

from functools import cache
from importlib import metadata as package_metadata
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.files.photo_carry import (
    Carried,
    exif_tree,
    facts_of,
    kept_segments,
    light_of,
    metadata_of,
    no_colour,
    read_bytes,
    require_size,
)
from dryslate.formats.jpeg import EOI, JpegHead, parse_jpeg_head

#: Complaints of the decoder about words around the pixels, not about the pixels.
_UNTIDY: Final = ("extraneous bytes before marker", "ICC marker", "Adobe color transform")


def read_jpeg(path: Path, max_megapixels: float) -> DecodedPhoto:
    """
    Decode a JPEG photo.

    Parameters
    ----------
    path : Path
    max_megapixels : float
        Larger frames are refused before they are decoded.

    Returns
    -------
    DecodedPhoto

    Raises
    ------
    FormatError
        ``photo-truncated``, ``photo-damaged``.
    InputError
        The same, and ``photo-too-large``, ``photo-grey``, ``photo-cmyk``,
        ``photo-unsupported``.
    """
    data, place = read_bytes(path), path.name
    head = parse_jpeg_head(data, place)
    require_size(head.width_px, head.height_px, max_megapixels, place)
    _require_colour(head, place)
    pixels, decoder, notes = _decode(data, head, place)
    tree, exif_notes = exif_tree(head.exif, place)
    facts = facts_of(tree)
    icc = head.icc_profile
    light = light_of(icc, facts, 256, place, is_broken=icc is None and head.has_icc_segments)
    return DecodedPhoto(
        pixels=pixels,
        linear_lut=light.linear_lut,
        to_srgb=light.to_srgb,
        kind="jpeg",
        metadata=metadata_of(facts),
        segments=Carried(
            path=str(path),
            exif=head.exif if tree is not None else None,
            icc_profile=icc if light.is_srgb and not light.notes else None,
            xmp=head.xmp,
            extended_xmp=head.extended_xmp,
            others=kept_segments(head.segments),
            orientation=facts.orientation,
        ),
        decoder=decoder,
        notes=notes + exif_notes + light.notes,
    )


def require_whole_jpeg(path: Path) -> None:
    """
    Refuse a JPEG that plainly breaks off, without decoding it.

    Raises
    ------
    FormatError
        ``photo-truncated``, ``photo-damaged``: it breaks off before its pixels, or is none.
    InputError
        ``photo-truncated`` where nothing behind the beginning of its pixels says that they end.
    """
    data = read_bytes(path)
    if not _has_end(data, parse_jpeg_head(data, path.name)):
        raise _cut_off(len(data), path.name)


def _has_end(data: bytes, head: JpegHead) -> bool:
    """
    Return whether pixels that have begun also end.

    Small pictures in front of them have ends of their own. Behind them a phone may have put
    anything, a film of some seconds, so the end is looked for in all of the file.
    """
    return data.rfind(EOI, head.scan_offset) >= 0


def _require_colour(head: JpegHead, place: str) -> None:
    """Refuse codings that are not read, grey, and separations for print."""
    if not head.is_readable_frame:
        raise InputError(
            "photo-unsupported",
            f"{place}: a JPEG of {head.n_bits} bits with coding 0x{head.frame:02X}; 8 bits, "
            "baseline or progressive, are read.",
            "Export it as a common JPEG or as a 16-bit TIFF.",
        )
    if head.n_components == 1:
        raise no_colour(place)
    if head.n_components != 3:
        raise InputError(
            "photo-cmyk",
            f"{place}: its {head.n_components} channels are inks for print (CMYK); the camera's "
            "light cannot be had back from them.",
            "Use the camera's own RGB file.",
        )


def _decode(
    data: bytes, head: JpegHead, place: str
) -> tuple[NDArray[Any], str, tuple[Problem, ...]]:
    """Decode the pixels: a file that is cut off or damaged is refused, an untidy one is noted."""
    try:
        import simplejpeg
    except ImportError:  # no wheel for this Python: slower, same pixels
        if not _has_end(data, head):
            raise _cut_off(len(data), place) from None
        return *_decode_cv2(data, place), ()
    decoder = f"simplejpeg {_decoder_version()}"
    try:
        return simplejpeg.decode_jpeg(data, "RGB"), decoder, ()
    except ValueError as error:
        what = str(error)
    if "remature end" in what or not _has_end(data, head):
        raise _cut_off(len(data), place)
    if not any(words in what for words in _UNTIDY):
        raise InputError(
            "photo-damaged",
            f"{place}: its JPEG data are damaged ({what}).",
            "Copy it again from the memory card; if that does not help, the card has an error.",
        )
    note = Problem(
        slug="photo-untidy",
        severity="note",
        place=place,
        message=f"its JPEG data are untidy ({what}); the picture is whole.",
    )
    try:
        return simplejpeg.decode_jpeg(data, "RGB", strict=False), decoder, (note,)
    except ValueError:  # it stops at such words in front of the pixels even so
        return *_decode_cv2(data, place), (note,)


@cache
def _decoder_version() -> str:
    """Look the decoder's version up once: that reads files."""
    return package_metadata.version("simplejpeg")


def _cut_off(size_bytes: int, place: str) -> InputError:
    """Return the error for a file whose pixels break off."""
    return InputError(
        "photo-truncated",
        f"{place}: the file breaks off after {size_bytes} bytes, in the middle of its pixels.",
        "Copy it again from the memory card.",
    )


def _decode_cv2(data: bytes, place: str) -> tuple[NDArray[Any], str]:
    """Decode a whole file with OpenCV, which does not tell when it is cut off."""
    import cv2

    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise InputError("photo-damaged", f"{place}: its JPEG data are damaged.", "Copy it again.")
    return pixels, f"opencv {cv2.__version__}"
