"""Join photos of printed sheets to the units whose notes stand on them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.set_aside import set_aside
from dryslate.app.sheet_photo import read_sheet
from dryslate.app.sheet_records import PrintedSheet, SheetPhoto
from dryslate.app.units import one_visit, photos_by_id, require_unit, require_visit_of
from dryslate.app.visits import require_observer
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of

if TYPE_CHECKING:
    from dryslate.app.ports import PhotoReader, PhotoVault, SurveyStore
    from dryslate.app.records import Photo

ASIDE = ("other", "a photo of a sheet")
"""Why the photo of a sheet is set aside: it shows no reef."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetDesk:
    """
    What joining photos of sheets works with.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    reader : PhotoReader
    vault : PhotoVault
    observer, now : str
    """

    store: SurveyStore
    reader: PhotoReader
    vault: PhotoVault
    observer: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedSheet:
    """
    What came of one photo.

    Parameters
    ----------
    photo : Photo
    row : SheetPhoto or None
        None where it shows no sheet, or one that cannot be read.
    sheet : PrintedSheet or None
    unit : str
        Name of its unit.
    problem : Problem or None
        Why a sheet was not read, or that nothing says which unit it is of.
    """

    photo: Photo
    row: SheetPhoto | None = None
    sheet: PrintedSheet | None = None
    unit: str = ""
    problem: Problem | None = None


def join_sheets(
    desk: SheetDesk, photo_ids: Sequence[str], unit_id: str | None = None
) -> Iterator[JoinedSheet]:
    """
    Read the sheets in photos, and say of which unit each is.

    Parameters
    ----------
    desk : SheetDesk
    photo_ids : sequence of str
    unit_id : str or None
        The unit of all of them; None: the unit of the visit that is printed on the sheet, else the
        one that the photo belongs to already.

    Yields
    ------
    JoinedSheet
        One a photo, stored as it is yielded. A photo that is joined is set aside, since it shows
        no reef; one that is aside already stays so for the reason it was given.

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``unit-unknown``, ``unit-other-visit``.
    """
    store = desk.store
    observer = require_observer(store, desk.observer)
    photos = photos_by_id(store, photo_ids)
    if unit_id is not None:
        require_visit_of(require_unit(store, unit_id), photos)
    printed = store.printed_sheets()
    for photo in photos:
        path = desk.vault.path_of(photo.photo_id, photo.files[0].original_name)
        try:
            found = read_sheet(desk.reader, path, printed)
        except DryslateError as error:
            yield JoinedSheet(photo=photo, problem=problem_of(error, photo.files[0].original_name))
            continue
        if found is None:
            yield JoinedSheet(photo=photo)
            continue
        sheet, to_px = found
        row = SheetPhoto(
            photo_id=photo.photo_id,
            sheet_id=sheet.sheet_id,
            unit_id=unit_id or unit_on(store, photo, sheet),
            to_px=to_px,
            observer=observer,
            joined_at=desk.now,
        )
        with store.write():
            store.save_sheet_photo(row)
            if photo.photo_id not in {one.photo_id for one in store.photos_set_aside()}:
                set_aside(store, [photo.photo_id], ASIDE, (observer, desk.now))
        is_told = row.unit_id is not None or is_of_colony(sheet)
        problem = None if is_told else _unit_not_known(photo, sheet)
        unit = require_unit(store, row.unit_id).name if row.unit_id is not None else None
        yield JoinedSheet(photo=photo, row=row, sheet=sheet, unit=unit or "", problem=problem)


def photos_to_look_at(store: SurveyStore, visit_id: str) -> tuple[str, ...]:
    """
    Return the photos of a visit that may show a sheet: no card was found in them.

    Parameters
    ----------
    store : SurveyStore
    visit_id : str

    Returns
    -------
    tuple of str
        Ids, in the photos' order; those that are joined to a sheet already are left out.
    """
    with_card = {one.photo_id for one in store.corrections(visit_id) if one.result["card"]["found"]}
    joined = {one.photo_id for one in store.sheet_photos()}
    return tuple(i for i in store.photo_ids(visit_id) if i not in with_card | joined)


def say_unit(
    store: SurveyStore, photo_id: str, unit_id: str | None, who: tuple[str, str]
) -> SheetPhoto:
    """
    Say of which unit a photographed sheet is.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    photo_id : str
    unit_id : str or None
        None: of none that is known.
    who : tuple of str
        Observer and time.

    Raises
    ------
    InputError
        ``sheet-photo-unknown``, ``unit-unknown``, ``unit-other-visit``.
    """
    row = require_sheet_photo(store, photo_id)
    if unit_id is not None:
        require_visit_of(require_unit(store, unit_id), photos_by_id(store, [photo_id]))
    observer = require_observer(store, who[0])
    changed = replace(row, unit_id=unit_id, observer=observer, joined_at=who[1])
    store.save_sheet_photo(changed)
    return changed


def require_sheet_photo(store: SurveyStore, photo_id: str) -> SheetPhoto:
    """
    Return what a photo of a sheet shows.

    Raises
    ------
    InputError
        ``sheet-photo-unknown``.
    """
    row = next((one for one in store.sheet_photos() if one.photo_id == photo_id), None)
    if row is None:
        raise InputError(
            "sheet-photo-unknown",
            "No sheet was found in this photo.",
            "Let the program look for sheets in the photos of the visit first.",
        )
    return row


def unit_called(store: SurveyStore, photo_ids: Sequence[str], name: str) -> str:
    """
    Return the unit of a name at the visit of some photos.

    Raises
    ------
    InputError
        ``unit-other-visit`` for photos of several visits; ``unit-unknown``.
    """
    photos = photos_by_id(store, photo_ids)
    visit_id = one_visit(photos) if photos else ""
    for unit in store.units(visit_id):
        if unit.name == name:
            return unit.unit_id
    raise InputError(
        "unit-unknown",
        f"The visit of these photos has no unit {name!r}.",
        "Name the photos and a unit of their visit, or make the unit first.",
    )


def is_of_colony(sheet: PrintedSheet) -> bool:
    """Whether a sheet is of a tagged colony: its tag stands in it, and it is of no unit."""
    return sheet.kind == "tagged_colony"


def unit_on(store: SurveyStore, photo: Photo, sheet: PrintedSheet) -> str | None:
    """Return the unit that a sheet names, or the photo's own where it names none."""
    if is_of_colony(sheet):
        return None
    units = store.units(photo.visit_id)
    if sheet.unit:
        named = [u.unit_id for u in units if (u.name or "").casefold() == sheet.unit.casefold()]
        return named[0] if len(named) == 1 and _is_of_visit(store, photo, sheet) else None
    join = next((one for one in store.unit_photos() if one.photo_id == photo.photo_id), None)
    return join.unit_id if join is not None else None


def _is_of_visit(store: SurveyStore, photo: Photo, sheet: PrintedSheet) -> bool:
    """Whether what is printed of site and date, if anything, is the photo's visit."""
    visit = next(one for one in store.visits() if one.visit_id == photo.visit_id)
    said = sheet.content.preset
    return said.get("site", visit.site) == visit.site and said.get("date", visit.date) == visit.date


def _unit_not_known(photo: Photo, sheet: PrintedSheet) -> Problem:
    """Say that a sheet was read, and that its unit is not known."""
    message = (
        f"Sheet {sheet.sheet_id} names the unit {sheet.unit!r}, which the visit does not have."
        if sheet.unit
        else f"Sheet {sheet.sheet_id} names no unit, and its photo belongs to none."
    )
    return Problem(
        slug="sheet-unit-open",
        severity="warning",
        place=photo.files[0].original_name,
        message=message,
        fix="Say of which unit it is.",
    )
