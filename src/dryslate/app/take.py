"""Take in a memory card: every file copied by content, read back, and only then written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from dryslate.app.intake import IntakeFiles, KeptCopy, KeptFile, SourceFile, Trust
from dryslate.app.pairing import group_by_stem
from dryslate.app.project_records import CardFile, CopyProof, Original
from dryslate.app.shots import kind_of
from dryslate.app.take_photos import PhotoBook
from dryslate.app.take_records import TakePlan, TakeReport, TakeRequest, TakeTools, size_words
from dryslate.app.visits import require_date, require_name, require_visit
from dryslate.app.wiping import CopiesSeen, judge_wiping
from dryslate.base.errors import DryslateError, InputError, StoreError
from dryslate.base.problems import Problem

BATCH = 16
"""Files whose rows are written in one transaction; a killed run reads as many back again."""

SPARE_BYTES = 64 << 20
"""Room that is left on a disk beyond the files themselves."""


def check_take(request: TakeRequest, files: IntakeFiles) -> None:
    """
    Refuse what can never be taken in, before a project is made for it.

    Parameters
    ----------
    request : TakeRequest
    files : IntakeFiles

    Raises
    ------
    InputError
        ``name-empty``, ``name-odd``, ``visit-date``; ``source-not-found``, ``take-into-itself``,
        ``take-second-same``.
    """
    require_name(request.site, "site")
    require_name(request.observer, "observer")
    require_date(request.date)
    files.require_sources(request.sources, _folders(request))


def plan_take(request: TakeRequest, tools: TakeTools) -> TakePlan:
    """
    List what is to be taken in and see whether there is room for it.

    Parameters
    ----------
    request : TakeRequest
    tools : TakeTools
        With the store open for writing.

    Returns
    -------
    TakePlan

    Raises
    ------
    InputError
        ``disk-too-small``; ``source-not-found``, ``take-into-itself``, ``take-second-same``;
        and those of `dryslate.app.visits.require_visit`.
    """
    visit = require_visit(tools.store, request.site, request.date, request.observer)
    folders = _folders(request)
    listing = tools.files.list_sources(request.sources, folders)
    known = {
        (row.card_path, row.size_bytes, row.modified_ns): row.sha256
        for row in tools.store.card_files()
    }
    placed = {(row.sha256, row.folder) for row in tools.store.copies()}
    needed: dict[int, int] = {}
    for folder in folders:
        new = sum(
            file.size_bytes
            for file in listing.files
            if (known.get(_trace(file)), _folder_key(folder, request)) not in placed
        )
        volume = tools.files.volume_of(folder)
        needed[volume] = needed.get(volume, 0) + new
    for folder in folders:
        free = tools.files.free_bytes(folder)
        wanted = needed[tools.files.volume_of(folder)]
        if wanted and free < wanted + SPARE_BYTES:
            raise InputError(
                "disk-too-small",
                f"{folder}: {size_words(wanted)} are needed and {size_words(free)} are free "
                f"({size_words(SPARE_BYTES)} must stay free). Nothing was copied.",
                "Make room, or choose a folder on another drive.",
            )
    return TakePlan(
        request=request,
        visit=visit,
        files=listing.files,
        known=known,
        bytes_needed=needed[tools.files.volume_of(request.project)],
        bytes_free=tools.files.free_bytes(request.project),
        problems=listing.problems + _nothing(request, listing.files) + tools.store.problems(),
    )


def _nothing(request: TakeRequest, files: Sequence[SourceFile]) -> tuple[Problem, ...]:
    """Say that the sources hold no file, where that is so."""
    if files:
        return ()
    return (
        Problem(
            slug="source-empty",
            severity="error",
            place=", ".join(str(source) for source in request.sources),
            message="there is no file to take in.",
            fix="Check that the memory card is mounted there and is the right one.",
        ),
    )


def run_take(plan: TakePlan, tools: TakeTools) -> TakeReport:
    """
    Take in what was planned.

    Parameters
    ----------
    plan : TakePlan
    tools : TakeTools

    Returns
    -------
    TakeReport
        A file that cannot be read is listed and the rest goes on.

    Raises
    ------
    StoreError
        ``disk-full``, ``folder-read-only``, ``folder-failed``, ``copy-differs``: what was
        finished before is written down, and the same command goes on from there.
    """
    for folder in _folders(plan.request):
        tools.files.prepare(folder)
    work = _Work(plan, tools)
    tools.progress.start("taking in", len(plan.files))
    try:
        for group in group_by_stem(plan.files):
            work.take_group(group)
        work.write_down()
    except StoreError:
        work.write_down()
        raise
    finally:
        tools.progress.done()
    return work.report()


def _folders(request: TakeRequest) -> list[Path]:
    """Return the folders to copy into, the project first."""
    folders = [request.project]
    if request.second is not None:
        if request.second.resolve() == request.project.resolve():
            raise InputError(
                "take-second-same",
                f"{request.second}: the second folder is the project itself.",
                "Give a folder on another drive.",
            )
        folders.append(request.second)
    return folders


def _folder_key(folder: Path, request: TakeRequest) -> str:
    """Return how a folder is named in the records."""
    return "." if folder == request.project else str(folder.resolve())


def _of_unproved(copy: CopyProof) -> tuple[str, str, str, str]:
    """Return what a copy that could not be proved says, but for the time."""
    return (copy.sha256, copy.folder, copy.drive, copy.how)


def _trace(file: SourceFile) -> tuple[str, int, int]:
    """Return what makes a file on the card look like one that is known."""
    return (file.card_path, file.size_bytes, file.modified_ns)


@dataclass(slots=True)
class _Counts:
    """How many files went which way."""

    n_copied: int = 0
    n_had: int = 0
    n_failed: int = 0
    bytes_copied: int = 0


@dataclass(slots=True)
class _Rows:
    """Rows of safe files that wait for their transaction."""

    originals: list[Original] = field(default_factory=list)
    card_files: list[CardFile] = field(default_factory=list)
    copies: list[CopyProof] = field(default_factory=list)


class _Work:
    """One run of taking in."""

    def __init__(self, plan: TakePlan, tools: TakeTools) -> None:
        self._plan = plan
        self._tools = tools
        self._folders = _folders(plan.request)
        self._drives = [tools.files.drive_of(folder) for folder in self._folders]
        self._second_gave_up = False
        copies = tools.store.copies()
        self._proved = {
            (c.sha256, folder)
            for c in copies
            for folder in self._folders
            if c.folder == _folder_key(folder, plan.request) and c.is_proved
        }
        self._have = {c.sha256 for c in copies if c.folder == "."}
        self._seen: dict[Path, list[str]] = {folder: [] for folder in self._folders}
        self._counts = _Counts()
        self._rows = _Rows()
        self._problems = list(plan.problems)
        self._book = PhotoBook(tools.store, tools.reader, plan.visit, plan.request.observer)

    def take_group(self, group: Sequence[SourceFile]) -> None:
        """Keep the files of one folder and stem, then write them down in time."""
        for file in group:
            try:
                self._take_one(file)
            except InputError as error:
                self._fail(file, error)
            self._tools.progress.step(1, file.name)
        if len(self._rows.card_files) >= BATCH:
            self.write_down()

    def _take_one(self, file: SourceFile) -> None:
        """Keep one file and note its rows."""
        folders = self._folders[:1] if self._second_gave_up else self._folders
        trust = Trust(sha256=self._plan.known.get(_trace(file)), proved=self._proved)
        kept = self._tools.files.keep(file, folders, trust)
        for problem in kept.problems:
            self._problems.append(problem)
            self._second_gave_up |= problem.slug == "second-copy-failed"
        self._note(file, kept)

    def _note(self, file: SourceFile, kept: KeptFile) -> None:
        """Note the rows of a file that is safe."""
        kind = kind_of(file.name, kept.head)
        first = kept.copies[0]
        if kept.sha256 in self._have:
            self._counts.n_had += 1
        else:
            self._have.add(kept.sha256)
            self._counts.n_copied += 1
            self._counts.bytes_copied += kept.size_bytes
        self._rows.originals.append(
            Original(
                sha256=kept.sha256,
                size_bytes=kept.size_bytes,
                kind=kind,
                kept_path=first.path.relative_to(self._plan.request.project).as_posix(),
            )
        )
        self._rows.card_files.append(
            CardFile(
                visit_id=self._plan.visit.visit_id,
                card_path=file.card_path,
                sha256=kept.sha256,
                original_name=file.name,
                size_bytes=file.size_bytes,
                modified_ns=file.modified_ns,
                observer=self._book.observer,
            )
        )
        for copy in kept.copies:
            self._note_copy(kept.sha256, copy)
        self._problems += self._book.add(file, kept, kind)

    def _note_copy(self, sha256: str, copy: KeptCopy) -> None:
        """Note a copy, and its proof where it was read back from a drive."""
        drive = self._drives[self._folders.index(copy.folder)]
        is_proved = copy.how is None or (copy.how != "cached" and bool(drive.disks))
        if is_proved:
            self._seen[copy.folder].append(sha256)
            self._proved.add((sha256, copy.folder))
        if copy.how is not None:
            self._rows.copies.append(
                CopyProof(
                    sha256=sha256,
                    folder=_folder_key(copy.folder, self._plan.request),
                    drive=drive.label,
                    is_proved=is_proved,
                    how=copy.how,
                    proved_utc=self._tools.clock.now_utc(),
                )
            )

    def _fail(self, file: SourceFile, error: DryslateError) -> None:
        """List a file that could not be taken in."""
        self._counts.n_failed += 1
        self._problems.append(
            Problem(
                slug=error.slug,
                severity="error",
                place=file.card_path,
                message=error.message,
                fix=error.fix,
            )
        )

    def write_down(self) -> None:
        """Write the rows of everything that is safe, in one transaction."""
        rows, self._rows = self._rows, _Rows()
        if not rows.card_files:
            return
        store = self._tools.store
        with store.write():
            store.save_visit(self._plan.visit)
            for original in rows.originals:
                store.save_original(original)
            for card_file in rows.card_files:
                store.save_card_file(card_file)
            for copy in self._news(rows.copies):
                store.save_copy(copy)
            self._problems += self._book.write_down()

    def _news(self, copies: Sequence[CopyProof]) -> list[CopyProof]:
        """Leave out what says once more that a copy could not be proved: only the time differs."""
        told = set()
        if not all(copy.is_proved for copy in copies):
            told = {_of_unproved(c) for c in self._tools.store.copies() if not c.is_proved}
        news = []
        for copy in copies:
            if copy.is_proved or _of_unproved(copy) not in told:
                news.append(copy)
                told.add(_of_unproved(copy))
        return news

    def report(self) -> TakeReport:
        """Say what was taken in and whether the card may be wiped."""
        plan, drives = self._plan, self._drives
        blocking = [p for p in plan.problems if p.severity != "note" and p.slug != "source-empty"]
        given = () if plan.request.is_sent else plan.request.sources
        sources = {source: self._tools.files.drive_of(source) for source in given}
        seen = CopiesSeen(
            n_files=len(plan.files),
            n_not_kept=self._counts.n_failed + len(blocking),
            n_proved_first=len(self._seen[self._folders[0]]),
            n_proved_second=len(self._seen[self._folders[-1]]) if len(self._folders) > 1 else 0,
            first=drives[0],
            second=drives[1] if len(drives) > 1 else None,
            sources=tuple(sources.values()),
            is_sent=plan.request.is_sent,
            is_whole=bool(sources) and all(source.is_dir() for source in sources),
        )
        return TakeReport(
            visit_id=plan.visit.visit_id,
            n_files=len(plan.files),
            n_copied=self._counts.n_copied,
            n_had=self._counts.n_had,
            n_failed=self._counts.n_failed,
            n_photos=len(self._tools.store.photos(plan.visit.visit_id)),
            bytes_copied=self._counts.bytes_copied,
            drives=tuple(drive.label for drive in drives),
            is_sent=plan.request.is_sent,
            verdict=judge_wiping(seen),
            problems=tuple(self._problems + self._book.problems_at_end()),
        )
