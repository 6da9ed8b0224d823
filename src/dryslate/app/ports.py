"""What the use cases need from the world outside, as small protocols."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from dryslate.app.archived_records import ArchivedStore
from dryslate.app.backup_records import BackupStore
from dryslate.app.colony_records import ColonyStore
from dryslate.app.condition_records import ConditionStore
from dryslate.app.coral_health import HealthStore
from dryslate.app.logger_records import LoggerStore
from dryslate.app.publication_records import PublicationStore
from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.app.sheet_records import SheetStore
from dryslate.app.store_ports import (
    IdentificationStore,
    PhotoStore,
    PlaceStore,
    ProofStore,
    ResultStore,
)
from dryslate.app.survey_records import SurveyRowStore
from dryslate.app.survey_sums import SurveySumStore
from dryslate.app.unit_records import UnitStore
from dryslate.app.visit_edit_records import VisitEditStore
from dryslate.app.zone_records import ZoneWeightStore
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.core.card.definition import CardDefinition
    from dryslate.core.identify.observer import ErrorRates
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.core.sheet.page import SheetPage

Job = TypeVar("Job")
Answer = TypeVar("Answer")


class Progress(Protocol):
    """Shows how far a long piece of work is."""

    def start(self, what: str, total: int | None) -> None:
        """Begin a stretch of work of `total` steps (None where not known)."""

    def step(self, n: int = 1, note: str = "") -> None:
        """Count `n` steps done."""

    def done(self) -> None:
        """End the stretch."""


class Clock(Protocol):
    """Tells the time."""

    def now_utc(self) -> str:
        """Return the time now, ISO 8601 with ``Z``."""


class Runner(Protocol):
    """Runs many independent pure jobs."""

    def run(
        self, function: Callable[[Job], Answer], jobs: Iterable[Job]
    ) -> Iterator[tuple[Job, Answer | BaseException]]:
        """
        Yield each job with its answer, or with what it raised, as they finish.

        Jobs are asked for one by one as there is room, so that the caller can stop handing out.
        """


class PhotoReader(Protocol):
    """Reads and writes photo files."""

    def read(self, path: Path) -> DecodedPhoto:
        """Decode a photo; raises `InputError` or `FormatError` with the reason."""

    def read_metadata(self, path: Path) -> PhotoMetadata:
        """Read what the file says of itself without decoding the pixels."""

    def size_px(self, path: Path) -> tuple[int, int]:
        """Return width and height as stored, without decoding the pixels."""

    def require_whole(self, path: Path) -> None:
        """Refuse a file that plainly breaks off, without decoding it."""

    def write_corrected(
        self, path: Path, pixels: Any, source: DecodedPhoto, description: dict[str, str]
    ) -> None:
        """Write corrected pixels (sRGB) as JPEG or TIFF by the ending, metadata carried over."""

    def write_preview(self, path: Path, img_srgb: Any) -> None:
        """Write a small upright picture (sRGB) as JPEG, without metadata."""


class PhotoVault(Protocol):
    """Originals by content hash, read-only."""

    def path_of(self, sha256: str, name: str) -> Path:
        """Return where the file with that hash is (or would be) kept."""

    def has(self, sha256: str, name: str) -> bool:
        """Tell whether the file is there."""


class ReferenceTables(Protocol):
    """Built-in and project cards, and the tables the core needs."""

    def cards(self) -> tuple[CardDefinition, ...]:
        """Return every known card."""

    def card(self, name: str) -> CardDefinition:
        """Return one card by name, or raise `InputError` ``card-unknown``."""

    def table(self, name: str) -> list[dict[str, str]]:
        """Return the rows of a built-in CSV table."""

    def design(self, name: str) -> CardDefinition:
        """Return the built-in card of that name, else what `card` returns."""

    def picture(self, card: CardDefinition) -> Any:
        """Return the stored picture of a card without markers (uint8 sRGB), or None."""

    def taxa(self) -> tuple[TaxaData, list[Problem]]:
        """Return all that is known of the genera, and what is wrong with the tables."""

    def error_rates(self) -> ErrorRates:
        """Return how observers err, as shipped."""

    def read_text(self, path: Path) -> str:
        """Read a small text file; raises `InputError` with the reason."""

    def place_for(self, name: str) -> Path:
        """Return where a card of that name belongs."""

    def save_card(self, card: CardDefinition, path: Path, picture: bytes = b"") -> Path | None:
        """Write a card definition and its picture; return where an older one was moved to."""

    def put_away(self, name: str) -> bool:
        """Move a project's own card and its picture aside; False where it has none of that name."""

    def card_key(self, card: CardDefinition) -> str:
        """Hash everything a card states, for provenance."""


class SurveyStore(
    PlaceStore,
    PhotoStore,
    ResultStore,
    IdentificationStore,
    HealthStore,
    UnitStore,
    BackupStore,
    ProofStore,
    SurveyRowStore,
    SurveySumStore,
    ColonyStore,
    PublicationStore,
    ZoneWeightStore,
    SheetStore,
    ConditionStore,
    LoggerStore,
    ArchivedStore,
    VisitEditStore,
    Protocol,
):
    """The project's records; its rooms are in `dryslate.app.store_ports`."""

    def write(self) -> AbstractContextManager[None]:
        """One transaction: all of it or nothing."""

    def problems(self) -> tuple[Problem, ...]:
        """Return what is to be said about how the store is kept (a network folder, say)."""

    def close(self) -> None:
        """Let go of the project."""


class DocumentWriter(Protocol):
    """Writes documents people look at."""

    def card_pdf(
        self, card: CardDefinition, path: Path, *, paper: str = "a4", copies: int | None = None
    ) -> None:
        """Write the millimetre-true PDF of a card."""

    def card_picture(self, card: CardDefinition, dpi: float, path: Path) -> tuple[int, int]:
        """Write a picture that is exactly the card; return its width and height in pixels."""

    def sheet_pdf(self, pages: Sequence[SheetPage], language: str) -> bytes:
        """Return the millimetre-true PDF of sheets for the dive."""

    def picture_jpeg(self, img_srgb: Any) -> bytes:
        """Encode a small picture (uint8 sRGB) as JPEG, for a report."""

    def crop_png(self, crop: Any) -> bytes:
        """Return a part of a photo as PNG, its scale bar burnt in, its texts in the metadata."""

    def colony_timeline(self, timeline: Any) -> str:
        """Draw a tagged colony's timeline as an SVG element; same timeline, same bytes."""

    def report_html(self, report: Any, path: Path) -> None:
        """Write the self-contained report."""

    def survey_report(self, report: Any, path: Path, language: str, *, as_pdf: bool) -> None:
        """Write the report of a survey's results as one HTML file or as PDF."""
