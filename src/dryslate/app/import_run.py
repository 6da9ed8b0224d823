"""Importing tables of records: the dry run, and storing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate.app.category_list import newest_version, set_categories
from dryslate.app.import_doubts import blank_of_corals, doubts_of, place_doubts
from dryslate.app.import_mapping import ImportMapping, read_mapping
from dryslate.app.import_reading import ImportSource
from dryslate.app.import_rows import ImportPlan, plan_import, save_import, units_with_rows
from dryslate.base.errors import DryslateError, InputError
from dryslate.core.arrays.orientation import upright_size

if TYPE_CHECKING:
    from dryslate.app.ports import Clock, PhotoReader, PhotoVault, SurveyStore
    from dryslate.app.records import Photo
    from dryslate.app.survey_records import Category
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.formats.table_csv import Table

ROWS_SHEET, UNITS_SHEET = "rows", "units"


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRequest:
    """
    What to import.

    Parameters
    ----------
    tables : tuple of Path
        A workbook with the sheets `units` and `rows`, one table with both, or one of each.
    mapping : Path or None
    observer : str
    is_saved : bool
        Store it where nothing stands against it.
    """

    tables: tuple[Path, ...]
    observer: str
    mapping: Path | None = None
    is_saved: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportTools:
    """
    What importing works with.

    `usual` is the list of a project that has none; `size_of` tells the size of a photo's upright
    original, None where its file cannot tell.
    """

    read_table: Callable[[Path, str | None], Table]
    read_sheets: Callable[[Path, Sequence[str]], list[Table]]
    read_text: Callable[[Path], str]
    sheets_of: Callable[[Path], tuple[str, ...]]
    size_of: Callable[[Photo], tuple[int, int] | None]
    taxa: TaxaData
    usual: tuple[Category, ...]
    clock: Clock


def run_import(
    store: SurveyStore, request: ImportRequest, tools: ImportTools
) -> tuple[ImportPlan, int]:
    """
    Read tables, list every fault, and store them where that was asked for and none is an error.

    Returns
    -------
    plan : ImportPlan
    n_stored : int

    Raises
    ------
    InputError
        Where a file cannot be read at all; ``unit-has-rows``.
    """
    mapping = ImportMapping()
    if request.mapping is not None:
        mapping = read_mapping(tools.read_text(request.mapping), request.mapping.name)
    photos = _photos_by_name(store)
    source = ImportSource(
        observer=request.observer,
        at=tools.clock.now_utc(),
        taxa=tools.taxa,
        region=store.region(),
        photos=photos,
        size_of=tools.size_of,
    )
    version = newest_version(store)
    known = store.categories(version) if version is not None else tools.usual
    plan = plan_import(_tables(request, tools), mapping, source, {c.category for c in known})
    doubts = (
        *doubts_of(plan.units, source.at),
        *blank_of_corals(plan.units, known),
        *place_doubts(plan.units, store),
    )
    plan = replace(plan, problems=(*plan.problems, *doubts))
    if not request.is_saved:
        return replace(plan, problems=(*plan.problems, *units_with_rows(store, plan))), 0
    if not plan.is_sound:
        return plan, 0
    with store.write():
        version = set_categories(store, tools.usual) if version is None else version
        return plan, save_import(store, plan, source, version)


def _tables(request: ImportRequest, tools: ImportTools) -> list[Table]:
    """Read the tables: two files, a workbook with two sheets, or one table with both."""
    if len(request.tables) != 1:
        return [tools.read_table(path, None) for path in request.tables]
    (path,) = request.tables
    sheets = tools.sheets_of(path)
    if UNITS_SHEET in sheets and ROWS_SHEET in sheets:
        return tools.read_sheets(path, (UNITS_SHEET, ROWS_SHEET))
    if len(sheets) > 1:
        raise InputError(
            "table-no-sheet",
            f"{path}: several sheets, none called {UNITS_SHEET} and {ROWS_SHEET}.",
            "Name them so, or save each as CSV.",
        )
    return [tools.read_table(path, None)]


def _photos_by_name(store: SurveyStore) -> dict[str, Photo]:
    """Return photos by id and by name; a name that two photos share is left out."""
    photos = store.photos()
    names = Counter(file.original_name for photo in photos for file in photo.files)
    found = {photo.photo_id: photo for photo in photos}
    for photo in photos:
        for file in photo.files:
            if names[file.original_name] == 1:
                found[file.original_name] = photo
    return found


def upright_size_of(photo: Photo, reader: PhotoReader, vault: PhotoVault) -> tuple[int, int] | None:
    """Return the size of a photo's upright original by its head; None where that does not tell."""
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    try:
        stored = reader.size_px(vault.path_of(file.sha256, file.original_name))
    except (DryslateError, OSError):
        return None
    return upright_size(stored, photo.metadata.orientation)


def sampled_units(store: SurveyStore) -> list[dict[str, Any]]:
    """List the units that were sampled, with how many rows each has."""
    counts = store.n_survey_rows()
    names = {unit.unit_id: unit for unit in store.units()}
    return [
        {
            "visit_id": names[stated.unit_id].visit_id,
            "unit": names[stated.unit_id].name or "",
            "unit_id": stated.unit_id,
            "design": stated.design.design,
            "n_rows": counts.get(stated.unit_id, 0),
        }
        for stated in store.unit_designs()
    ]
