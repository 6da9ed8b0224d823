"""A small corrected copy for screens, from the full result or from a reduced original."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import DecodedPhoto
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.apply import apply_correction
from dryslate.core.colour.correction import Correction

PREVIEW_PX = 1500
"""Longest side of a preview."""


def reduce_photo(pixels: NDArray[Any], longest_px: int = PREVIEW_PX) -> tuple[NDArray[Any], int]:
    """
    Halve a photo by averaging while its longest side stays above a limit.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3)
    longest_px : int

    Returns
    -------
    pixels : ndarray
        A reduced copy, or the photo itself where it is small already.
    reduced_by : int
        1, 2, 4 or more: how many pixels of the photo a side of one of its pixels spans.
    """
    reduced_by = 1
    while max(pixels.shape[:2]) >= 2 * longest_px and min(pixels.shape[:2]) >= 2:
        height, width = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
        pixels = cv2.resize(
            pixels[:height, :width], (width // 2, height // 2), interpolation=cv2.INTER_AREA
        )
        reduced_by *= 2
    return pixels, reduced_by


def corrected_preview(photo: DecodedPhoto, correction: Correction) -> NDArray[np.uint8]:
    """
    Return a corrected copy of about 1500 px, upright.

    Parameters
    ----------
    photo : DecodedPhoto
    correction : Correction

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB, the right way up, longest side at most 1500 px.

    Notes
    -----
    The photo is halved first and corrected then: a quarter copy costs a sixteenth of the
    correction. Averaging happens in code values, which differs from averaging light by less
    than a preview shows.
    """
    small, reduced_by = reduce_photo(photo.pixels)
    orientation = photo.metadata.orientation
    img_srgb = apply_correction(
        small, photo.linear_lut, correction, orientation=orientation, reduced_by=reduced_by
    )
    return limit_size(np.ascontiguousarray(upright_view(img_srgb, orientation)))


def reduced_preview(img_srgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """
    Return an upright copy of about 1500 px of a photo that is corrected already.

    Parameters
    ----------
    img_srgb : ndarray of uint8, shape (height, width, 3)
        As stored, not turned.
    orientation : int
        EXIF orientation of the stored pixels, 1 to 8.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        As `corrected_preview`, within what averaging before or after the correction differs by.
    """
    small, _ = reduce_photo(img_srgb)
    return limit_size(np.ascontiguousarray(upright_view(small, orientation)))


def limit_size(img_srgb: NDArray[np.uint8], longest_px: int = PREVIEW_PX) -> NDArray[np.uint8]:
    """
    Shrink a picture to a longest side; smaller ones stay as they are.

    Parameters
    ----------
    img_srgb : ndarray of uint8, shape (height, width, 3)
    longest_px : int

    Returns
    -------
    ndarray of uint8
    """
    height, width = img_srgb.shape[:2]
    if max(height, width) <= longest_px:
        return img_srgb
    factor = longest_px / max(height, width)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(img_srgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
