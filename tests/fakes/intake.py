"""A memory card, folders and photo metadata in memory."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from dryslate.app.intake import (
    Drive,
    KeptCopy,
    KeptFile,
    SourceFile,
    SourceListing,
    Trust,
)
from dryslate.app.records import PhotoMetadata
from dryslate.base.errors import DryslateError, FormatError, InputError
from dryslate.base.problems import Problem

JPEG = b"\xff\xd8\xff\xe0"
RAW = b"II*\0"


@dataclass
class FakeIntake:
    """Implements `dryslate.app.intake.IntakeFiles` without a disk."""

    card: dict[str, bytes]
    drives: dict[str, Drive]
    source: Path = Path("/card")
    how: str = "direct"
    free: int = 10**12
    one_volume: bool = False
    problems: tuple[Problem, ...] = ()
    faults: dict[str, DryslateError] = field(default_factory=dict)
    second_faults: set[str] = field(default_factory=set)
    modified_s: dict[str, float] = field(default_factory=dict)
    kept: dict[tuple[Path, str], Path] = field(default_factory=dict)
    contents: dict[Path, bytes] = field(default_factory=dict)
    prepared: list[Path] = field(default_factory=list)

    def require_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> None:
        """Every source is there."""

    def list_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> SourceListing:
        files = [
            SourceFile(
                path=self.source / name,
                source=self.source,
                card_path=name,
                size_bytes=len(data),
                modified_ns=int(self.modified_s.get(name, 1000.0) * 1e9),
            )
            for name, data in self.card.items()
        ]
        return SourceListing(files=tuple(files), problems=self.problems)

    def prepare(self, folder: Path) -> None:
        self.prepared.append(folder)

    def free_bytes(self, folder: Path) -> int:
        return self.free

    def volume_of(self, folder: Path) -> int:
        return 0 if self.one_volume else hash(folder)

    def drive_of(self, folder: Path) -> Drive:
        return self.drives[str(folder)]

    def keep(self, file: SourceFile, folders: Sequence[Path], trust: Trust) -> KeptFile:
        if file.card_path in self.faults:
            raise self.faults[file.card_path]
        data = self.card[file.card_path]
        sha256 = hashlib.sha256(data).hexdigest()
        copies, problems = [], []
        for i, folder in enumerate(folders):
            if i and file.card_path in self.second_faults:
                problems.append(
                    Problem(
                        slug="second-copy-failed", severity="error", place=str(folder), message="no"
                    )
                )
                continue
            was_there = (folder, sha256) in self.kept
            path = self.kept.setdefault((folder, sha256), folder / "originals" / sha256)
            self.contents[path] = data
            proved = was_there and (sha256, folder) in trust.proved
            copies.append(
                KeptCopy(
                    folder=folder,
                    path=path,
                    how=None if proved else self.how,
                    was_there=was_there,
                )
            )
        return KeptFile(
            sha256=sha256,
            size_bytes=len(data),
            head=data[:64],
            copies=tuple(copies),
            problems=tuple(problems),
        )


@dataclass
class FakeReader:
    """The metadata part of `dryslate.app.ports.PhotoReader`: by content."""

    intake: FakeIntake
    metadata: dict[bytes, PhotoMetadata] = field(default_factory=dict)
    n_read: int = 0

    def read_metadata(self, path: Path) -> PhotoMetadata:
        self.n_read += 1
        data = self.intake.contents[path]
        if b"broken" in data:
            raise FormatError("photo-broken", f"{path.name}: damaged.", "Copy it again.")
        return self.metadata.get(data, PhotoMetadata())

    def require_whole(self, path: Path) -> None:
        if b"cut off" in self.intake.contents[path]:
            raise InputError("photo-truncated", f"{path.name}: the file breaks off.", "Copy it.")


class OneTime:
    """A clock that stands still."""

    def now_utc(self) -> str:
        return "2026-03-14T12:00:00Z"


@dataclass
class Steps:
    """Progress that remembers."""

    total: int | None = None
    n: int = 0
    is_done: bool = False

    def start(self, what: str, total: int | None) -> None:
        self.total = total

    def step(self, n: int = 1, note: str = "") -> None:
        self.n += n

    def done(self) -> None:
        self.is_done = True
