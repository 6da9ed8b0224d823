"""Photos of which an archive holds the very file: taken in like those of a memory card."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from dryslate.app.archive_read import ArchiveRead, left_out
from dryslate.app.unit_records import UnitPhoto
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.archive_check import ZipFiles
    from dryslate.app.archive_reading import ReadRow
    from dryslate.app.archived_records import ArchivedPhoto
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit

TakeCopies = Callable[["Visit", str, Mapping[str, str]], tuple[Problem, ...]]
"""Takes files in for a visit and an observer: path below a folder to the file in the archive."""
_CHUNK = 1 << 20


def find_copy(
    read: ArchiveRead, box: tuple[ZipFiles, Collection[str]], photo: ArchivedPhoto, row: ReadRow
) -> str:
    """
    Note where the archive holds a photo's very file.

    Parameters
    ----------
    read : ArchiveRead
    box : (ZipFiles, collection of str)
        The archive's files, and their names.
    photo : ArchivedPhoto
    row : ReadRow
        Says where a copy lies; empty: nowhere, or at an address elsewhere.

    Returns
    -------
    str
        ``file``, ``other`` (a corrected copy, or one without places), or ``none``.
    """
    (files, names), at = box, row.cells["source"]
    if not at or "://" in at:
        return "none"
    if at not in names:
        read.add(
            left_out(row.place, "source", f"{at}: the file of this photo is not in the archive")
        )
        return "none"
    digest = hashlib.sha256()
    with files.open(at) as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    if digest.hexdigest() != photo.photo_id:
        return "other"
    read.copies[photo.photo_id] = at
    return "file"


def not_here(n_named: int, n_other: int) -> Problem:
    """Say how many photos an archive names and does not bring."""
    return Problem(
        slug="archive-photos-not-here",
        severity="note",
        place="multimedia.txt",
        message=f"photos that are named by their hash and whose files do not come along: {n_named}"
        f" (of these with a corrected or shortened copy, which is not the file: {n_other})",
        fix="An archive made with --photos originals brings the files of sites that are not "
        "sensitive.",
    )


def take_copies(store: SurveyStore, read: ArchiveRead, take: TakeCopies) -> None:
    """
    Take in the files that the archive holds, visit by visit and observer by observer.

    Parameters
    ----------
    store : SurveyStore
        Its visits are stored already.
    read : ArchiveRead
        Gets what is odd about the files.
    take : TakeCopies
    """
    wanted: dict[tuple[str, str], dict[str, str]] = {}
    for photo_id, at in read.copies.items():
        photo = read.photos[photo_id]
        observer = photo.creator or read.visits[photo.visit_id].observer
        name = f"{photo_id[:16]}/{_file_name(photo, at)}"
        wanted.setdefault((photo.visit_id, observer), {})[name] = at
    for (visit_id, observer), copies in wanted.items():
        for problem in take(read.visits[visit_id], observer, copies):
            read.add(problem)


def join_photos(store: SurveyStore, read: ArchiveRead, here: set[str]) -> None:
    """Say of the photos that came which unit they are of."""
    for photo_id, unit_id in read.unit_of_photo.items():
        if photo_id in here:
            store.save_unit_photo(UnitPhoto(photo_id=photo_id, unit_id=unit_id, how="hand"))


def _file_name(photo: ArchivedPhoto, at: str) -> str:
    """
    Return what a file was called, without folders and signs that no file name has.

    Examples
    --------
    >>> from dryslate.app.archived_records import ArchivedPhoto
    >>> _file_name(ArchivedPhoto(photo_id="p", visit_id="v", file_name="../a/IMG_1.JPG"), "")
    'IMG_1.JPG'
    >>> _file_name(ArchivedPhoto(photo_id="p", visit_id="v"), "media/01.jpg")
    '01.jpg'
    """
    plain = "".join(c for c in photo.file_name.replace("\\", "/") if c.isprintable())
    name = PurePosixPath(plain).name.strip(". ")[:120]
    return name or PurePosixPath(at).name
