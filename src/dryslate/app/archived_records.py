"""What an archive brings of photos that are not here, as it is stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Protocol

from dryslate.app.colony_records import OutlineHow, Points
from dryslate.app.records import MeasurementRow


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedPhoto:
    """
    A photo that an archive names; the file is not in this project.

    Parameters
    ----------
    photo_id : str
        SHA-256 of the file.
    visit_id : str
    file_name, media_type, taken_at, creator, licence, rights_holder : str
        As the archive says; empty: it does not.
    """

    photo_id: str
    visit_id: str
    file_name: str = ""
    media_type: str = ""
    taken_at: str = ""
    creator: str = ""
    licence: str = ""
    rights_holder: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedFrame:
    """
    A photo of a tagged colony that is not here, with what was measured in it.

    Parameters
    ----------
    organism_id, photo_id, observer, noted_at : str
    is_reference, outline_px, outline_how, is_confirmed, carried_from : as `ColonyFrame`
    misfit_px, misfit_mm, n_matches : as `ColonyFrame`
    area_cm2, area_cm2_u, diameter_max_mm, diameter_max_mm_u : float or None
        Of the outline; None where the photo had no scale.
    measured : Mapping
        Colour, as `ColonyColour.measured`; empty: none.
    measured_at : str
    """

    organism_id: str
    photo_id: str
    observer: str
    noted_at: str
    is_reference: bool = False
    outline_px: Points = ()
    outline_how: OutlineHow = ""
    is_confirmed: bool = False
    carried_from: str | None = None
    misfit_px: float | None = None
    misfit_mm: float | None = None
    n_matches: int | None = None
    area_cm2: float | None = None
    area_cm2_u: float | None = None
    diameter_max_mm: float | None = None
    diameter_max_mm_u: float | None = None
    measured: Mapping[str, Any] = field(default_factory=dict)
    measured_at: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {**asdict(self), "outline_px": [list(p) for p in self.outline_px]}


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedSketch:
    """The file that shows the sketch of where a tagged colony stands; it is not here."""

    organism_id: str
    sha256: str


class ArchivedStore(Protocol):
    """Photos that are not here, and colonies in them."""

    def archived_photos(self) -> tuple[ArchivedPhoto, ...]:
        """Return the photos that archives name, in the order read."""

    def save_archived_photo(self, photo: ArchivedPhoto) -> None:
        """Store what an archive says of a photo."""

    def archived_frames(self, organism_id: str | None = None) -> tuple[ArchivedFrame, ...]:
        """Return the frames of one colony, or of all, in the order read."""

    def save_archived_frame(self, frame: ArchivedFrame) -> None:
        """Store a frame; the observer comes to be."""

    def archived_measurements(self) -> tuple[MeasurementRow, ...]:
        """Return what was measured of corals in photos that are not here, in the order read."""

    def save_archived_measurement(self, record_id: str, row: MeasurementRow) -> None:
        """Store a measurement of a coral; the observer comes to be."""

    def archived_sketches(self) -> tuple[ArchivedSketch, ...]:
        """Return which files show sketches and are not here."""

    def save_archived_sketch(self, sketch: ArchivedSketch) -> None:
        """Store which file shows the sketch of a colony's place."""
