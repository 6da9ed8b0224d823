"""Check a project: originals re-hashed, records and links proved, control objects compared."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Any, Protocol

from dryslate.app.check_colonies import check_colonies
from dryslate.app.check_records import check_records
from dryslate.app.control_objects import ControlComparison, compare_controls
from dryslate.app.patch_wear import find_worn_patches
from dryslate.app.ports import Progress, SurveyStore
from dryslate.app.project_records import Original
from dryslate.app.site_loggers import check_loggers
from dryslate.base.problems import Problem


class ProjectFiles(Protocol):
    """Looks at the files of a project."""

    def originals(self) -> tuple[str, ...]:
        """Return the paths below the project of every file under ``originals/``."""

    def derived(self) -> tuple[str, ...]:
        """Return the paths below the project of every file under ``derived/``."""

    def exists(self, path: str) -> bool:
        """Tell whether a file below the project is there."""

    def sha256_of(self, path: str) -> str:
        """Hash a file below the project, from the drive where the system allows it."""

    def is_writable(self, path: str) -> bool:
        """Tell whether a file has lost its write protection."""

    def size_px(self, path: str) -> tuple[int, int] | None:
        """Return width and height as stored of a photo below the project; None: not to be read."""


PICTURES = "derived/tiles/"
"""Pictures of the pages: made again at any time, so not on record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """
    What the check found.

    Parameters
    ----------
    n_originals, n_sound : int
        Originals on record; those whose content is what it was.
    n_photos, n_derived, n_corals, n_names : int
    controls : tuple of ControlComparison
    problems : tuple of Problem
    damaged_sha256 : tuple of str
        Originals on record whose content changed.
    """

    n_originals: int
    n_sound: int
    n_photos: int
    n_derived: int
    controls: tuple[ControlComparison, ...]
    problems: tuple[Problem, ...]
    damaged_sha256: tuple[str, ...] = ()
    n_corals: int = 0
    n_names: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "n_originals": self.n_originals,
            "n_sound": self.n_sound,
            "n_photos": self.n_photos,
            "n_derived": self.n_derived,
            "n_corals": self.n_corals,
            "n_names": self.n_names,
            "controls": [control.as_dict() for control in self.controls],
            "problems": [problem.as_dict() for problem in self.problems],
        }


def check_project(
    store: SurveyStore,
    files: ProjectFiles,
    progress: Progress,
    taxa_versions: Collection[str] = (),
) -> CheckReport:
    """
    Check a project; nothing is changed.

    Parameters
    ----------
    store : SurveyStore
        Open for reading.
    files : ProjectFiles
    progress : Progress
    taxa_versions : collection of str
        Versions of the genus data that are known; empty: they are not looked at.

    Returns
    -------
    CheckReport
        With every fault found; the check never stops at the first.
    """
    originals = store.originals()
    problems: list[Problem] = list(store.problems())
    progress.start("checking originals", len(originals))
    n_sound = 0
    damaged = []
    for original in originals:
        found = list(_check_original(original, files))
        n_sound += not any(problem.severity == "error" for problem in found)
        damaged += [original.sha256 for problem in found if problem.slug == "original-changed"]
        problems += found
        progress.step(1)
    progress.done()
    problems += _check_strays(originals, files)
    problems += _check_links(store)
    problems += _check_derived(store, files)
    problems += check_records(store, files, taxa_versions)
    problems += check_colonies(store)
    problems += check_loggers(store)
    controls = compare_controls(store)
    problems += [problem for control in controls for problem in control.problems]
    problems += find_worn_patches(store.patch_residuals())
    return CheckReport(
        n_originals=len(originals),
        n_sound=n_sound,
        n_photos=len(store.photos()),
        n_derived=len(store.derived_files()),
        controls=controls,
        problems=tuple(problems),
        damaged_sha256=tuple(damaged),
        n_corals=len(store.records()),
        n_names=len(store.identifications()),
    )


def take_back_proofs(store: SurveyStore, damaged_sha256: Collection[str]) -> None:
    """
    Take back the proof of damaged originals, so that taking in reads and mends them.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    damaged_sha256 : collection of str
        From `CheckReport`.
    """
    with store.write():
        for copy in store.copies():
            if copy.folder == "." and copy.sha256 in damaged_sha256:
                store.save_copy(replace(copy, is_proved=False))


def _check_original(original: Original, files: ProjectFiles) -> Iterator[Problem]:
    """Compare one original with what is on record."""
    place = original.kept_path
    if not files.exists(place):
        yield Problem(
            slug="original-missing",
            severity="error",
            place=place,
            message="this original is on record and not there",
            fix="Run `dryslate take` on the second copy or the memory card: it is copied again.",
        )
        return
    try:
        found = files.sha256_of(place)
    except OSError as error:
        yield Problem(
            slug="original-unreadable",
            severity="error",
            place=place,
            message=f"this original cannot be read ({error.strerror or error})",
            fix="Look at the drive's health at once; run `dryslate take` on the second copy.",
        )
        return
    if found != original.sha256:
        yield Problem(
            slug="original-changed",
            severity="error",
            place=place,
            message=f"its content is not what it was (expected {original.sha256[:12]}, found "
            f"{found[:12]})",
            fix="Run `dryslate take` on the second copy or the memory card: the damaged file is "
            "set aside and a good one takes its place.",
        )
    elif files.is_writable(place):
        yield Problem(
            slug="original-writable",
            severity="warning",
            place=place,
            message="this original has lost its write protection",
            fix="Take the right to write away from it, or run `dryslate take` again.",
        )


def _check_strays(originals: tuple[Original, ...], files: ProjectFiles) -> list[Problem]:
    """Name files among the originals that no row knows."""
    known = {original.kept_path for original in originals}
    return [
        Problem(
            slug="original-unknown",
            severity="warning",
            place=path,
            message="this file lies among the originals and is not on record (set aside as "
            "damaged, left by a run that was ended, or put there by hand)",
            fix="Run the last `dryslate take` again; what is still named then can be moved away.",
        )
        for path in files.originals()
        if path not in known
    ]


def _check_links(store: SurveyStore) -> Iterator[Problem]:
    """Name originals that were never on a card or in the project's copies, and empty photos."""
    on_card = {row.sha256 for row in store.card_files()}
    copied = {row.sha256: row for row in store.copies() if row.folder == "."}
    for original in store.originals():
        copy = copied.get(original.sha256)
        if original.sha256 not in on_card or copy is None:
            yield Problem(
                slug="original-without-origin",
                severity="warning",
                place=original.kept_path,
                message="on record without the memory card it came from, or without its copy",
                fix="Run `dryslate take` again on the card or the second copy it came from.",
            )
        elif not copy.is_proved:
            yield Problem(
                slug="original-not-proved",
                severity="note",
                place=original.kept_path,
                message="its copy could not be read back from the drive itself when it was made",
                fix="Keep the memory card or a second copy on another drive.",
            )
    for photo in store.photos():
        if not photo.files:
            yield Problem(
                slug="photo-without-file",
                severity="error",
                place=photo.photo_id[:12],
                message="this photo is on record without any file",
                fix="Report this: it cannot come from ordinary use.",
            )


def _check_derived(store: SurveyStore, files: ProjectFiles) -> Iterator[Problem]:
    """Compare the derived files with what is on record."""
    on_record = {row.path: row for row in store.derived_files()}
    wanted = set(on_record) | {
        row.corrected_path for row in store.corrections() if row.corrected_path
    }
    there = set(files.derived())
    for path in sorted(wanted):
        if path not in there and not files.exists(path):
            yield Problem(
                slug="derived-missing",
                severity="note",
                place=path,
                message="this derived file is on record and not there",
                fix="Run `dryslate correct` again: it is made anew.",
            )
        elif path in on_record and files.sha256_of(path) != on_record[path].sha256:
            yield Problem(
                slug="derived-changed",
                severity="warning",
                place=path,
                message="this derived file is not as it was written",
                fix="Delete it and run `dryslate correct` again: it is made anew.",
            )
    for path in sorted(p for p in there - wanted if not p.startswith(PICTURES)):
        yield Problem(
            slug="derived-unknown",
            severity="note",
            place=path,
            message="this file lies among the derived files and is not on record",
            fix="It can be deleted, unless somebody put it there on purpose.",
        )
