"""The rooms of the survey store's port: places and people, files and photos, results, changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.app.project_records import (
    CardFile,
    Change,
    ClockOffset,
    CopyProof,
    DerivedFile,
    LogFault,
    Observer,
    Original,
    PatchResidual,
    Site,
    Zone,
)
from dryslate.app.records import (
    ControlObject,
    CorrectionRow,
    MeasurementRow,
    Photo,
    Visit,
)


class PlaceStore(Protocol):
    """Sites, zones, observers, visits and the cameras' clocks."""

    def sites(self) -> tuple[Site, ...]:
        """Return every site by name."""

    def save_site(self, site: Site) -> None:
        """Store a site, or its changed note."""

    def zones(self, site: str | None = None) -> tuple[Zone, ...]:
        """Return the zones of one site, or all."""

    def save_zone(self, zone: Zone) -> None:
        """Store a zone, or its changed depths and note."""

    def observers(self) -> tuple[Observer, ...]:
        """Return every observer by name."""

    def save_observer(self, observer: Observer) -> None:
        """Store an observer, or the changed note."""

    def visits(self) -> tuple[Visit, ...]:
        """Return every visit, oldest first."""

    def save_visit(self, visit: Visit) -> None:
        """Store a visit; its site and observer come to be when they are not there."""

    def clock_offsets(self, visit_id: str | None = None) -> tuple[ClockOffset, ...]:
        """Return the clock offsets of one visit, or all."""

    def save_clock_offset(self, offset: ClockOffset) -> None:
        """Store how wrong a camera's clock was on a visit; an older value is replaced."""


class PhotoStore(Protocol):
    """Original files, where they lay on the card, their proved copies, and photos."""

    def originals(self) -> tuple[Original, ...]:
        """Return every kept file by hash."""

    def save_original(self, original: Original) -> None:
        """Store a kept file; the same hash again changes nothing."""

    def card_files(self) -> tuple[CardFile, ...]:
        """Return where every file lay on its memory card."""

    def save_card_file(self, card_file: CardFile) -> None:
        """Store where a file lay; the same visit, path and hash again changes nothing."""

    def copies(self) -> tuple[CopyProof, ...]:
        """Return every kept copy."""

    def save_copy(self, copy: CopyProof) -> None:
        """Store a copy; a later proof in the same folder takes the place of an earlier one."""

    def photos(self, visit_id: str | None = None) -> tuple[Photo, ...]:
        """Return photos in the order they were taken."""

    def photo_ids(self, visit_id: str | None = None) -> tuple[str, ...]:
        """Return the photos' ids in the order they were taken."""

    def photo(self, photo_id: str) -> Photo | None:
        """Return one photo by its id or by the hash of any of its files."""

    def save_photo(self, photo: Photo) -> None:
        """Store a photo or its changed files and metadata."""

    def delete_photo(self, photo_id: str) -> bool:
        """Take out a photo (its files stay); False and nothing done where results rest on it."""


class ResultStore(Protocol):
    """Corrections, measurements, residuals, control objects and derived files."""

    def correction(self, photo_id: str) -> CorrectionRow | None:
        """Return the latest correction of a photo."""

    def corrections(self, visit_id: str | None = None) -> tuple[CorrectionRow, ...]:
        """Return the latest correction of every photo that has one, in the photos' order."""

    def correction_keys(self) -> dict[str, str]:
        """Return the key of the latest correction of every photo that has one."""

    def visit_counts(self) -> dict[str, tuple[int, int]]:
        """Return how many photos each visit has, and how many of them are corrected."""

    def photo_corrections(self, photo_id: str) -> tuple[CorrectionRow, ...]:
        """Return every correction that a photo ever had, oldest first."""

    def save_correction(self, row: CorrectionRow) -> None:
        """Store a correction as the latest; the latest one's key again changes nothing."""

    def measurements(
        self, photo_id: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[MeasurementRow, ...]:
        """Return the latest of every standing measurement, of one photo or all, as first saved."""

    def photo_measurements(self, photo_id: str) -> tuple[MeasurementRow, ...]:
        """Return every entry about measurements in a photo, also those followed, oldest first."""

    def measurements_of(self, measurement_ids: Iterable[str]) -> tuple[MeasurementRow, ...]:
        """Return those of some that stand, in the order first saved; then those of archives."""

    def save_measurements(self, rows: Iterable[MeasurementRow]) -> None:
        """Store measurements; what is there already in the same words changes nothing."""

    def patch_residuals(self, card_key: str | None = None) -> tuple[PatchResidual, ...]:
        """Return the residuals of one printed card, or all, in the order saved."""

    def photo_residuals(self, photo_id: str, correction_key: str) -> tuple[PatchResidual, ...]:
        """Return the residuals of one correction of one photo."""

    def save_patch_residuals(self, rows: Iterable[PatchResidual]) -> None:
        """Store residuals; the same photo, correction, card and patch again changes nothing."""

    def control_objects(self) -> tuple[ControlObject, ...]:
        """Return the control objects the project has named."""

    def save_control_object(self, control: ControlObject) -> None:
        """Store a control object, or its changed values."""

    def derived_files(self) -> tuple[DerivedFile, ...]:
        """Return every recorded derived file by path."""

    def save_derived_file(self, derived: DerivedFile) -> None:
        """Store a derived file; the same path again is replaced."""

    def changes(self, table_name: str | None = None) -> tuple[Change, ...]:
        """Return the change log, oldest first; nothing in it can be changed or taken out."""

    def changes_of(self, table_name: str, first_key: str) -> tuple[Change, ...]:
        """Return the lines about rows of a table whose key begins with this, oldest first."""


class ProofStore(Protocol):
    """Proving the tables by the change log."""

    def log_faults(self) -> tuple[LogFault, ...]:
        """Return where tables and change log do not agree."""


class IdentificationStore(Protocol):
    """Records of corals, who called them what, and the second observer."""

    def region(self) -> str | None:
        """Return the region the project works in, where it is set."""

    def save_region(self, region: str) -> None:
        """Set the region the project works in."""

    def records(self, visit_id: str | None = None) -> tuple[RecordRow, ...]:
        """Return the records of one visit, or all, in the order first saved."""

    def record(self, record_id: str) -> RecordRow | None:
        """Return one record by its whole id."""

    def named_records(self) -> frozenset[str]:
        """Return the ids of the records that a first observer has named."""

    def save_record(self, row: RecordRow) -> None:
        """Store a record, or its changed words; its observer comes to be when not there."""

    def identifications(self, record_id: str | None = None) -> tuple[IdentificationRow, ...]:
        """Return all identifications of one record, or of all, oldest first."""

    def save_identification(self, row: IdentificationRow) -> None:
        """Add an identification; the same id again changes nothing."""

    def review_draws(self) -> tuple[ReviewDrawRow, ...]:
        """Return the draws, oldest first."""

    def review_chances(self) -> tuple[ReviewChanceRow, ...]:
        """Return the chance of every identification that took part in a draw."""

    def save_review_draw(self, draw: ReviewDrawRow, chances: Iterable[ReviewChanceRow]) -> None:
        """Add a draw with the chance of each; the same draw again changes nothing."""

    def review_outcomes(self) -> tuple[ReviewOutcomeRow, ...]:
        """Return every outcome, oldest first; the last of a record holds."""

    def save_review_outcome(self, row: ReviewOutcomeRow) -> None:
        """Add an outcome; the same id again changes nothing."""
