"""PNG photos of 8 and 16 bits."""

from __future__ import annotations

from pathlib import Path

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
from dryslate.formats.colour_points import profile_from_code_points, profile_from_gamma
from dryslate.formats.exif_facts import ExifFacts
from dryslate.formats.png import PngHead, parse_png_head


def read_png(path: Path, max_megapixels: float) -> DecodedPhoto:
    """
    Decode a PNG photo of 8 or 16 bits.

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
    import cv2

    place, data = path.name, read_bytes(path)
    head = parse_png_head(data, place, check_all=False)
    require_size(head.width_px, head.height_px, max_megapixels, place)
    head = parse_png_head(data, place)
    if head.colour_type in (0, 4):
        raise no_colour(place)
    flags = cv2.IMREAD_UNCHANGED
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None or decoded.ndim != 3:
        raise InputError("photo-damaged", f"{place}: its PNG data are damaged.", "Copy it again.")
    pixels, notes = without_alpha(decoded, place)
    pixels = np.ascontiguousarray(pixels[..., ::-1])
    tree, exif_notes = exif_tree(head.exif, place)
    facts = facts_of(tree)
    light = _png_light(head, facts, 256 if pixels.dtype == np.uint8 else 65536, place)
    return DecodedPhoto(
        pixels=pixels,
        linear_lut=light.linear_lut,
        to_srgb=light.to_srgb,
        kind="png",
        metadata=metadata_of(facts),
        segments=Carried(
            path=str(path),
            exif=head.exif if tree is not None else None,
            icc_profile=head.icc_profile if light.is_srgb and not light.notes else None,
            xmp=head.xmp,
            orientation=facts.orientation,
        ),
        decoder=f"opencv {cv2.__version__}",
        notes=notes + exif_notes + light.notes,
    )


def _png_light(head: PngHead, facts: ExifFacts, n_codes: int, place: str) -> Light:
    """Return the light by cICP, iCCP, sRGB, gAMA with cHRM: the order of the standard."""
    try:
        if head.code_points:
            profile = profile_from_code_points(head.code_points[0], head.code_points[1], place)
            return profile_light(profile, n_codes)
        if head.icc_profile is None and not head.is_srgb and head.gamma is not None:
            profile = profile_from_gamma(head.gamma, head.white_primaries_xy, place)
            return profile_light(profile, n_codes)
    except FormatError as error:
        if error.slug == "photo-high-range":
            raise
        return as_srgb(n_codes, note_of(error, place, TAKEN_AS_SRGB))
    is_broken = head.icc_profile is None and head.n_damaged_words > 0
    return light_of(head.icc_profile, facts, n_codes, place, is_broken=is_broken)
