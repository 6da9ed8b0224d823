"""Backups of what people entered: the records and the team's own files, on another drive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from dryslate.app.backup_records import Backup
from dryslate.app.take import SPARE_BYTES
from dryslate.app.take_records import size_words
from dryslate.app.visits import require_observer
from dryslate.base.errors import DryslateError, InputError, StoreError

if TYPE_CHECKING:
    from dryslate.app.intake import Drive, How, IntakeFiles
    from dryslate.app.ports import Clock, Progress, SurveyStore

DATABASE = "dryslate.sqlite"


class BackupFiles(Protocol):
    """The files of a backup on a disk."""

    def own_files(self, project: Path) -> tuple[str, ...]:
        """Return the team's own files in a project (cards, lenses, taxa), as paths below it."""

    def size_of(self, path: Path) -> int:
        """Return how many bytes a file has."""

    def begin(self, folder: Path, prefix: str) -> Path:
        """Return an empty folder beside the final one; what killed runs left of it is removed."""

    def read_mark(self, path: Path) -> str | None:
        """Return the text of a small file; None where it is not there."""

    def write_mark(self, path: Path, text: str) -> None:
        """Write a small file, whole and flushed."""

    def remove_mark(self, path: Path) -> None:
        """Remove a small file."""

    def copy(self, source: Path, target: Path) -> str:
        """Copy a file whole and flushed; returns the hash of what was read."""

    def read_back(self, path: Path) -> tuple[str, How]:
        """Flush a file, and hash it as it lies on its drive."""

    def finish(self, work: Path, folder: Path) -> None:
        """Give the folder its name."""

    def drop(self, work: Path) -> None:
        """Remove what was begun, as far as the disk lets it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupTools:
    """The ports that making a backup works through."""

    store: SurveyStore
    files: BackupFiles
    intake: IntakeFiles
    clock: Clock
    progress: Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """
    What came of a backup.

    Parameters
    ----------
    backup : Backup
    shared : tuple of str
        Disks on which project and backup both lie: then one loss takes both.
    why_not : str
        Why nothing is proved; empty where it is.
    n_one_copy : int
        Originals of which no proved second copy exists: a backup holds no photos.
    """

    backup: Backup
    shared: tuple[str, ...]
    why_not: str
    n_one_copy: int

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            **asdict(self.backup),
            "shared": list(self.shared),
            "why_not": self.why_not,
            "n_one_copy": self.n_one_copy,
        }


def require_backup_folder(tools: BackupTools, project: Path, to: Path) -> None:
    """
    Refuse a folder that cannot hold a backup.

    Raises
    ------
    InputError
        ``backup-into-project``, ``disk-too-small``.
    """
    here, there = project.resolve(), to.resolve()
    if there == here or there.is_relative_to(here):
        raise InputError(
            "backup-into-project",
            f"{to}: lies in the project; what takes the project takes the backup with it.",
            "Give a folder on another drive.",
        )
    names = (DATABASE, *tools.files.own_files(project))
    needed = sum(tools.files.size_of(project / name) for name in names)
    free = tools.intake.free_bytes(to)
    if free < needed + SPARE_BYTES:
        raise InputError(
            "disk-too-small",
            f"{to}: {size_words(needed)} are needed and {size_words(free)} are free "
            f"({size_words(SPARE_BYTES)} must stay free). Nothing was copied.",
            "Make room, or choose a folder on another drive.",
        )


def make_backup(tools: BackupTools, project: Path, to: Path, observer: str) -> BackupReport:
    """
    Copy the records and the team's own files to another drive, and read the copies back.

    The backup is a folder of its own below `to`, named after the project and the time, which
    has its name only when all in it is whole.

    Parameters
    ----------
    tools : BackupTools
        With the store open for writing.
    project, to : Path
    observer : str
        Who makes it.

    Returns
    -------
    BackupReport

    Raises
    ------
    InputError
        As `require_backup_folder`; ``name-empty``, ``name-nearly``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``, ``backup-not-sound``,
        ``copy-differs``.
    """
    require_backup_folder(tools, project, to)
    who, made_utc = require_observer(tools.store, observer), tools.clock.now_utc()
    stamp = made_utc.replace(":", "").replace("T", " ").replace("Z", " UTC")
    prefix = f"{project.resolve().name} backup "
    folder = _free(to.resolve() / f"{prefix}{stamp}")
    work = tools.files.begin(folder, prefix)
    own = tools.files.own_files(project)
    tools.progress.start("backing up", len(own) + 1)
    try:
        last_change_no = tools.store.copy_to(work / DATABASE)
        hashes, ways = {}, []
        hashes[DATABASE], how = tools.files.read_back(work / DATABASE)
        ways.append(how)
        tools.progress.step(1, DATABASE)
        for name in own:
            hashes[name] = tools.files.copy(project / name, work / name)
            ways.append(_proved(tools.files.read_back, work / name, hashes[name]))
            tools.progress.step(1, name)
        size_bytes = sum(tools.files.size_of(work / name) for name in hashes)
        tools.files.finish(work, folder)
    except DryslateError:
        tools.files.drop(work)
        raise
    finally:
        tools.progress.done()
    here, there = tools.intake.drive_of(project), tools.intake.drive_of(folder)
    shared = tuple(sorted(here.disks & there.disks))
    backup = Backup(
        folder=str(folder),
        drive=there.label,
        is_proved=bool(there.disks) and not shared and "cached" not in ways,
        n_files=len(hashes),
        size_bytes=size_bytes,
        database_sha256=hashes[DATABASE],
        last_change_no=last_change_no,
        observer=who,
        made_utc=made_utc,
    )
    tools.store.save_backup(backup)
    return BackupReport(
        backup=backup,
        shared=shared,
        why_not="" if backup.is_proved else _why_not(there, shared, ways),
        n_one_copy=_n_one_copy(tools.store),
    )


def _free(folder: Path) -> Path:
    """Return a name that no backup of the same second has."""
    found, n = folder, 1
    while found.exists():
        n += 1
        found = folder.with_name(f"{folder.name} {n}")
    return found


def _proved(read_back: Callable[[Path], tuple[str, How]], path: Path, wanted: str) -> How:
    """Read a copy back; returns how."""
    found, how = read_back(path)
    if found != wanted:
        raise StoreError(
            "copy-differs",
            f"{path}: the copy read back differs from what was written.",
            "Do not trust this drive; choose a folder on another one.",
        )
    return how


def _why_not(drive: Drive, shared: tuple[str, ...], ways: list[How]) -> str:
    """Say why a backup proves nothing."""
    if shared:
        return "project and backup lie on the same drive"
    if not drive.disks:
        return drive.why_not
    if "cached" in ways:
        return "the system does not let files be read back from the drive itself"
    return ""


def _n_one_copy(store: SurveyStore) -> int:
    """Count originals that are proved on fewer than two drives."""
    drives: dict[str, set[str]] = {row.sha256: set() for row in store.originals()}
    for copy in store.copies():
        if copy.is_proved and copy.sha256 in drives:
            drives[copy.sha256].add(copy.drive)
    return sum(len(on) < 2 for on in drives.values())
