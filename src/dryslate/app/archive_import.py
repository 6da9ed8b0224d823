"""Reading a Darwin Core archive into an empty project: every fault listed, all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_check import check_archive
from dryslate.app.archive_ours import ArchiveReader
from dryslate.app.archive_read import BROKEN, ArchiveRead, left_out, not_understood, why
from dryslate.app.archive_reading import metadata_of, tables_of
from dryslate.app.archive_settings import KINDS, VERSION, rows_of
from dryslate.app.empty_project import filling
from dryslate.base.errors import InputError
from dryslate.core.survey.unit_checks import check_unit
from dryslate.formats.darwin_core import table_of_row_type
from dryslate.formats.eml import settings_text

if TYPE_CHECKING:
    from dryslate.app.archive_check import ZipFiles
    from dryslate.app.archive_copies import TakeCopies
    from dryslate.app.archive_others import NameFinder
    from dryslate.app.ports import SurveyStore

MILD = frozenset({"archive-term-absent", "archive-cell-empty", "archive-no-eml"})
"""Faults that make an archive unfit to publish, and not unfit to read."""


def read_archive(files: ZipFiles, name: str, names: NameFinder) -> ArchiveRead:
    """
    Read an archive with Event core, of this program or of another.

    Parameters
    ----------
    files : ZipFiles
    name : str
        For messages.
    names : NameFinder
        What names of others are looked up in; who reads them, when.

    Returns
    -------
    ArchiveRead
        ``archive-not-understood`` for what a record needs and nothing here can read,
        ``archive-left-out`` for what is understood to be something else.

    Raises
    ------
    InputError
        ``archive-newer``.
    """
    read = ArchiveRead(name=name)
    checked = check_archive(files, name)
    for problem in checked.problems:
        if problem.slug not in MILD and not problem.slug.startswith("archive-eml"):
            read.problems.append(problem)
    if not read.is_sound:
        return read
    tables = {table_of_row_type(one.row_type): one for one in tables_of(files)}
    core = tables.get("Event")
    if core is None or not core.is_core:
        read.add(not_understood("meta.xml", "core", "the core is not Event"))
        return read
    is_ours = _settings(read, files)
    ArchiveReader(read, files, tables, names, is_ours=is_ours).run()
    if read.is_sound:
        _check_links(read)
    _check_units(read)
    return read


def _settings(read: ArchiveRead, files: ZipFiles) -> bool:
    """Read what holds for the project as a whole; tells whether this program wrote it."""
    root = metadata_of(files)
    text = settings_text(root) if root is not None else None
    if text is None:
        return False
    try:
        said = json.loads(text)
        is_newer = int(said["archive"]) > VERSION
        read.region = said.get("region")
        read.facts = {str(key): str(value) for key, value in said.get("facts", {}).items()}
        read.sites = [str(one) for one in said.get("sites", ())]
        read.settings = {word: rows_of(said, word) for word in KINDS if not is_newer}
    except BROKEN as error:
        read.add(not_understood("eml.xml", "additionalMetadata", why(error)))
        return True
    if is_newer:
        raise InputError(
            "archive-newer",
            f"{read.name}: written by a newer version of dryslate.",
            "Install the newer version to read it.",
        )
    return True


def _check_links(read: ArchiveRead) -> None:
    """Make sure that what a row refers to is in the archive; a coral left out of it is let go."""
    corals = {one.record.record_id for one in read.corals}
    looks = {look.identification_id for one in read.corals for look in one.looks}
    visits = set(read.visits)
    there: dict[str, set[str]] = {
        "site": {*read.sites, *(one.site for one in read.visits.values())},
        "visit_id": visits,
        "first_visit_id": visits,
        "organism_id": {one.organism_id for one in read.settings.get("colonies", ())},
        "record_id": corals,
        "draw_id": {one.draw_id for one in read.settings.get("draws", ())},
        "photo_id": set(read.photos),
        **dict.fromkeys(("identification_id", "first_id", "second_id", "third_id"), looks),
    }
    sightings = read.settings.get("sightings", [])
    for k, one in enumerate(sightings):
        if one.record_id is not None and one.record_id not in corals:
            message = f"the coral of a tagged colony on {one.visit_id} is not in the archive"
            read.add(left_out("eml.xml", "additionalMetadata", message))
            sightings[k] = replace(one, record_id=None)
    for (file, term), word, row in _linked(read):
        for name, known in there.items():
            value = getattr(row, name, None)
            if value is not None and value not in known:
                message = f"{word}: {name} {value!r} is not in the archive"
                read.add(not_understood(file, term, message))


def _linked(read: ArchiveRead) -> Iterator[tuple[tuple[str, str], str, Any]]:
    """Return every row that refers to another, with file and term, and word."""
    for word, rows in read.settings.items():
        yield from ((("eml.xml", "additionalMetadata"), word, row) for row in rows)
    for one in read.corals:
        for row in (*one.looks, *one.chances, *one.outcomes, *one.health):
            yield ("occurrence.txt", "dynamicProperties"), f"coral {one.record.colony}", row


def _check_units(read: ArchiveRead) -> None:
    """Let each unit check itself; what it finds is told and stands in no one's way."""
    categories = {one.category for one in read.settings.get("categories", ())} or None
    names = {one.unit_id: f"{one.visit_id} {one.name or ''}" for one in read.units}
    for unit_id, stated in read.designs.items():
        rows = [one.row for one in read.rows.get(unit_id, ())]
        for one in check_unit(stated.design, rows, names[unit_id], categories):
            read.add(replace(one, severity="warning"))


def save_archive(
    store: SurveyStore, read: ArchiveRead, observer: str, take: TakeCopies | None = None
) -> int:
    """
    Store an archive that is sound; see `dryslate.app.empty_project.filling`.

    Parameters
    ----------
    store : SurveyStore
    read : ArchiveRead
    observer : str
    take : TakeCopies, optional
        Takes in the photos that the archive holds.

    Returns
    -------
    int
        Rows of units stored.
    """
    from dryslate.app.archive_save import store_all

    with filling(store, observer):
        return store_all(store, read, take)
