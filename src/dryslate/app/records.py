"""Records that travel between the use cases, the store and the documents."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from dryslate.base.problems import Problem

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoMetadata:
    """
    What a photo's file says of itself; every field may be unknown.

    Parameters
    ----------
    taken_local : str or None
        Camera clock as written, ``YYYY-MM-DDTHH:MM:SS`` (with fraction when given).
    utc_offset : str or None
        ``+HH:MM`` where the file states it for this very time.
    camera_make, camera_model, camera_serial, lens_model : str or None
    focal_mm, focal_35mm_mm : float or None
    exposure_s, f_number, iso : float or None
    flash_fired : bool or None
    white_balance_fixed : bool or None
        True where the file says manual white balance; raw files count as fixed elsewhere.
    zoom_ratio : float or None
    latitude_deg, longitude_deg : float or None
    water_depth_m : float or None
        Depth of the camera below the surface, where the file states it.
    orientation : int
        EXIF orientation, 1 to 8; 1 where unknown.
    """

    taken_local: str | None = None
    utc_offset: str | None = None
    camera_make: str | None = None
    camera_model: str | None = None
    camera_serial: str | None = None
    lens_model: str | None = None
    focal_mm: float | None = None
    focal_35mm_mm: float | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    flash_fired: bool | None = None
    white_balance_fixed: bool | None = None
    zoom_ratio: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    water_depth_m: float | None = None
    orientation: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DecodedPhoto:
    """
    A photo's pixels as stored in its file (not turned), and how to read them.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values as stored; whoever decoded the photo may overwrite them when all is read.
    linear_lut : ndarray of float32, shape (n_codes, 3)
        Linear light (0 to 1) for each code value and channel, from the file's own profile.
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB (D65); identity for sRGB files.
    kind : {"jpeg", "png", "tiff", "heic", "raw"}
    metadata : PhotoMetadata
    segments : Any
        What the writer needs to carry the metadata over; opaque to the use cases.
    decoder : str
        Name and version of the decoder.
    notes : tuple of Problem
        What was found on the way in and did not stop it, such as a profile that cannot be read.
    """

    pixels: NDArray[Any]
    linear_lut: NDArray[np.float32]
    to_srgb: NDArray[np.float64]
    kind: Literal["jpeg", "png", "tiff", "heic", "raw"]
    metadata: PhotoMetadata
    segments: Any = None
    decoder: str = ""
    notes: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFile:
    """One file of a shot, safe in the vault: content hash, name on the card and kind."""

    sha256: str
    original_name: str
    size_bytes: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One site on one date. `clock_offset_s` maps camera key to seconds to add to its clock."""

    visit_id: str
    site: str
    date: str
    observer: str
    clock_offset_s: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """
    One shot: one or two files (raw and JPEG), the preferred one first.

    `photo_id` is the hash of the preferred file. `taken_corrected` is the true local time where
    the camera's clock offset was set for the visit, else None; `metadata.taken_local` stays.
    """

    photo_id: str
    visit_id: str
    files: tuple[PhotoFile, ...]
    metadata: PhotoMetadata
    taken_corrected: str | None = None
    depth_m: float | None = None
    observer: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionRow:
    """
    The stored outcome of correcting one photo.

    Parameters
    ----------
    photo_id : str
    key : str
        Hash of everything that could change the outcome.
    outcome : {"corrected", "refused", "no_card", "unreadable", "borrowed"}
        A row of ``"not_written"`` or ``"not_reached"`` tells of a run and is never stored.
    result : Mapping
        The JSON document printed for this photo.
    geometry : Mapping
        What `measure` needs to rebuild the plane (points, uncertainties, lens, image size).
    colour : Mapping
        What is needed to rebuild the colour fit with its uncertainty.
    corrected_path : str or None
        Below the project folder.
    """

    photo_id: str
    key: str
    outcome: Literal[
        "corrected", "refused", "no_card", "unreadable", "borrowed", "not_written", "not_reached"
    ]
    result: Mapping[str, Any]
    geometry: Mapping[str, Any]
    colour: Mapping[str, Any]
    corrected_path: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementRow:
    """
    A stored measurement of a coral or a control object.

    Parameters
    ----------
    measurement_id : str
        Hash of photo, colony, kind and points: the same line twice is one row.
    photo_id, colony : str
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    points_px : tuple of tuple of float
        In pixels of the upright original.
    values : Mapping
        Each value with its ``_u``, ``_lo95`` and ``_hi95``, and the budget; ``taken_back`` where
        it no longer stands, with why and what followed it.
    correction_key : str
        The correction it rests on.
    observer : str
    """

    measurement_id: str
    photo_id: str
    colony: str
    kind: str
    points_px: tuple[tuple[float, float], ...]
    values: Mapping[str, Any]
    correction_key: str
    observer: str

    @property
    def is_taken_back(self) -> bool:
        """Whether a later entry took it back: renamed, followed by a better one, or undone."""
        return bool(self.values.get("taken_back"))


def rests_on_earlier(row: MeasurementRow, correction: CorrectionRow | None) -> bool:
    """Tell whether a measurement rests on another correction than its photo's latest."""
    return correction is not None and row.correction_key not in ("", correction.key)


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlObject:
    """A bar of known length or a grey chip that is on no card, named by the project."""

    name: str
    kind: Literal["length", "grey"]
    value: tuple[float, ...]
    value_u: tuple[float, ...]
