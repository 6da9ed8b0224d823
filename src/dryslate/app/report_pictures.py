"""Small pictures for the report: the original as it is, and the corrected photo."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.ports import DocumentWriter, PhotoReader
from dryslate.app.preview import limit_size, reduce_photo
from dryslate.app.records import DecodedPhoto
from dryslate.app.report_records import Picture
from dryslate.base.errors import DryslateError
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureJob:
    """
    One photo to make small pictures of.

    Parameters
    ----------
    photo_id : str
    original : Path
    corrected : Path or None
        The corrected preview, or the corrected photo itself; None where there is neither.
    longest_px : int
    reader : PhotoReader
    documents : DocumentWriter
    """

    photo_id: str
    original: Path
    corrected: Path | None
    longest_px: int
    reader: PhotoReader
    documents: DocumentWriter


def make_pictures(job: PictureJob) -> tuple[Picture, Picture]:
    """
    Make the pictures of one photo, before and after.

    Parameters
    ----------
    job : PictureJob

    Returns
    -------
    before, after : Picture
        A picture that cannot be made says why.
    """
    before = _picture(job, job.original)
    if job.corrected is None:
        after = Picture(why_not="This photo was not corrected.")
    else:
        after = _picture(job, job.corrected)
        if before.jpeg:  # points count in the original, the preview is smaller
            after = replace(after, width_px=before.width_px, height_px=before.height_px)
    return before, after


def _picture(job: PictureJob, path: Path) -> Picture:
    """Read, shrink and encode one photo."""
    try:
        photo = job.reader.read(path)
    except DryslateError as error:
        return Picture(why_not=error.message)
    upright = upright_view(photo.pixels, photo.metadata.orientation)
    height, width = upright.shape[:2]
    reduced = np.ascontiguousarray(reduce_photo(upright, job.longest_px)[0])
    small = _in_srgb(photo, limit_size(reduced, job.longest_px))
    return Picture(
        jpeg=job.documents.picture_jpeg(np.ascontiguousarray(small)),
        width_px=int(width),
        height_px=int(height),
    )


def _in_srgb(photo: DecodedPhoto, pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Bring a few pixels of a photo to 8-bit sRGB; those of most cameras are that already."""
    codes = srgb_to_linear(np.arange(256) / 255.0)
    is_srgb = np.array_equal(photo.to_srgb, np.eye(3)) and pixels.dtype == np.uint8
    if is_srgb and np.allclose(photo.linear_lut, codes[:, None], atol=1e-4):
        return pixels.astype(np.uint8, copy=False)
    linear = np.stack([photo.linear_lut[:, c][pixels[..., c]] for c in range(3)], axis=-1)
    srgb = linear_to_srgb(np.clip(linear @ photo.to_srgb.T, 0.0, 1.0))
    return np.rint(255.0 * np.clip(srgb, 0.0, 1.0)).astype(np.uint8)
