"""A project made again from a backup of its records and the second copies of its photos."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate.app.backup import DATABASE
from dryslate.app.intake import SourceFile, Trust
from dryslate.app.project_records import CopyProof
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.backup import BackupFiles
    from dryslate.app.intake import How, IntakeFiles
    from dryslate.app.new import ProjectFolders
    from dryslate.app.ports import Clock, PhotoVault, Progress, SurveyStore
    from dryslate.app.project_records import CardFile


BEGUN = "restoring"
"""Mark in a folder whose restoring is not finished; its text is the backup's folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoreTools:
    """
    The ports that restoring works through.

    `open_store` opens the new project for writing; `vault_of` finds originals in a folder.
    """

    folders: ProjectFolders
    files: BackupFiles
    intake: IntakeFiles
    open_store: Callable[[Path], SurveyStore]
    vault_of: Callable[[Path], PhotoVault]
    clock: Clock
    progress: Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoreReport:
    """
    What is there again.

    Parameters
    ----------
    project : Path
    n_own_files : int
        The team's own cards, lenses and tables.
    n_originals, n_copied : int
        Files of memory cards on record, and those that are there again.
    problems : tuple of Problem
        One for each original that could not be found or read.
    """

    project: Path
    n_own_files: int
    n_originals: int
    n_copied: int
    problems: tuple[Problem, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "project": str(self.project),
            "n_own_files": self.n_own_files,
            "n_originals": self.n_originals,
            "n_copied": self.n_copied,
            "problems": [problem.as_dict() for problem in self.problems],
        }


def restore_project(
    tools: RestoreTools, backup: Path, into: Path, second: Path | None
) -> RestoreReport:
    """
    Make a project again from a backup, with the originals of a second folder.

    Parameters
    ----------
    tools : RestoreTools
    backup : Path
        The folder of one backup, with its database.
    into : Path
        Empty or absent; or where restoring the same backup was cut short: it goes on there.
    second : Path or None
        The folder given as second copy when memory cards were taken in. Without one the
        records come back alone; taking cards in again brings their photos.

    Returns
    -------
    RestoreReport

    Raises
    ------
    InputError
        ``backup-not-found``, ``project-folder-taken``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``project-newer``, ``project-database-broken``.
    """
    if not (backup / DATABASE).is_file():
        raise InputError(
            "backup-not-found",
            f"{backup}: no backup there (expected a file {DATABASE}).",
            "Give the folder of one backup; its name ends in the time it was made.",
        )
    goes_on = tools.files.read_mark(into / BEGUN) == str(backup.resolve())
    if not goes_on and (tools.folders.is_project(into) or not tools.folders.is_free(into)):
        raise InputError(
            "project-folder-taken",
            f"{into}: other files lie in this folder.",
            "Give an empty folder or one that is not there yet.",
        )
    tools.folders.lay_out(into)
    tools.files.write_mark(into / BEGUN, str(backup.resolve()))
    own = tools.files.own_files(backup)
    for name in own:
        tools.files.copy(backup / name, into / name)
    if not tools.folders.is_project(into):
        tools.files.copy(backup / DATABASE, into / DATABASE)  # last: now it is a project
    store = tools.open_store(into)
    try:
        problems, n_originals = _bring_originals(tools, store, into, second)
    finally:
        store.close()
    tools.files.remove_mark(into / BEGUN)
    return RestoreReport(
        project=into,
        n_own_files=len(own),
        n_originals=n_originals,
        n_copied=n_originals - len(problems),
        problems=tuple(problems),
    )


def _bring_originals(
    tools: RestoreTools, store: SurveyStore, into: Path, second: Path | None
) -> tuple[list[Problem], int]:
    """Copy every original from the second folder; what is not there loses its proof."""
    wanted: dict[str, CardFile] = {}
    for row in store.card_files():
        wanted.setdefault(row.sha256, row)
    if second is not None:
        tools.intake.prepare(into)
    drive = tools.intake.drive_of(into)
    problems: list[Problem] = []
    proofs = {copy.sha256: copy for copy in store.copies() if copy.folder == "."}
    tools.progress.start("copying originals", len(wanted))
    for sha256, row in wanted.items():
        how = None if second is None else _bring(tools, row, second, into, problems)
        if how is not None:
            proof = CopyProof(
                sha256=sha256,
                folder=".",
                drive=drive.label,
                is_proved=how != "cached" and bool(drive.disks),
                how=how,
                proved_utc=tools.clock.now_utc(),
            )
            store.save_copy(proof)
        elif sha256 in proofs:
            store.save_copy(replace(proofs[sha256], is_proved=False))
        tools.progress.step(1, row.original_name)
    tools.progress.done()
    if second is None:
        problems = [_missing(row, "no second folder was given") for row in wanted.values()]
    return problems, len(wanted)


def _bring(
    tools: RestoreTools, row: CardFile, second: Path, into: Path, problems: list[Problem]
) -> How | None:
    """Copy one original; returns how it was read back, None where it is not there again."""
    path = tools.vault_of(second).path_of(row.sha256, row.original_name)
    if not path.is_file():
        problems.append(_missing(row, f"not in {second}"))
        return None
    source = SourceFile(
        path=path,
        source=path.parent,
        card_path=row.original_name,
        size_bytes=path.stat().st_size,
        modified_ns=row.modified_ns,
    )
    try:
        kept = tools.intake.keep(source, [into], Trust())
    except DryslateError as error:
        problems.append(_missing(row, str(error)))
        return None
    if kept.sha256 != row.sha256:
        problems.append(_missing(row, "the second copy no longer has its content"))
        return None
    return kept.copies[0].how


def _missing(row: CardFile, why: str) -> Problem:
    """List an original that is not there again."""
    return Problem(
        slug="restore-original-missing",
        severity="error",
        place=row.original_name,
        message=f"this original is on record and not there again ({why})",
        fix="Look for another second copy or the memory card, and take it in again.",
    )
