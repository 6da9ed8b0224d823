"""What is handed to taking in a memory card, and what comes back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.intake import IntakeFiles, SourceFile
from dryslate.app.ports import Clock, PhotoReader, Progress, SurveyStore
from dryslate.app.records import Visit
from dryslate.app.wiping import WipeVerdict
from dryslate.base.problems import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRequest:
    """
    What to take in: sources, the project, a second folder or None, and whose visit it is.

    `is_sent` where the sources are what a browser sent, not the memory card itself: what else is
    on the card is then not known.
    """

    sources: tuple[Path, ...]
    project: Path
    second: Path | None
    site: str
    date: str
    observer: str
    is_sent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTools:
    """The ports that taking in works through."""

    store: SurveyStore
    files: IntakeFiles
    reader: PhotoReader
    clock: Clock
    progress: Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class TakePlan:
    """
    What is about to be taken in.

    Parameters
    ----------
    request : TakeRequest
    visit : Visit
        Stored only when the first file is.
    files : tuple of SourceFile
    known : Mapping of card path, size and time to hash
        Files that seem to be there already.
    bytes_needed, bytes_free : int
        In the project's folder (and the second's, where both share their room).
    problems : tuple of Problem
    """

    request: TakeRequest
    visit: Visit
    files: tuple[SourceFile, ...]
    known: dict[tuple[str, int, int], str]
    bytes_needed: int
    bytes_free: int
    problems: tuple[Problem, ...]

    def words(self) -> str:
        """Say what is about to happen and the room it needs."""
        return (
            f"{len(self.files)} files for {self.visit.visit_id}; needs up to "
            f"{size_words(self.bytes_needed)} of disk, {size_words(self.bytes_free)} free"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport:
    """
    What was taken in.

    Parameters
    ----------
    visit_id : str
    n_files, n_copied, n_had, n_failed : int
        Files on the sources; copied now; there before or twice on the card; not taken in.
    n_photos : int
        Photos of this visit afterwards.
    bytes_copied : int
    is_sent : bool
        Whether the files are what a browser sent, not what is on a card.
    verdict : WipeVerdict
    problems : tuple of Problem
    """

    visit_id: str
    n_files: int
    n_copied: int
    n_had: int
    n_failed: int
    n_photos: int
    bytes_copied: int
    drives: tuple[str, ...]
    verdict: WipeVerdict
    problems: tuple[Problem, ...]
    is_sent: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "visit_id": self.visit_id,
            "n_files": self.n_files,
            "n_copied": self.n_copied,
            "n_had": self.n_had,
            "n_failed": self.n_failed,
            "n_photos": self.n_photos,
            "bytes_copied": self.bytes_copied,
            "drives": list(self.drives),
            "may_wipe": self.verdict.may_wipe,
            "verdict": self.verdict.words,
            "reasons": list(self.verdict.reasons),
            "problems": [problem.as_dict() for problem in self.problems],
        }


def size_words(n_bytes: int) -> str:
    """
    Say a size in words.

    Examples
    --------
    >>> size_words(8_300_000), size_words(120)
    ('8.3 MB', '120 bytes')
    """
    for factor, unit in ((1e12, "TB"), (1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if n_bytes >= factor:
            return f"{n_bytes / factor:.1f} {unit}"
    return f"{n_bytes} bytes"
