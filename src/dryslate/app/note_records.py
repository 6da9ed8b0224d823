"""Noting a coral, apart from what it is called, and finding it again."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.identification_rows import RecordRow
from dryslate.app.noted_sizes import parse_noted, require_class
from dryslate.app.project_photos import photos_called
from dryslate.app.records import Photo
from dryslate.app.visits import find_visit, require_name, require_observer
from dryslate.base.errors import InputError
from dryslate.base.figures import with_doubt
from dryslate.base.provenance import key_of
from dryslate.core.identify.evidence import nearest_words

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.core.identify.taxa import TaxaData

HASH_DIGITS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRequest:
    """
    One coral to note.

    Parameters
    ----------
    colony, observer : str
    photo : str or None
        File name or hash of a photo of the project.
    visit : (str, str) or None
        Site and date; needed where there is no photo.
    growth_form : str or None
        A state of ``growth_form``.
    is_juvenile : bool or None
    note : str
    at : str or None
        When, ISO 8601 with offset.
    place : str
        Where within the visit, as written.
    sizes : Mapping of str to (str, str)
        Sizes noted under water, as written, and how: ``eye`` or ``ruler``; see `parse_noted`.
    is_new : bool
        Refuse a label that is noted on the visit already.
    """

    colony: str
    observer: str
    photo: str | None = None
    visit: tuple[str, str] | None = None
    growth_form: str | None = None
    is_juvenile: bool | None = None
    note: str = ""
    at: str | None = None
    place: str = ""
    sizes: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    is_new: bool = False


def require_time(text: str) -> str:
    """
    Return a time that states its offset.

    Raises
    ------
    InputError
        ``time-without-offset``.
    """
    try:
        read = datetime.datetime.fromisoformat(text.strip())
    except ValueError:
        read = None
    if read is None or read.tzinfo is None:
        raise InputError(
            "time-without-offset",
            f"{text!r} is no time with its offset from UTC "
            "(expected such as 2026-03-14T19:00:00+07:00, or Z for UTC).",
            "Give the time with the offset of the place.",
        )
    return text.strip()


def note_record(store: SurveyStore, taxa: TaxaData, request: NoteRequest, now: str) -> RecordRow:
    """
    Note a coral; the same coral again changes what is noted of it, and nothing twice.

    Parameters
    ----------
    store : SurveyStore
    taxa : TaxaData
    request : NoteRequest
    now : str
        The time now, where the request has none.

    Returns
    -------
    RecordRow
        With every measurement of that colony and photo.

    Raises
    ------
    InputError
        ``record-place-missing``, ``record-visit-differs``, ``record-growth-form-unknown``,
        ``record-photo-unknown``, ``record-photo-ambiguous``, ``record-label-taken``,
        ``record-size-class``, ``time-without-offset``, and those of noted sizes, names and visits.
    """
    colony = require_name(request.colony, "colony")
    observer = require_observer(store, request.observer)
    _require_form(request.growth_form, taxa)
    photo = None if request.photo is None else one_photo(store, request.photo)
    visit_id = _visit_of(store, photo, request)
    photo_id = photo.photo_id if photo else None
    known = next(
        (r for r in store.records(visit_id) if (r.photo_id, r.colony) == (photo_id, colony)), None
    )
    record_id = known.record_id if known else _free_id(store, visit_id, photo_id, colony)
    if request.is_new:
        _require_free(store, visit_id, colony)
    sizes = {**(known.sizes_noted if known else {}), **parse_noted(request.sizes)}
    of_visit = {p.photo_id for p in store.photos(visit_id)} if photo_id is None else {photo_id}
    row = RecordRow(
        record_id=record_id,
        colony=colony,
        visit_id=visit_id,
        photo_id=photo_id,
        growth_form=request.growth_form or (known.growth_form if known else None),
        is_juvenile=(
            request.is_juvenile
            if request.is_juvenile is not None
            else (known.is_juvenile if known else None)
        ),
        measurement_ids=tuple(
            m.measurement_id
            for m in store.measurements()
            if m.colony == colony and m.photo_id in of_visit
        ),
        note=request.note or (known.note if known else ""),
        place=" ".join(request.place.split()) or (known.place if known else ""),
        sizes_noted=sizes,
        observer=observer,
        noted_at=require_time(request.at) if request.at else now,
    )
    require_class(colony, row.sizes_noted, row.is_juvenile)
    if known is not None and replace(row, noted_at=known.noted_at) == known:
        return known
    store.save_record(row)
    return row


def _free_id(store: SurveyStore, visit_id: str, photo_id: str | None, colony: str) -> str:
    """Return an id that no record has: one may have come from this visit and be of another now."""
    told: dict[str, Any] = {"visit": visit_id, "photo": photo_id, "colony": colony}
    record_id, n = key_of({**told, "kind": "colony"}), 1
    while store.record(record_id) is not None:
        record_id, n = key_of({**told, "kind": "colony", "n": n}), n + 1
    return record_id


def _require_free(store: SurveyStore, visit_id: str, colony: str) -> None:
    """Refuse a label that a coral of the visit has already, in whatever capitals."""
    taken = [r for r in store.records(visit_id) if r.colony.casefold() == colony.casefold()]
    if taken:
        raise InputError(
            "record-label-taken",
            f"{taken[0].colony} is noted on {visit_id} already.",
            "Open that one among the corals, or give this coral a label of its own.",
        )


def _require_form(form: str | None, taxa: TaxaData) -> None:
    """Refuse a growth form that is not known."""
    known = taxa.characters["growth_form"].states if "growth_form" in taxa.characters else {}
    if form is None or form in known:
        return
    raise InputError(
        "record-growth-form-unknown",
        f"{form!r} is no growth form that is known.",
        nearest_words(form, known),
    )


def one_photo(store: SurveyStore, name: str) -> Photo:
    """
    Find the one photo of a name.

    Raises
    ------
    InputError
        ``record-photo-unknown``, ``record-photo-ambiguous``.
    """
    return find_photo(store.photos(), name)


def find_photo(photos: Sequence[Photo], name: str) -> Photo:
    """
    Find the one photo of a name among some.

    Raises
    ------
    InputError
        ``record-photo-unknown``, ``record-photo-ambiguous``.
    """
    hits = photos_called(photos, name)
    if len(hits) == 1:
        return hits[0]
    if hits:
        hashes = ", ".join(p.photo_id[:12] for p in hits)
        raise InputError(
            "record-photo-ambiguous",
            f"The project has {len(hits)} photos called {name!r} ({hashes}).",
            "Give the hash of the one that is meant.",
        )
    raise InputError(
        "record-photo-unknown",
        f"The project has no photo {name!r}.",
        "Give the file's original name, or its hash; take the photo in first.",
    )


def _visit_of(store: SurveyStore, photo: Photo | None, request: NoteRequest) -> str:
    """The visit of a record."""
    stated = None if request.visit is None else find_visit(store, *request.visit).visit_id
    if photo is None and stated is None:
        raise InputError(
            "record-place-missing",
            f"{request.colony}: neither a photo nor a visit is given.",
            "Give the photo it is in, or site and date of the visit.",
        )
    if photo is not None and stated not in (None, photo.visit_id):
        raise InputError(
            "record-visit-differs",
            f"{request.colony}: the photo is of {photo.visit_id}, not of {stated}.",
            "Leave the visit out, or give the right photo.",
        )
    return photo.visit_id if photo is not None else str(stated)


def find_record(store: SurveyStore, name: str, photo: str | None = None) -> RecordRow:
    """
    Find the one record of a colony label or id.

    Raises
    ------
    InputError
        ``record-unknown``, ``record-ambiguous``.
    """
    whole = store.record(name) if photo is None else None
    if whole is not None:
        return whole
    photo_id = None if photo is None else one_photo(store, photo).photo_id
    wanted = " ".join(name.split())
    hits = [
        r
        for r in store.records()
        if photo_id in (None, r.photo_id)
        and (
            r.colony == wanted
            or (len(wanted) >= HASH_DIGITS and r.record_id.startswith(wanted.lower()))
        )
    ]
    if len(hits) == 1:
        return hits[0]
    if hits:
        ids = ", ".join(f"{r.record_id[:12]} ({r.visit_id})" for r in hits)
        raise InputError(
            "record-ambiguous",
            f"{len(hits)} records are called {name!r}: {ids}.",
            "Give the photo too, or the record's id.",
        )
    raise InputError(
        "record-unknown",
        f"No record is called {name!r}.",
        "Note the coral first: dryslate record.",
    )


def record_as_dict(row: RecordRow) -> dict[str, Any]:
    """Return a record for JSON."""
    return asdict(row)


def record_words(row: RecordRow) -> str:
    """Say what was noted."""
    age = {True: "under 5 cm", False: "5 cm or more", None: "size class not noted"}
    form = row.growth_form or "growth form not noted"
    return (
        f"{row.colony} ({row.visit_id}{f', {row.place}' if row.place else ''}): {form}, "
        f"{age[row.is_juvenile]}, {len(row.measurement_ids)} measurements{_noted_words(row)}."
    )


def _noted_words(row: RecordRow) -> str:
    """Say which sizes were noted, and how."""
    return "".join(
        f", {measure.replace('_', ' ')} {with_doubt(s['value_mm'], s['u_mm'])} by {s['how']}"
        for measure, s in row.sizes_noted.items()
    )
