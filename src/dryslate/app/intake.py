"""What taking in a memory card needs from the world of files, and the records it speaks in."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from dryslate.base.problems import Problem

How = Literal["direct", "dropped", "cached"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """A file on the memory card: where it is, its path below the source, size and time."""

    path: Path
    source: Path
    card_path: str
    size_bytes: int
    modified_ns: int

    @property
    def name(self) -> str:
        """The file's own name."""
        return self.card_path.rpartition("/")[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceListing:
    """Every file of the sources in a fixed order, and what could not be listed."""

    files: tuple[SourceFile, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCopy:
    """
    One copy that is in place.

    `how` says how it was read back just now, None where an earlier proof is on record;
    `was_there` whether it was in place before.
    """

    folder: Path
    path: Path
    how: How | None
    was_there: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """
    A file that is safe.

    Parameters
    ----------
    sha256 : str
    size_bytes : int
    head : bytes
        Its first bytes, enough to tell what it is.
    copies : tuple of KeptCopy
        One for each folder where it is in place.
    problems : tuple of Problem
        What went wrong with further folders, or what was put right on the way.
    """

    sha256: str
    size_bytes: int
    head: bytes
    copies: tuple[KeptCopy, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """
    The hardware below a folder.

    Parameters
    ----------
    disks : frozenset of str
        Names of the whole disks; empty where it is not known or is no disk.
    label : str
        For people.
    why_not : str
        Why no disk is named; empty where one is.
    """

    disks: frozenset[str]
    label: str
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """
    What earlier runs have proved of a file that seems to be the same.

    Parameters
    ----------
    sha256 : str or None
        The hash recorded for a file of that path, size and time.
    proved : Collection of (sha256, folder)
        Copies whose proof is on record; the others are read back again.
    """

    sha256: str | None = None
    proved: Collection[tuple[str, Path]] = ()


class IntakeFiles(Protocol):
    """Lists, copies and proves files."""

    def require_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> None:
        """
        Refuse sources before anything is made.

        Raises `InputError` ``source-not-found`` or ``take-into-itself``, as `list_sources`.
        """

    def list_sources(self, sources: Sequence[Path], keep_out: Sequence[Path]) -> SourceListing:
        """
        List every file below the sources, following no link.

        Raises `InputError` ``source-not-found`` or, where a folder to write to lies inside a
        source or the other way round, ``take-into-itself``.
        """

    def prepare(self, folder: Path) -> None:
        """Make the folder for originals and remove what a killed run left half-written."""

    def free_bytes(self, folder: Path) -> int:
        """Return the room left where a folder lies."""

    def volume_of(self, folder: Path) -> int:
        """Return a number that is the same for folders that share their room."""

    def drive_of(self, folder: Path) -> Drive:
        """Return the hardware below a folder."""

    def keep(self, file: SourceFile, folders: Sequence[Path], trust: Trust) -> KeptFile:
        """
        Copy a file by content into the originals of each folder, and read the copies back.

        Raises
        ------
        InputError
            ``source-unreadable``, ``source-changed``, ``source-unsteady``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``copy-differs`` for the first folder. Faults
            of further folders are problems of the answer.
        """
