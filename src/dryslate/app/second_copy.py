"""What of a visit is proved where, and making the second copy after the card was taken in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dryslate.app.intake import Drive, How, KeptCopy, SourceFile, Trust
from dryslate.app.project_records import CardFile, CopyProof
from dryslate.app.take import BATCH, SPARE_BYTES
from dryslate.app.take_records import size_words
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.intake import IntakeFiles
    from dryslate.app.ports import Clock, PhotoVault, Progress, SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderProof:
    """
    What of a visit lies in one folder on one drive.

    Parameters
    ----------
    folder : str
        ``.`` for the project.
    drive : str
    n_proved, n_unproved : int
        Files read back from the drive itself; files that are there but were not.
    last_utc : str
        When the last of them was looked at.
    """

    folder: str
    drive: str
    n_proved: int
    n_unproved: int
    last_utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CopiesOfVisit:
    """
    What of a visit is proved where.

    Parameters
    ----------
    n_files, bytes_all : int
        Different files of the visit, and their size.
    n_twice : int
        Those proved on two different drives or more.
    folders : tuple of FolderProof
        The project first.
    """

    n_files: int
    bytes_all: int
    n_twice: int
    folders: tuple[FolderProof, ...]

    @property
    def is_safe(self) -> bool:
        """Tell whether every file is proved on two drives."""
        return self.n_files > 0 and self.n_twice == self.n_files


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondTools:
    """
    The ports that making second copies works through.

    `read_back` hashes a file as it lies on its drive, and says how it got past the memory.
    """

    store: SurveyStore
    files: IntakeFiles
    read_back: Callable[[Path], tuple[str, How]]
    vault: PhotoVault
    clock: Clock
    progress: Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondReport:
    """
    What came of making the second copy.

    Parameters
    ----------
    visit_id : str
    folder : Path
    n_copied, n_had, n_failed : int
        Copied now; there before; files that could not be copied.
    shared : tuple of str
        Disks on which both copies lie; then they count as one.
    why_not : str
        Why the second folder counts for no drive; empty where it does.
    after : CopiesOfVisit
    problems : tuple of Problem
    """

    visit_id: str
    folder: Path
    n_copied: int
    n_had: int
    n_failed: int
    shared: tuple[str, ...]
    why_not: str
    after: CopiesOfVisit
    problems: tuple[Problem, ...]


def copies_of(store: SurveyStore, visit_id: str) -> CopiesOfVisit:
    """
    Say what of a visit is proved where.

    Parameters
    ----------
    store : SurveyStore
    visit_id : str

    Returns
    -------
    CopiesOfVisit
    """
    files = _files_of(store, visit_id)
    drives: dict[str, set[str]] = {sha256: set() for sha256 in files}
    found: dict[tuple[str, str], list[CopyProof]] = {}
    for copy in store.copies():
        if copy.sha256 not in files:
            continue
        found.setdefault((copy.folder, copy.drive), []).append(copy)
        if copy.is_proved:
            drives[copy.sha256].add(copy.drive)
    folders = [
        FolderProof(
            folder=folder,
            drive=drive,
            n_proved=sum(c.is_proved for c in copies),
            n_unproved=sum(not c.is_proved for c in copies),
            last_utc=max(c.proved_utc for c in copies),
        )
        for (folder, drive), copies in found.items()
    ]
    return CopiesOfVisit(
        n_files=len(files),
        bytes_all=sum(file.size_bytes for file in files.values()),
        n_twice=sum(len(names) >= 2 for names in drives.values()),
        folders=tuple(sorted(folders, key=lambda f: (f.folder != ".", f.folder))),
    )


def require_second(tools: SecondTools, project: Path, visit_id: str, second: Path) -> None:
    """
    Refuse a second folder that cannot hold the copies.

    Raises
    ------
    InputError
        ``take-second-same`` where it is the project or lies in it; ``disk-too-small``.
    """
    here, there = project.resolve(), second.resolve()
    if there == here or there.is_relative_to(here) or here.is_relative_to(there):
        raise InputError(
            "take-second-same",
            f"{second}: the second folder is the project itself, or one lies in the other.",
            "Give a folder on another drive.",
        )
    placed = {c.sha256 for c in tools.store.copies() if c.folder == str(there)}
    files = _files_of(tools.store, visit_id)
    needed = sum(file.size_bytes for sha256, file in files.items() if sha256 not in placed)
    free = tools.files.free_bytes(second)
    if needed and free < needed + SPARE_BYTES:
        raise InputError(
            "disk-too-small",
            f"{second}: {size_words(needed)} are needed and {size_words(free)} are free "
            f"({size_words(SPARE_BYTES)} must stay free). Nothing was copied.",
            "Make room, or choose a folder on another drive.",
        )


def make_second_copy(
    tools: SecondTools, project: Path, visit_id: str, second: Path
) -> SecondReport:
    """
    Copy every file of a visit from the project to a second folder, and read the copies back.

    Parameters
    ----------
    tools : SecondTools
        With the store open for writing.
    project, second : Path
    visit_id : str

    Returns
    -------
    SecondReport
        Files of the project that lost their content are listed and not copied.

    Raises
    ------
    InputError
        As `require_second`.
    StoreError
        ``disk-full``, ``folder-read-only``, ``folder-failed``, ``copy-differs``: what was
        finished before is written down, and doing it again goes on from there.
    """
    require_second(tools, project, visit_id, second)
    tools.files.prepare(second)
    work = _Work(tools, project, second)
    files = _files_of(tools.store, visit_id)
    tools.progress.start("copying", len(files))
    try:
        for rows in work.copy(files.values()):
            with tools.store.write():
                for row in rows:
                    tools.store.save_copy(row)
    finally:
        tools.progress.done()
    return SecondReport(
        visit_id=visit_id,
        folder=second,
        n_copied=work.n_copied,
        n_had=work.n_had,
        n_failed=len(work.problems),
        shared=tuple(sorted(work.first_drive.disks & work.second_drive.disks)),
        why_not=work.second_drive.why_not if not work.second_drive.disks else "",
        after=copies_of(tools.store, visit_id),
        problems=tuple(work.problems),
    )


def _files_of(store: SurveyStore, visit_id: str) -> dict[str, CardFile]:
    """Return the different files of a visit, by hash."""
    files: dict[str, CardFile] = {}
    for row in store.card_files():
        if row.visit_id == visit_id:
            files.setdefault(row.sha256, row)
    return files


class _Work:
    """One run of making second copies."""

    def __init__(self, tools: SecondTools, project: Path, second: Path) -> None:
        self._tools = tools
        self._project, self._second = project, second
        self.first_drive = tools.files.drive_of(project)
        self.second_drive = tools.files.drive_of(second)
        copies = tools.store.copies()
        self._proved = {(c.sha256, c.folder) for c in copies if c.is_proved}
        self.n_copied = self.n_had = 0
        self.problems: list[Problem] = []

    def copy(self, files: Iterable[CardFile]) -> Iterator[list[CopyProof]]:
        """Copy files; yields rows to write down, a few files at a time."""
        rows: list[CopyProof] = []
        try:
            for file in files:
                rows += self._one(file)
                self._tools.progress.step(1, file.original_name)
                if len(rows) >= BATCH:
                    yield rows
                    rows = []
        except DryslateError:
            yield rows
            raise
        yield rows

    def _one(self, file: CardFile) -> list[CopyProof]:
        """Copy one file, and prove the project's own where that was not done."""
        path = self._tools.vault.path_of(file.sha256, file.original_name)
        source = SourceFile(
            path=path,
            source=path.parent,
            card_path=file.original_name,
            size_bytes=file.size_bytes,
            modified_ns=file.modified_ns,
        )
        rows: list[CopyProof] = []
        try:
            found, how = self._tools.read_back(path)
        except OSError as error:
            return self._fail(
                file,
                f"the project's copy cannot be read ({error.strerror or error})",
                "Take the memory card in again: what is missing is copied from it.",
            )
        if found != file.sha256:
            return self._fail(
                file,
                "the project's copy no longer has its content, so it was not copied",
                "Take the memory card in again: a damaged file is replaced from it.",
            )
        if (file.sha256, ".") not in self._proved:
            first = KeptCopy(folder=self._project, path=path, how=how, was_there=True)
            rows += self._rows(file.sha256, first, ".", self.first_drive)
        name = str(self._second.resolve())
        is_known = (file.sha256, name) in self._proved
        proved = {(file.sha256, self._second)} if is_known else set()
        trust = Trust(sha256=file.sha256, proved=proved)
        kept = self._tools.files.keep(source, [self._second], trust)
        self.n_had += kept.copies[0].was_there
        self.n_copied += not kept.copies[0].was_there
        return rows + self._rows(file.sha256, kept.copies[0], name, self.second_drive)

    def _rows(self, sha256: str, copy: KeptCopy, name: str, drive: Drive) -> list[CopyProof]:
        """Return the row of a copy that was read back just now."""
        if copy.how is None:
            return []
        return [
            CopyProof(
                sha256=sha256,
                folder=name,
                drive=drive.label,
                is_proved=copy.how != "cached" and bool(drive.disks),
                how=copy.how,
                proved_utc=self._tools.clock.now_utc(),
            )
        ]

    def _fail(self, file: CardFile, message: str, fix: str) -> list[CopyProof]:
        """List a file that could not be copied."""
        self.problems.append(
            Problem(
                slug="second-copy-failed",
                severity="error",
                place=file.card_path,
                message=message,
                fix=fix,
            )
        )
        return []
