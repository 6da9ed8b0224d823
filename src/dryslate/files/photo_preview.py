"""Small pictures for screens, and the size of a photo without its pixels."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import DryslateError
from dryslate.files.photo_carry import read_bytes
from dryslate.files.photo_kind import Kind, kind_of
from dryslate.files.quiet import quiet_decoder
from dryslate.files.safe_write import save_whole
from dryslate.formats.jpeg import parse_jpeg_head
from dryslate.formats.png import parse_png_head

PREVIEW_QUALITY: Final = 85


def write_preview(path: Path, img_srgb: NDArray[Any]) -> None:
    """
    Write a small upright picture as JPEG, without metadata.

    Parameters
    ----------
    path : Path
        Replaced where it is there: a preview is made again from its photo at any time.
    img_srgb : ndarray of uint8, shape (height, width, 3)

    Raises
    ------
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    """
    save_whole(path, (encode_jpeg(img_srgb, PREVIEW_QUALITY),))


def encode_jpeg(img_srgb: NDArray[Any], quality: int) -> bytes:
    """
    Encode a picture as JPEG in memory.

    Parameters
    ----------
    img_srgb : ndarray of uint8, shape (height, width, 3)
    quality : int
        1 to 100.

    Returns
    -------
    bytes
    """
    pixels = np.ascontiguousarray(img_srgb, dtype=np.uint8)
    try:
        import simplejpeg
    except ImportError:  # no wheel for this Python
        import cv2

        flags = [cv2.IMWRITE_JPEG_QUALITY, quality]
        done, data = cv2.imencode(".jpg", pixels[..., ::-1], flags)
        if not done:
            raise ValueError("the JPEG encoder failed on a picture") from None
        return bytes(data.tobytes())
    return bytes(simplejpeg.encode_jpeg(pixels, quality, "RGB", "420"))


def photo_size_px(path: Path) -> tuple[int, int]:
    """
    Read width and height as stored from the head of a file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    tuple of int

    Raises
    ------
    OSError
        If the file cannot be read or its head is not that of an image.
    """
    try:
        return _size_of(path, kind_of(read_bytes(path, 64), path))
    except (DryslateError, ValueError, SyntaxError, RuntimeError) as error:
        raise OSError(f"{path.name}: {error}") from error


def _size_of(path: Path, kind: Kind) -> tuple[int, int]:
    """Read the size by the kind of the file; what fails raises in the decoder's own words."""
    if kind == "raw":
        import rawpy

        with quiet_decoder():
            try:
                with rawpy.imread(str(path)) as raw:
                    return int(raw.sizes.width), int(raw.sizes.height)
            except rawpy.LibRawError as error:
                raise OSError(f"{path.name}: {error}") from error
    if kind == "heic":
        import pi_heif

        width, height = pi_heif.open_heif(path).size
        return int(width), int(height)
    if kind == "tiff":
        import tifffile

        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages.first
            return int(page.imagewidth), int(page.imagelength)
    data = read_bytes(path)
    if kind == "png":
        png = parse_png_head(data, path.name, check_all=False)
        return png.width_px, png.height_px
    jpeg = parse_jpeg_head(data, path.name)
    return jpeg.width_px, jpeg.height_px
