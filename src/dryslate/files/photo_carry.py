"""What a photo's file says beside its pixels, gathered for the maths and for the way out."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryslate.app.records import PhotoMetadata
from dryslate.base.errors import FormatError, InputError
from dryslate.base.problems import Problem
from dryslate.formats.exif import ExifTree, parse_exif
from dryslate.formats.exif_edit import format_exif, without_maker_notes
from dryslate.formats.exif_facts import ExifFacts, facts_from_exif
from dryslate.formats.icc import RgbProfile, optional_space_profile, parse_icc, srgb_profile
from dryslate.formats.jpeg import Segment

_METADATA_NAMES: Final = tuple(f.name for f in dataclasses.fields(PhotoMetadata))
_NO_FACTS: Final = ExifFacts()
_ANY: Final = "photo"
TAKEN_AS_SRGB: Final = "Its colours are taken as sRGB."


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """
    What the writer needs to carry a photo's own words over.

    Parameters
    ----------
    path : str
        The file the photo was read from; it is never written to.
    exif : bytes or None
        Exif block, from its byte-order mark on.
    icc_profile : bytes or None
        The file's own profile, only where it stands for sRGB.
    xmp : bytes or None
        Its XMP packet.
    extended_xmp : tuple of bytes
        Payloads of its extended XMP segments.
    others : tuple of Segment
        Captions and comments (APP13 and COM).
    orientation : int
        Orientation of the pixels as decoded.
    """

    path: str
    exif: bytes | None = None
    icc_profile: bytes | None = None
    xmp: bytes | None = None
    extended_xmp: tuple[bytes, ...] = ()
    others: tuple[Segment, ...] = ()
    orientation: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """How code values become linear sRGB, and whether the file's own profile may stay."""

    linear_lut: NDArray[np.float32]
    to_srgb: NDArray[np.float64]
    is_srgb: bool
    notes: tuple[Problem, ...] = ()


def exif_tree(block: bytes | None, place: str) -> tuple[ExifTree | None, tuple[Problem, ...]]:
    """
    Read an Exif block; a broken one becomes a note.

    Parameters
    ----------
    block : bytes or None
    place : str
        The file's name.

    Returns
    -------
    tree : ExifTree or None
    notes : tuple of Problem
        ``exif-unreadable`` or ``exif-broken-entries``.
    """
    if block is None:
        return None, ()
    try:
        tree = parse_exif(block, place)
    except FormatError as error:
        return None, (note_of(error, place, "Time, camera and place stay unknown."),)
    if tree.n_broken == 0:
        return tree, ()
    return tree, (
        Problem(
            slug="exif-broken-entries",
            severity="note",
            place=place,
            message=f"{tree.n_broken} part(s) of its Exif block cannot be read and are left aside.",
        ),
    )


def note_of(error: FormatError, place: str, consequence: str) -> Problem:
    """Turn an error that does not stop the reading into a note."""
    message = error.message.removeprefix(f"{place}: ")
    return Problem(
        slug=error.slug, severity="note", place=place, message=f"{message} {consequence}"
    )


def exif_of_tree(tree: ExifTree | None, orientation: int) -> bytes | None:
    """Build a block for a photo whose file is itself the block (TIFF, raw): no maker notes."""
    return None if tree is None else format_exif(without_maker_notes(tree, orientation))


def facts_of(tree: ExifTree | None) -> ExifFacts:
    """Return what an Exif block says; nothing where there is none."""
    return _NO_FACTS if tree is None else facts_from_exif(tree)


def metadata_of(facts: ExifFacts, **changes: Any) -> PhotoMetadata:
    """Return the record of the use cases, with some fields changed."""
    values = {name: getattr(facts, name) for name in _METADATA_NAMES}
    return PhotoMetadata(**{**values, **changes})


def light_of(
    icc: bytes | None, facts: ExifFacts, n_codes: int, place: str, *, is_broken: bool = False
) -> Light:
    """
    Tell how code values become linear sRGB: by profile, by Exif, else as sRGB.

    Parameters
    ----------
    icc : bytes or None
        The file's profile.
    facts : ExifFacts
    n_codes : int
        256 or 65536.
    place : str
        The file's name.
    is_broken : bool
        Whether pieces of a profile are there that do not make a whole.

    Returns
    -------
    Light
    """
    if icc is not None:
        try:
            return _cached_light(icc, n_codes)
        except FormatError as error:
            named = FormatError(error.slug, error.message.removeprefix(f"{_ANY}: "))
            return as_srgb(n_codes, note_of(named, place, TAKEN_AS_SRGB))
    if is_broken:
        cut = FormatError("profile-damaged", "pieces of its colour profile are missing.")
        return as_srgb(n_codes, note_of(cut, place, TAKEN_AS_SRGB))
    if facts.is_optional_space:
        return profile_light(optional_space_profile(), n_codes)
    if facts.colour_space == 65535:
        return as_srgb(
            n_codes,
            Problem(
                slug="colour-space-unstated",
                severity="note",
                place=place,
                message="its colours are said not to be sRGB, not what they are: taken as sRGB.",
                fix="Set the camera to sRGB, or export with a colour profile.",
            ),
        )
    return as_srgb(n_codes)


def profile_light(profile: RgbProfile, n_codes: int) -> Light:
    """Return the light of a profile; one that sRGB stands for is taken as sRGB itself."""
    if profile.is_srgb_like:
        return as_srgb(n_codes)
    return Light(linear_lut=profile.linear_lut(n_codes), to_srgb=profile.to_srgb, is_srgb=False)


@lru_cache(maxsize=8)
def _cached_light(icc: bytes, n_codes: int) -> Light:
    """Read a profile once for all photos of a camera."""
    return profile_light(parse_icc(icc, _ANY), n_codes)


@lru_cache(maxsize=2)
def _srgb_light(n_codes: int) -> Light:
    """Return sRGB's own light."""
    matrix = np.eye(3)
    matrix.setflags(write=False)
    return Light(linear_lut=srgb_profile().linear_lut(n_codes), to_srgb=matrix, is_srgb=True)


def as_srgb(n_codes: int, *notes: Problem) -> Light:
    """Return sRGB's light with notes."""
    return dataclasses.replace(_srgb_light(n_codes), notes=notes) if notes else _srgb_light(n_codes)


def require_size(width_px: int, height_px: int, max_megapixels: float, place: str) -> None:
    """
    Refuse a frame that is empty or too large, before any pixel is decoded.

    Raises
    ------
    InputError
        ``photo-too-large`` or ``photo-damaged``.
    """
    if width_px < 1 or height_px < 1:
        raise InputError("photo-damaged", f"{place}: states a size of {width_px} x {height_px} px.")
    megapixels = width_px * height_px / 1e6
    if megapixels > max_megapixels:
        raise InputError(
            "photo-too-large",
            f"{place}: {width_px} x {height_px} px are {megapixels:.0f} megapixels; "
            f"at most {max_megapixels:g} are read.",
            "If it is a true photo, raise the limit (--largest-mp), or make a smaller copy of it.",
        )


def without_alpha(decoded: NDArray[Any], place: str) -> tuple[NDArray[Any], tuple[Problem, ...]]:
    """Return three channels; transparent pixels become a note."""
    if decoded.shape[2] == 3:
        return decoded, ()
    if decoded[..., 3].min() == np.iinfo(decoded.dtype).max:
        return decoded[..., :3], ()
    return decoded[..., :3], (
        Problem(
            slug="photo-transparent",
            severity="warning",
            place=place,
            message="parts of it are transparent; the colour stored under them is used.",
        ),
    )


def no_colour(place: str) -> InputError:
    """Return the error for a photo in grey."""
    return InputError(
        "photo-grey",
        f"{place}: it has one grey channel, and colour cannot be corrected without colour.",
        "Use the colour original, or convert it to RGB if only scale is wanted.",
    )


def read_bytes(path: Path, n: int = -1) -> bytes:
    """
    Read a file, or its first `n` bytes.

    Raises
    ------
    InputError
        ``photo-missing``, ``photo-is-folder``, ``photo-unreadable`` or ``photo-empty``.
    """
    try:
        with path.open("rb") as file:
            data = file.read(n)
    except FileNotFoundError:
        raise InputError("photo-missing", f"{path}: there is no such file.") from None
    except IsADirectoryError:
        raise is_folder(path) from None
    except OSError as error:
        if path.is_dir():  # how Windows tells it
            raise is_folder(path) from None
        raise InputError(
            "photo-unreadable",
            f"{path}: the file cannot be read ({error.strerror or error}).",
            "Check its permissions and the drive it is on.",
        ) from None
    if not data:
        raise InputError(
            "photo-empty", f"{path.name}: the file is empty (0 bytes).", "Copy it again."
        )
    return data


def is_folder(path: Path) -> InputError:
    """Return the error for a folder given as a photo."""
    return InputError(
        "photo-is-folder", f"{path}: this is a folder, not a photo.", "Give the photos in it."
    )


def kept_segments(segments: Iterable[Segment]) -> tuple[Segment, ...]:
    """Return captions and comments: what is neither metadata handled here nor about the pixels."""
    return tuple(s for s in segments if s.marker in (0xED, 0xFE))
