"""Corrected photos on their way out: pixels in sRGB, the photo's own words, and what was done."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import FormatError, SettingsError, StoreError
from dryslate.core.arrays.checks import require_image
from dryslate.files.photo_carry import Carried
from dryslate.files.safe_write import save_whole
from dryslate.formats.exif import ExifTree, parse_exif
from dryslate.formats.exif_edit import format_exif, patch_exif, without_maker_notes
from dryslate.formats.icc import format_srgb_icc
from dryslate.formats.jpeg import APP1, EXIF_HEAD, MAX_PAYLOAD, XMP_HEAD, Segment, splice_jpeg
from dryslate.formats.jpeg import split_icc as icc_segments
from dryslate.formats.tiff import format_tiff_head
from dryslate.formats.xmp import NAMESPACE, format_xmp, split_xmp

QUALITY: Final = 92
JPEG_ENDINGS: Final = (".jpg", ".jpeg")
TIFF_ENDINGS: Final = (".tif", ".tiff")


def write_corrected(
    path: Path, pixels: NDArray[Any], source: DecodedPhoto, description: Mapping[str, str]
) -> None:
    """
    Write corrected pixels beside the words of the photo they came from.

    Parameters
    ----------
    path : Path
        ``.jpg`` or ``.tif`` decides the format.
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        sRGB, lying as the source's pixels lie; a JPEG takes uint8 only.
    source : DecodedPhoto
        The photo as read; its Exif, GPS, captions and XMP go along.
    description : mapping of str to str
        What was done; becomes fields of the XMP packet.

    Raises
    ------
    StoreError
        ``write-over-original`` if `path` is the photo itself or another file that dryslate
        did not write; ``disk-full``, ``folder-read-only``, ``write-failed``.
    SettingsError
        ``output-kind`` if the ending is neither.
    """
    require_image(pixels, "pixels")
    carried = source.segments if isinstance(source.segments, Carried) else Carried(path="")
    ending = path.suffix.lower()
    if ending not in JPEG_ENDINGS + TIFF_ENDINGS:
        raise SettingsError(
            "output-kind",
            f"{path.name}: corrected photos are written as .jpg or .tif; found {ending!r}.",
        )
    _require_not_original(path, carried)
    if ending in JPEG_ENDINGS:
        _write_jpeg(path, pixels, carried, description)
    else:
        _write_tiff(path, pixels, carried, description)


def _require_not_original(path: Path, carried: Carried) -> None:
    """Refuse to replace the photo itself, or any file that is not our own earlier output."""
    if not path.exists():
        return
    is_source = bool(carried.path) and Path(carried.path).exists() and path.samefile(carried.path)
    if not is_source:
        try:
            with path.open("rb") as file:
                is_ours = NAMESPACE.encode() in file.read(1 << 20)
        except OSError:
            is_ours = False
        if is_ours:
            return
    what = "the original itself" if is_source else "a file that was not written by dryslate"
    raise StoreError(
        "write-over-original",
        f"{path}: this would replace {what}.",
        "Choose another folder with `--out`.",
    )


def _exif_tree(carried: Carried) -> ExifTree | None:
    """Return the directories of the carried block, None where there is none to be had."""
    if carried.exif is None:
        return None
    try:
        return parse_exif(carried.exif, carried.path)
    except FormatError:
        return None


def _exif_block(carried: Carried) -> bytes | None:
    """Return the Exif block for a JPEG: patched in place where whole, else built anew."""
    tree = _exif_tree(carried)
    if tree is None or carried.exif is None:
        return None
    if len(carried.exif) + len(EXIF_HEAD) <= MAX_PAYLOAD:
        return patch_exif(carried.exif, tree, orientation=carried.orientation)
    built = format_exif(without_maker_notes(tree, carried.orientation))
    return built if len(built) + len(EXIF_HEAD) <= MAX_PAYLOAD else None


def _write_jpeg(
    path: Path, pixels: NDArray[Any], carried: Carried, description: Mapping[str, str]
) -> None:
    """Encode at 4:4:4 and splice the segments in front."""
    if pixels.dtype != np.uint8:
        raise TypeError(f"pixels: a JPEG takes uint8, got {pixels.dtype}")
    exif = _exif_block(carried)
    packet, extended = split_xmp(description, carried.xmp, carried.extended_xmp)
    segments = [] if exif is None else [Segment(marker=APP1, payload=EXIF_HEAD + exif)]
    segments.append(Segment(marker=APP1, payload=XMP_HEAD + packet))
    segments += [Segment(marker=APP1, payload=payload) for payload in extended]
    segments += icc_segments(carried.icc_profile or format_srgb_icc())
    segments += carried.others
    save_whole(path, splice_jpeg(_encode(pixels), segments))


def _encode(pixels: NDArray[np.uint8]) -> bytes:
    """Return the pixels as a JPEG."""
    if max(pixels.shape[:2]) > 65500:
        raise SettingsError(
            "output-too-large",
            f"{pixels.shape[1]} x {pixels.shape[0]} px do not fit a JPEG (65,500 at most).",
            "Write a TIFF with `--tiff`.",
        )
    pixels = np.ascontiguousarray(pixels)
    try:
        import simplejpeg
    except ImportError:  # no wheel for this Python
        import cv2

        sampling = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
        done, encoded = cv2.imencode(
            ".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY, *sampling]
        )
        if not done:
            raise StoreError("write-failed", "the JPEG encoder failed.") from None
        return encoded.tobytes()
    encoded_bytes: bytes = simplejpeg.encode_jpeg(pixels, QUALITY, "RGB", "444", False)
    return encoded_bytes


def _write_tiff(
    path: Path, pixels: NDArray[Any], carried: Carried, description: Mapping[str, str]
) -> None:
    """Write an uncompressed TIFF with profile, XMP and Exif."""
    tree = _exif_tree(carried) or ExifTree(order="<")
    head = format_tiff_head(
        pixels.shape[1],
        pixels.shape[0],
        8 * pixels.dtype.itemsize,
        about=without_maker_notes(tree, carried.orientation),
        icc_profile=carried.icc_profile or format_srgb_icc(),
        xmp=format_xmp(description, carried.xmp),
    )
    ordered = np.ascontiguousarray(pixels, dtype=pixels.dtype.newbyteorder(tree.order))
    save_whole(path, (head, ordered.data.cast("B")))
