"""Corals noted one by one, as they leave in a data package: names, second looks, sizes, health."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from dryslate.app.corals_elsewhere import numbers_only, unit_place, without_photo

if TYPE_CHECKING:
    from dryslate.app.coral_health import HealthRow
    from dryslate.app.identification_rows import (
        IdentificationRow,
        RecordRow,
        ReviewChanceRow,
        ReviewOutcomeRow,
    )
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import MeasurementRow
    from dryslate.app.unit_records import UnitPhoto


def corals_to_package(store: SurveyStore) -> list[RecordRow]:
    """Return the corals but those in photos that are set aside."""
    aside = {one.photo_id for one in store.photos_set_aside()}
    return [one for one in store.records() if one.photo_id not in aside]


def _ids(store: SurveyStore) -> set[str]:
    return {one.record_id for one in corals_to_package(store)}


def looks_to_package(store: SurveyStore) -> Iterator[IdentificationRow]:
    """Yield who called these corals what, oldest first."""
    kept = _ids(store)
    return (one for one in store.identifications() if one.record_id in kept)


def chances_to_package(store: SurveyStore) -> Iterator[ReviewChanceRow]:
    """Yield the chances that first names had of a second look."""
    kept = _ids(store)
    return (one for one in store.review_chances() if one.record_id in kept)


def outcomes_to_package(store: SurveyStore) -> Iterator[ReviewOutcomeRow]:
    """Yield what second looks brought, oldest first."""
    kept = _ids(store)
    return (one for one in store.review_outcomes() if one.record_id in kept)


def health_to_package(store: SurveyStore) -> Iterator[HealthRow]:
    """Yield every judgement of these corals."""
    for record in corals_to_package(store):
        yield from store.coral_health_history(record.record_id)


def sizes_to_package(store: SurveyStore) -> Iterator[MeasurementRow]:
    """Yield what was measured of these corals and stands, without what the doubt is made of."""
    seen: set[str] = set()
    for record in corals_to_package(store):
        for one in store.measurements_of(record.measurement_ids):
            if one.measurement_id not in seen:
                seen.add(one.measurement_id)
                yield replace(one, values=numbers_only(one.values))


def photo_units_to_package(store: SurveyStore) -> Iterator[UnitPhoto]:
    """Yield of which unit each photo is that is not set aside."""
    aside = {one.photo_id for one in store.photos_set_aside()}
    return (one for one in store.unit_photos() if one.unit_id and one.photo_id not in aside)


def save_corals(store: SurveyStore, records: Mapping[str, Sequence[Any]], here: set[str]) -> None:
    """
    Store the corals of a package with their sizes, looks, health, draws and second looks.

    Parameters
    ----------
    store : SurveyStore
        Its visits and units are stored already.
    records : Mapping
        By table.
    here : set of str
        Photos that this project has.
    """
    names = {unit.unit_id: unit_place(unit.name, unit.unit_id) for unit in records["units"]}
    units = {one.photo_id: names.get(one.unit_id, "") for one in records["photo_units"]}
    sizes = {one.measurement_id: one for one in records["coral_sizes"]}
    for record in records["corals"]:
        is_here = record.photo_id is None or record.photo_id in here
        store.save_record(
            record if is_here else without_photo(record, units.get(record.photo_id, ""))
        )
        for one in record.measurement_ids:
            if one in sizes:
                store.save_archived_measurement(record.record_id, sizes[one])
    for look in records["coral_looks"]:
        store.save_identification(look)
    for judged in records["coral_health"]:
        store.save_coral_health(judged)
    for draw in records["review_draws"]:
        mine = [one for one in records["review_chances"] if one.draw_id == draw.draw_id]
        store.save_review_draw(draw, mine)
    for outcome in records["review_outcomes"]:
        store.save_review_outcome(outcome)
