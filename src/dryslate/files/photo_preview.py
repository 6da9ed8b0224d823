"""Small pictures for screens, and the size of a photo without its pixels."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.files.safe_write import save_whole

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
    pixels = np.ascontiguousarray(img_srgb, dtype=np.uint8)
    try:
        import simplejpeg
    except ImportError:  # no wheel for this Python
        import cv2

        done, data = cv2.imencode(
            ".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, PREVIEW_QUALITY]
        )
        if not done:
            raise ValueError("the JPEG encoder failed on a preview") from None
        save_whole(path, (data.tobytes(),))
        return
    save_whole(path, (simplejpeg.encode_jpeg(pixels, PREVIEW_QUALITY, "RGB", "420"),))


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
    from dryslate.app.shots import RAW_ENDINGS, ending_of

    if ending_of(path.name) in RAW_ENDINGS:
        import rawpy

        try:
            with rawpy.imread(str(path)) as raw:
                return int(raw.sizes.width), int(raw.sizes.height)
        except rawpy.LibRawError as error:
            raise OSError(f"{path.name}: {error}") from error
    if ending_of(path.name) in ("heic", "heif", "hif"):
        import pi_heif

        try:
            width, height = pi_heif.open_heif(path).size
        except (ValueError, SyntaxError) as error:
            raise OSError(f"{path.name}: {error}") from error
        return int(width), int(height)
    from PIL import Image

    try:
        with Image.open(path) as image:
            return int(image.width), int(image.height)
    except (Image.DecompressionBombError, ValueError, SyntaxError) as error:
        raise OSError(f"{path.name}: {error}") from error
