"""TIFF photos of 8 and 16 bits."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.files.photo_carry import (
    Carried,
    exif_of_tree,
    exif_tree,
    facts_of,
    light_of,
    metadata_of,
    no_colour,
    read_bytes,
    require_size,
    without_alpha,
)

_RGB, _YCBCR, _CMYK, _GREY = 2, 6, 5, (0, 1)


def read_tiff(path: Path, max_megapixels: float) -> DecodedPhoto:
    """
    Decode a TIFF photo of 8 or 16 bits; of several pages the first is taken.

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
    FormatError, InputError
        ``photo-truncated``, ``photo-damaged``, ``photo-too-large``, ``photo-grey``,
        ``photo-cmyk``, ``photo-unsupported``.
    """
    import tifffile

    place, data = path.name, read_bytes(path)
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as tiff:
            page = tiff.pages.first
            _require_tiff(page, len(data), max_megapixels, place)
            array, decoder = _tiff_pixels(page, data, place)
            icc, xmp = _tag_bytes(page, 34675), _tag_bytes(page, 700)
            n_pages = len(tiff.pages)
    except InputError:
        raise
    except Exception as error:  # a damaged TIFF makes the library raise whatever comes first
        raise _tiff_damaged(error, place) from None
    pixels, notes = without_alpha(array, place)
    if n_pages > 1:
        notes += (_several_pages(n_pages, place),)
    tree, exif_notes = exif_tree(data, place)
    facts = facts_of(tree)
    light = light_of(icc, facts, 256 if pixels.dtype == np.uint8 else 65536, place)
    return DecodedPhoto(
        pixels=np.ascontiguousarray(pixels),
        linear_lut=light.linear_lut,
        to_srgb=light.to_srgb,
        kind="tiff",
        metadata=metadata_of(facts),
        segments=Carried(
            path=str(path),
            exif=exif_of_tree(tree, facts.orientation),
            icc_profile=icc if light.is_srgb and not light.notes else None,
            xmp=xmp,
            orientation=facts.orientation,
        ),
        decoder=decoder,
        notes=notes + exif_notes + light.notes,
    )


def _require_tiff(page: Any, n_bytes: int, max_megapixels: float, place: str) -> None:
    """Refuse what is too large, not RGB, of another depth, or cut off."""
    require_size(page.imagewidth, page.imagelength, max_megapixels, place)
    photometric = int(page.photometric)
    if photometric in _GREY:
        raise no_colour(place)
    if photometric == _CMYK:
        raise InputError(
            "photo-cmyk",
            f"{place}: its channels are inks for print (CMYK); the camera's light cannot be had "
            "back from them.",
            "Use the camera's own RGB file.",
        )
    if photometric not in (_RGB, _YCBCR) or str(page.dtype) not in ("uint8", "uint16"):
        raise InputError(
            "photo-unsupported",
            f"{place}: a TIFF of {page.dtype} values with photometric code {photometric}; RGB of "
            "8 or 16 bits is read.",
            "Export it as RGB of 16 bits.",
        )
    ends = zip(page.dataoffsets, page.databytecounts, strict=True)
    end = max((offset + count for offset, count in ends), default=0)
    if end > n_bytes:
        raise InputError(
            "photo-truncated",
            f"{place}: this TIFF breaks off after {n_bytes} bytes; its pixels go on to {end}.",
            "Copy it again from where it came from.",
        )


def _tiff_pixels(page: Any, data: bytes, place: str) -> tuple[NDArray[Any], str]:
    """Decode the first page: by tifffile, or by OpenCV where that needs a further codec."""
    import tifffile

    try:
        array = page.asarray()
        decoder = f"tifffile {tifffile.__version__}"
    except (ValueError, ImportError) as error:
        if "imagecodecs" not in str(error):
            raise
        array, decoder = _by_opencv(data, place)
    if array.ndim == 3 and int(page.planarconfig) == 2 and array.shape[0] in (3, 4):
        array = np.moveaxis(array, 0, 2)
    if array.ndim != 3 or array.shape[2] not in (3, 4):
        raise InputError(
            "photo-unsupported", f"{place}: a TIFF of shape {array.shape}; RGB is read."
        )
    return array, decoder


def _by_opencv(data: bytes, place: str) -> tuple[NDArray[Any], str]:
    """Decode with OpenCV, which knows more ways of packing."""
    import cv2

    array = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if array is None or array.ndim != 3:
        raise InputError(
            "photo-unsupported",
            f"{place}: this TIFF is packed in a way that is not read.",
            "Export it without compression.",
        )
    order = [2, 1, 0, 3][: array.shape[2]]
    return array[..., order], f"opencv {cv2.__version__}"


def _tag_bytes(page: Any, tag: int) -> bytes | None:
    """Return a tag's value where it is bytes."""
    found = page.tags.get(tag)
    return found.value if found is not None and isinstance(found.value, bytes) else None


def _several_pages(n_pages: int, place: str) -> Problem:
    """Return the note on further pages."""
    return Problem(
        slug="photo-several-pages",
        severity="note",
        place=place,
        message=f"it holds {n_pages} pictures; the first is used.",
    )


def _tiff_damaged(error: Exception, place: str) -> InputError:
    """Return the error for a TIFF that cannot be read."""
    return InputError(
        "photo-damaged",
        f"{place}: this TIFF cannot be read ({error}).",
        "Copy it again from where it came from.",
    )
