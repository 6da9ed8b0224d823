"""Storing what was read of an archive, each record after those it refers to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_copies import TakeCopies, join_photos, take_copies
from dryslate.app.archived_frames import keep_sketches
from dryslate.app.empty_project import placed
from dryslate.app.project_records import Site

if TYPE_CHECKING:
    from dryslate.app.archive_read import ArchiveRead
    from dryslate.app.ports import SurveyStore


def store_all(store: SurveyStore, read: ArchiveRead, take: TakeCopies | None = None) -> int:
    """
    Store it; returns how many rows of units. The caller holds the transaction.

    `take` takes in the photos that the archive holds; without it they stay named.
    """
    if read.region:
        store.save_region(read.region)
    for name, value in read.facts.items():
        store.save_project_fact(name, value)
    for site in (*read.sites, *(one.site for one in read.visits.values())):
        store.save_site(Site(site=site))
    for place in read.places.values():
        store.save_site_place(place)
    _each(store.save_zone, read.settings.get("zones", ()))
    _each(store.save_visit, read.visits.values())
    _each(store.save_clock_offset, read.clocks)
    if take is not None:
        take_copies(store, read, take)
    photos = set(store.photo_ids())
    _each(store.save_visit_conditions, read.conditions.values())
    for logger, file in read.loggers:
        store.save_site_logger(logger, file)
    _each(store.save_unit, read.units)
    join_photos(store, read, photos)
    _each(store.save_unit_place, read.unit_places)
    _lists(store, read)
    _each(store.save_unit_design, read.designs.values())
    _corals(store, read, photos)
    _colonies(store, read)
    return store.save_survey_rows(
        placed(noted, photos) for unit in read.units for noted in read.rows.get(unit.unit_id, ())
    )


def _each(save: Callable[[Any], object], rows: Any) -> None:
    for one in rows:
        save(one)


def _lists(store: SurveyStore, read: ArchiveRead) -> None:
    """Store categories, weights, people and names."""
    found = read.settings
    store.save_categories(found.get("categories", ()))
    store.save_category_mappings(found.get("category_mappings", ()))
    weights = found.get("zone_weights", ())
    for site in {one.site for one in weights}:
        store.replace_zone_weights(site, [one for one in weights if one.site == site])
    _each(store.save_project_person, found.get("people", ()))
    store.replace_name_ids(found.get("name_ids", ()))


def _corals(store: SurveyStore, read: ArchiveRead, photos: set[str]) -> None:
    """Store corals with sizes and looks, the draws, and what came of second looks."""
    for coral in read.corals:
        seen = coral.in_photo
        store.save_record(seen if seen and seen.photo_id in photos else coral.record)
        store.save_measurements(one for one in coral.measured if one.photo_id in photos)
        for one in coral.measured:
            if one.photo_id not in photos:
                store.save_archived_measurement(coral.record.record_id, one)
        _each(store.save_identification, coral.looks)
        _each(store.save_coral_health, coral.health)
    chances = [one for coral in read.corals for one in coral.chances]
    for draw in read.settings.get("draws", ()):
        store.save_review_draw(draw, [one for one in chances if one.draw_id == draw.draw_id])
    for coral in read.corals:
        _each(store.save_review_outcome, coral.outcomes)


def _colonies(store: SurveyStore, read: ArchiveRead) -> None:
    """Store tagged colonies with what became of them."""
    found = read.settings
    _each(store.save_colony, found.get("colonies", ()))
    keep_sketches(store, found.get("sketches", ()))
    _each(store.save_colony_sighting, found.get("sightings", ()))
    _each(store.save_colony_fractions, found.get("fractions", ()))
    _each(store.save_stress_onset, found.get("onsets", ()))
    _each(store.save_archived_photo, read.photos.values())
    _each(store.save_archived_frame, found.get("frames", ()))
