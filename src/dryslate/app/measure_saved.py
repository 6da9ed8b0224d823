"""Measurements made on a photo's page: saved with their coral, renamed, followed, taken back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from dryslate.app.identification_rows import RecordRow
from dryslate.app.measure import measured_fields, no_card
from dryslate.app.measure_project import measurement_id
from dryslate.app.measure_try import Asked, Prepared, measure_prepared, pick_of
from dryslate.app.note_records import NoteRequest, note_record
from dryslate.app.ports import SurveyStore
from dryslate.app.records import MeasurementRow, Photo, rests_on_earlier
from dryslate.app.visits import require_name, require_observer
from dryslate.base.errors import InputError
from dryslate.base.provenance import key_of
from dryslate.core.identify.taxa import TaxaData


@dataclass(frozen=True, slots=True, kw_only=True)
class SaveRequest:
    """
    One measurement to save.

    Parameters
    ----------
    colony : str
        Which coral, new or known on this visit; or the name of a control object.
    observer : str
        Who set the points.
    asked : Asked
    correction_key : str
        Of the correction that the person saw the reading of.
    follows : str or None
        The measurement that this one is better than; it is taken back.
    """

    colony: str
    observer: str
    asked: Asked
    correction_key: str
    follows: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """What noting a coral needs besides the store: the genus data, and the time."""

    taxa: TaxaData
    now: str


def save_measured(
    store: SurveyStore, prepared: Prepared, request: SaveRequest, notes: Notes
) -> MeasurementRow:
    """
    Measure and save, and note the coral it is of, all in one transaction.

    Parameters
    ----------
    store : SurveyStore
    prepared : Prepared
        The photo, by its latest correction.
    request : SaveRequest
    notes : Notes

    Returns
    -------
    MeasurementRow
        The same points of the same coral again are the same measurement.

    Raises
    ------
    InputError
        ``measure-corrected-anew`` where the reading that was seen rests on an older correction,
        ``measure-no-card``, ``measure-not-standing`` for `follows`, and those of measuring and of
        names.
    """
    if request.correction_key != prepared.correction_key:
        raise InputError(
            "measure-corrected-anew",
            f"{prepared.name}: the photo was corrected anew after the reading that you saw.",
            "Load the page again, look at the new reading, and save it.",
        )
    colony = require_name(request.colony, "colony")
    observer = require_observer(store, request.observer)
    pick = pick_of(prepared, request.asked, colony, observer)
    done = measure_prepared(prepared, request.asked, pick)
    if done.measurement is None:
        said = no_card(prepared.name)
        raise InputError(said.slug, f"{prepared.name}: {said.message}", said.fix)
    values = measured_fields(done.measurement, done.problems)
    row = MeasurementRow(
        measurement_id=measurement_id(prepared.photo.photo_id, pick),
        photo_id=prepared.photo.photo_id,
        colony=colony,
        kind=pick.kind,
        points_px=pick.points_px,
        values={**values, **_how(request.asked)},
        correction_key=done.correction_key,
        observer=observer,
    )
    older = None if request.follows is None else require_standing(store, request.follows)
    with store.write():
        store.save_measurements([row])
        if older is not None and older.measurement_id != row.measurement_id:
            _take_back(store, older, "followed", row.measurement_id)
            _note(store, notes, older.colony, prepared.photo, observer)
        _note(store, notes, colony, prepared.photo, observer)
    return row


def rename_measured(
    store: SurveyStore, row_id: str, colony: str, observer: str, notes: Notes
) -> MeasurementRow:
    """
    Say that a measurement is of another coral; its entry under the old one is taken back.

    Parameters
    ----------
    store : SurveyStore
    row_id : str
    colony : str
        The right coral.
    observer : str
        Who says so; who set the points stays.
    notes : Notes

    Returns
    -------
    MeasurementRow

    Raises
    ------
    InputError
        ``measure-not-standing``, and those of names.
    """
    older = require_standing(store, row_id)
    wanted = require_name(colony, "colony")
    if wanted == older.colony:
        return older
    renamed = replace(older, colony=wanted, measurement_id=_renamed_id(older, wanted))
    photo = _photo_of(store, older)
    who = require_observer(store, observer)
    with store.write():
        store.save_measurements([renamed])
        _take_back(store, older, "renamed", renamed.measurement_id)
        _note(store, notes, older.colony, photo, who)
        _note(store, notes, wanted, photo, who)
    return renamed


def take_back(store: SurveyStore, row_id: str, observer: str, notes: Notes) -> MeasurementRow:
    """
    Take a measurement back by a further entry; nothing is deleted.

    Parameters
    ----------
    store : SurveyStore
    row_id : str
    observer : str
    notes : Notes

    Returns
    -------
    MeasurementRow
        The entry as it no longer stands.

    Raises
    ------
    InputError
        ``measure-not-standing``.
    """
    older = require_standing(store, row_id)
    who = require_observer(store, observer)
    with store.write():
        entry = _take_back(store, older, "undone", None)
        _note(store, notes, older.colony, _photo_of(store, older), who)
    return entry


def stand_again(store: SurveyStore, row_id: str, observer: str, notes: Notes) -> MeasurementRow:
    """
    Let a measurement that was taken back stand again, by a further entry; what followed it goes.

    Parameters
    ----------
    store : SurveyStore
    row_id : str
    observer : str
    notes : Notes

    Returns
    -------
    MeasurementRow

    Raises
    ------
    InputError
        ``measure-not-standing`` where no measurement of that id was taken back.
    """
    rows = {m.measurement_id: m for m in store.measurements(with_taken_back=True)}
    entry = rows.get(row_id)
    if entry is None or not entry.is_taken_back:
        raise _not_standing(row_id)
    why = entry.values["taken_back"]
    values = {name: value for name, value in entry.values.items() if name != "taken_back"}
    row = replace(entry, values=values)
    photo = _photo_of(store, row)
    who = require_observer(store, observer)
    follower = rows.get(str(why.get("followed_by")))
    with store.write():
        store.save_measurements([row])
        if follower is not None and not follower.is_taken_back:
            _take_back(store, follower, "undone", row.measurement_id)
            _note(store, notes, follower.colony, photo, who)
        _note(store, notes, row.colony, photo, who)
    return row


def require_standing(store: SurveyStore, row_id: str) -> MeasurementRow:
    """
    Return a measurement that stands.

    Raises
    ------
    InputError
        ``measure-not-standing``.
    """
    found = next(iter(store.measurements_of([row_id])), None)
    if found is None or store.photo(found.photo_id) is None:  # an archive's: nothing to change
        raise _not_standing(row_id)
    return found


def photo_state(store: SurveyStore, photo: Photo) -> dict[str, Any]:
    """
    Gather what is measured in a photo, and the corals of its visit.

    Parameters
    ----------
    store : SurveyStore
    photo : Photo

    Returns
    -------
    dict
        ``measurements`` of this photo that stand, ``taken_back`` those that do not, ``corals`` of
        the visit (those of this photo first); never what a coral is called, which a second
        observer must not see.
    """
    here = store.measurements(photo.photo_id, with_taken_back=True)
    standing = [m for m in here if not m.is_taken_back]
    latest = store.correction(photo.photo_id)
    labels = {m.colony for m in standing}
    health = {h.record_id: h for h in store.coral_health()}
    corals = [
        _coral(record, record.photo_id == photo.photo_id or record.colony in labels)
        | {"health": health[record.record_id].as_dict() if record.record_id in health else None}
        for record in store.records(photo.visit_id)
    ]
    corals.sort(key=lambda coral: not coral["is_here"])
    return {
        "measurements": [
            {**_as_dict(m), "rests_on_earlier": rests_on_earlier(m, latest)} for m in standing
        ],
        "taken_back": [_as_dict(m) for m in here if m.is_taken_back],
        "corals": corals,
        "controls": [c.name for c in store.control_objects()],
    }


def _how(asked: Asked) -> dict[str, Any]:
    """How it was measured, for whoever sets it better later."""
    return {"card_stood": asked.stood or None, "point_u_px": asked.point_u_px}


def _coral(record: RecordRow, is_here: bool) -> dict[str, Any]:
    """A coral for the page."""
    return {
        "record_id": record.record_id,
        "colony": record.colony,
        "photo_id": record.photo_id,
        "growth_form": record.growth_form,
        "is_juvenile": record.is_juvenile,
        "measurement_ids": list(record.measurement_ids),
        "observer": record.observer,
        "is_here": is_here,
    }


def _as_dict(row: MeasurementRow) -> dict[str, Any]:
    """A measurement for the page."""
    return {
        "measurement_id": row.measurement_id,
        "colony": row.colony,
        "kind": row.kind,
        "points_px": [list(point) for point in row.points_px],
        "observer": row.observer,
        "values": dict(row.values),
    }


def _not_standing(row_id: str) -> InputError:
    """Refuse to work on a measurement that does not stand (any more)."""
    return InputError(
        "measure-not-standing",
        f"The measurement {row_id[:12]} does not stand (any more): somebody renamed it, took it "
        "back or put a better one in its place.",
        "Load the page again and look at what stands now.",
    )


def _renamed_id(row: MeasurementRow, colony: str) -> str:
    """The id of a measurement under another coral; as `measurement_id` makes it."""
    points = [list(point) for point in row.points_px]
    return key_of({"photo": row.photo_id, "colony": colony, "kind": row.kind, "points": points})


def _take_back(
    store: SurveyStore, row: MeasurementRow, why: str, followed_by: str | None
) -> MeasurementRow:
    """Add the entry that takes a measurement back."""
    said = {"why": why, "followed_by": followed_by}
    entry = replace(row, values={**row.values, "taken_back": said})
    store.save_measurements([entry])
    return entry


def _photo_of(store: SurveyStore, row: MeasurementRow) -> Photo:
    """The photo of a measurement."""
    photo = store.photo(row.photo_id)
    assert photo is not None  # the database lets no measurement refer to a missing photo
    return photo


def _note(store: SurveyStore, notes: Notes, colony: str, photo: Photo, observer: str) -> None:
    """Note a coral that is new on the visit; else bring its list of measurements up to date."""
    if any(control.name == colony for control in store.control_objects()):
        return
    records = [r for r in store.records(photo.visit_id) if r.colony == colony]
    own = next((r for r in records if r.photo_id == photo.photo_id), None)
    if own is None and not records:
        if any(m.colony == colony for m in store.measurements(photo.photo_id)):
            request = NoteRequest(colony=colony, observer=observer, photo=photo.photo_id)
            note_record(store, notes.taxa, request, notes.now)
        return
    record = own or records[0]
    others = {r.photo_id for r in records if r.record_id != record.record_id}
    of_visit = {p.photo_id for p in store.photos(photo.visit_id)} - others
    ids = tuple(
        m.measurement_id
        for m in store.measurements()
        if m.colony == colony and m.photo_id in of_visit
    )
    if ids != record.measurement_ids:
        store.save_record(replace(record, measurement_ids=ids))
