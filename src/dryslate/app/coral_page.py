"""One coral as its pages show it: where it is in its photo, its sizes, its names over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.crop import cut_crop
from dryslate.app.identify_records import NameRequest
from dryslate.app.noted_sizes import noted_as_evidence, parse_noted, require_class
from dryslate.app.preview import limit_size
from dryslate.app.second_observer import waiting_records
from dryslate.app.standing_names import standing_names
from dryslate.app.tiles import place_of
from dryslate.base.errors import InputError, StoreError
from dryslate.base.provenance import key_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dryslate.app.identification_rows import IdentificationRow, PhotoRegion, RecordRow
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import MeasurementRow, Photo
    from dryslate.app.standing_names import StandingName
    from dryslate.app.tiles import TileBench
    from dryslate.core.identify.taxa import TaxaData

MARGIN_FRAC = 0.25
"""How much of its surroundings a coral's picture shows, as a share of its size."""
LEAST_PX = 240.0
LONGEST_PX = 1100


@dataclass(frozen=True, slots=True, kw_only=True)
class CoralSheet:
    """
    What the pages of one coral show.

    Parameters
    ----------
    record : RecordRow
    version : str
        Hash of the record as it is; what changes it states which it saw.
    photo : Photo or None
    box_px : tuple of float or None
        Where the coral is in its photo, with some of its surroundings: x0, y0, x1, y1.
    measurements : tuple of MeasurementRow
    sizes_mm : dict of str to list of float
        By measure: value and standard uncertainty, as evidence is given.
    """

    record: RecordRow
    version: str
    photo: Photo | None
    box_px: tuple[float, float, float, float] | None
    measurements: tuple[MeasurementRow, ...]
    sizes_mm: dict[str, list[float]]

    @property
    def photo_regions(self) -> tuple[PhotoRegion, ...]:
        """Return the part of the photo that is looked at on the page."""
        if self.photo is None or self.box_px is None:
            return ()
        return ((self.photo.photo_id, *self.box_px),)


def record_of(store: SurveyStore, record_id: str) -> RecordRow:
    """
    Return one record by its id.

    Raises
    ------
    InputError
        ``coral-not-in-project``.
    """
    row = store.record(record_id)
    if row is not None:
        return row
    raise InputError(
        "coral-not-in-project",
        "That coral is not in this project.",
        "Go back to the corals and choose one.",
    )


def version_of(record: RecordRow) -> str:
    """Return a short text that changes with anything noted of the record."""
    return key_of({n: getattr(record, n) for n in record.__dataclass_fields__})[:16]


def coral_sheet(store: SurveyStore, record_id: str) -> CoralSheet:
    """
    Gather one coral; nothing of what it was called.

    Parameters
    ----------
    store : SurveyStore
    record_id : str

    Returns
    -------
    CoralSheet

    Raises
    ------
    InputError
        ``coral-not-in-project``.
    """
    record = record_of(store, record_id)
    photo = store.photo(record.photo_id) if record.photo_id else None
    rows = store.measurements_of(record.measurement_ids)
    return CoralSheet(
        record=record,
        version=version_of(record),
        photo=photo,
        box_px=_box(rows, record.photo_id, _size_of(store, record.photo_id)),
        measurements=rows,
        sizes_mm=_sizes(rows, record),
    )


def _size_of(store: SurveyStore, photo_id: str | None) -> tuple[float, float]:
    """Width and height of a photo, where its correction tells them; else without end."""
    row = None if photo_id is None else store.correction(photo_id)
    plane = row.geometry.get("plane") if row is not None else None
    size = plane.get("image_size_px") if isinstance(plane, Mapping) else None
    return (float(size[0]), float(size[1])) if size else (np.inf, np.inf)


def _box(
    rows: Sequence[MeasurementRow], photo_id: str | None, size: tuple[float, float]
) -> tuple[float, float, float, float] | None:
    """Where all points of a coral lie, with a margin, within its photo; None: nothing measured."""
    points = [p for m in rows if m.photo_id == photo_id for p in m.points_px]
    if not points:
        return None
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    half = np.maximum((high - low) / 2.0 * (1.0 + 2.0 * MARGIN_FRAC), LEAST_PX / 2.0)
    half = np.full(2, half.max())
    middle = (low + high) / 2.0
    (x0, y0), (x1, y1) = np.maximum(middle - half, 0.0), np.minimum(middle + half, size)
    return float(round(x0)), float(round(y0)), float(round(x1)), float(round(y1))


def _sizes(rows: Sequence[MeasurementRow], record: RecordRow) -> dict[str, list[float]]:
    """Sizes that are evidence; a juvenile has none, and the latest measurement counts."""
    if record.is_juvenile:
        return {}
    found = noted_as_evidence(record.sizes_noted)
    for row in rows:
        value, u = row.values.get("corallite_mm"), row.values.get("corallite_mm_u")
        if row.kind == "corallites" and value is not None:
            found.pop("valley_width", None)
            found["corallite_diameter"] = [float(value), float(u or 0.0)]
    return found


def coral_picture(bench: TileBench, store: SurveyStore, sheet: CoralSheet) -> NDArray[np.uint8]:
    """
    Cut the coral out of its photo, corrected where that is possible.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    sheet : CoralSheet

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB, no side longer than 1100 px.

    Raises
    ------
    InputError
        ``coral-no-photo``; those of reading the photo.
    """
    if sheet.photo is None:
        raise InputError(
            "coral-no-photo",
            f"{sheet.record.colony}: this coral has no photo.",
            "Name it from what was noted under water.",
        )
    photo_id = sheet.photo.photo_id
    try:
        place = place_of(store, photo_id, "corrected")
    except InputError:
        place = place_of(store, photo_id, "original")
    box = sheet.box_px or (0.0, 0.0, 1e6, 1e6)
    return limit_size(cut_crop(bench, store, place, box, has_bar=False).img_srgb, LONGEST_PX)


def require_unchanged(record: RecordRow, seen_version: str) -> None:
    """
    Refuse to change a record that somebody else changed since it was shown.

    Raises
    ------
    StoreError
        ``changed-meanwhile``.
    """
    if version_of(record) != seen_version:
        raise StoreError(
            "changed-meanwhile",
            f"{record.colony}: {record.observer} changed it after you opened it.",
            "Compare both versions, and save again what should hold.",
        )


def change_record(
    store: SurveyStore, record_id: str, seen_version: str, words: Mapping[str, Any]
) -> RecordRow:
    """
    Change what is noted of a coral, unless somebody else did so meanwhile.

    Parameters
    ----------
    store : SurveyStore
    record_id, seen_version : str
    words : Mapping
        Any of ``growth_form``, ``is_juvenile``, ``note``, ``place``, ``sizes`` (as written, see
        `parse_noted`), and ``observer``, ``noted_at``.

    Returns
    -------
    RecordRow

    Raises
    ------
    InputError
        ``coral-not-in-project``.
    StoreError
        ``changed-meanwhile``.
    """
    with store.write():
        record = record_of(store, record_id)
        require_unchanged(record, seen_version)
        said = dict(words)
        if "sizes" in said:
            said["sizes_noted"] = parse_noted(said.pop("sizes"))
        changed = replace(record, **said)
        require_class(record.colony, changed.sizes_noted, changed.is_juvenile)
        store.save_record(changed)
    return changed


@dataclass(frozen=True, slots=True, kw_only=True)
class CoralList:
    """One page of the corals of a project."""

    rows: tuple[StandingName, ...]
    n_all: int
    page: int
    n_pages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CoralFilter:
    """
    Which corals are wanted.

    Parameters
    ----------
    visit_id, status, words : str
        Empty: any. `words` are looked for in label and name.
    hidden : frozenset of str
        Corals whose names are not looked through.
    """

    visit_id: str = ""
    status: str = ""
    words: str = ""
    hidden: frozenset[str] = frozenset()

    def fits(self, one: StandingName) -> bool:
        """Tell whether a coral is wanted."""
        record, low = one.record, self.words.casefold().strip()
        name = "" if record.record_id in self.hidden else one.name
        return (
            (not self.visit_id or record.visit_id == self.visit_id)
            and (not self.status or one.status == self.status)
            and (not low or low in f"{record.colony} {name}".casefold())
        )


def list_corals(
    store: SurveyStore, wanted: CoralFilter, page: int, per_page: int = 100
) -> CoralList:
    """
    Return one page of the corals that fit.

    Parameters
    ----------
    store : SurveyStore
    wanted : CoralFilter
    page, per_page : int
        From 1.

    Returns
    -------
    CoralList
    """
    found = [one for one in standing_names(store) if wanted.fits(one)]
    n_pages = max(1, -(-len(found) // per_page))
    page = min(max(1, page), n_pages)
    start = (page - 1) * per_page
    return CoralList(
        rows=tuple(found[start : start + per_page]), n_all=len(found), page=page, n_pages=n_pages
    )


def names_over_time(store: SurveyStore, record_id: str) -> tuple[IdentificationRow, ...]:
    """Return all identifications of a coral, oldest first."""
    return store.identifications(record_id)


def next_without_name(store: SurveyStore, after: str) -> str | None:
    """Return the coral that is best named next: the first without a name on the same visit."""
    here, named = record_of(store, after).visit_id, store.named_records()
    left = [r for r in store.records() if r.record_id not in named]
    same = [r.record_id for r in left if r.visit_id == here and r.record_id != after]
    other = [r.record_id for r in left if r.record_id != after]
    return next(iter(same or other), None)


def require_form(taxa: TaxaData, growth_form: str) -> None:
    """
    Refuse a growth form that the data do not know; none is allowed.

    Raises
    ------
    InputError
        ``record-growth-form-unknown``.
    """
    if growth_form and growth_form not in taxa.characters["growth_form"].states:
        raise InputError(
            "record-growth-form-unknown",
            f"{growth_form!r} is no growth form that is known.",
            "Choose one of the list.",
        )


def hidden_names(store: SurveyStore, observer: str | None) -> frozenset[str]:
    """Return the corals whose names this observer must not see yet: a blind look is waiting."""
    if observer is None or observer not in {o.observer for o in store.observers()}:
        done = {o.record_id for o in store.review_outcomes()}
        drawn = (c.record_id for c in store.review_chances() if c.is_drawn)
        return frozenset(r for r in drawn if r not in done)
    return waiting_records(store, observer)


def require_seen(store: SurveyStore, record_id: str, observer: str) -> None:
    """
    Refuse to show names to somebody whose blind look is still waiting.

    Raises
    ------
    InputError
        ``coral-still-blind``.
    """
    if record_id in hidden_names(store, observer):
        raise InputError(
            "coral-still-blind",
            "This coral waits for your own look; what others called it is shown afterwards.",
            "Look at it first, under Second look.",
        )


def plain_request(sheet: CoralSheet, name: str, confidence: int, observer: str) -> NameRequest:
    """Return a request for a name without evidence of its own."""
    return NameRequest(
        record=sheet.record.record_id,
        name=name,
        observer=observer,
        confidence=confidence,
        photo_regions=sheet.photo_regions,
    )
