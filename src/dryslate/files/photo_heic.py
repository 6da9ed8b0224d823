"""HEIC photos; the decoder needs no encoder and brings none."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import FormatError, InputError
from dryslate.files.photo_carry import (
    TAKEN_AS_SRGB,
    Carried,
    Light,
    as_srgb,
    exif_tree,
    facts_of,
    light_of,
    metadata_of,
    no_colour,
    note_of,
    profile_light,
    read_bytes,
    require_size,
    without_alpha,
)
from dryslate.formats.colour_points import profile_from_code_points
from dryslate.formats.exif_facts import ExifFacts


def read_heic(path: Path, max_megapixels: float) -> DecodedPhoto:
    """
    Decode a HEIC photo; its decoder turns the pixels upright.

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
        ``photo-high-range``.
    """
    import pi_heif

    place, data = path.name, read_bytes(path)
    try:
        image = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        width_px, height_px = image.size
        require_size(width_px, height_px, max_megapixels, place)
        if "RGB" not in image.mode:
            raise no_colour(place)
        array = np.array(image)  # a copy: the library frees its own buffer with the image
    except (ValueError, EOFError, SyntaxError, RuntimeError, OSError) as error:
        if isinstance(error, InputError):
            raise
        raise _heic_damaged(error, place, len(data)) from None
    if array.ndim != 3:
        raise no_colour(place)
    pixels, notes = without_alpha(array, place)
    n_codes = 256 if pixels.dtype == np.uint8 else 65536
    block = heic_exif(image.info.get("exif"))
    tree, exif_notes = exif_tree(block, place)
    facts = facts_of(tree)
    icc = image.info.get("icc_profile")
    light = _heic_light(icc, image.info.get("nclx_profile"), facts, n_codes, place)
    return DecodedPhoto(
        pixels=np.ascontiguousarray(pixels),
        linear_lut=light.linear_lut,
        to_srgb=light.to_srgb,
        kind="heic",
        metadata=metadata_of(facts, orientation=1),
        segments=Carried(
            path=str(path),
            exif=block if tree is not None else None,
            icc_profile=icc if light.is_srgb and not light.notes else None,
            xmp=image.info.get("xmp"),
            orientation=1,
        ),
        decoder=f"pi-heif {pi_heif.__version__} (libheif {pi_heif.libheif_version()})",
        notes=notes + exif_notes + light.notes,
    )


def heic_exif(block: bytes | None) -> bytes | None:
    """Return a HEIC file's Exif block from its byte-order mark on."""
    if block is None:
        return None
    return block.removeprefix(b"Exif\x00\x00") or None


def _heic_light(
    icc: bytes | None,
    code_points: dict[str, Any] | None,
    facts: ExifFacts,
    n_codes: int,
    place: str,
) -> Light:
    """Return the light by profile, else by code points, else as sRGB."""
    if icc is not None or not code_points:
        return light_of(icc, facts, n_codes, place)
    try:
        profile = profile_from_code_points(
            int(code_points["color_primaries"]), int(code_points["transfer_characteristics"]), place
        )
    except FormatError as error:
        if error.slug == "photo-high-range":
            raise
        return as_srgb(n_codes, note_of(error, place, TAKEN_AS_SRGB))
    return profile_light(profile, n_codes)


def _heic_damaged(error: Exception, place: str, size: int) -> InputError:
    """Return the error for a HEIC file that its decoder refuses."""
    what = str(error) or type(error).__name__
    is_cut = isinstance(error, EOFError) or "end of file" in what.lower()
    return InputError(
        "photo-truncated" if is_cut else "photo-damaged",
        f"{place}: this HEIC file of {size} bytes cannot be decoded ({what}).",
        "Copy it again from the camera.",
    )
