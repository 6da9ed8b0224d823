"""Photos of tagged colonies as they leave a project and stand in another, measured and not here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.colony_records import ColonyFrame
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo

_KEPT = {field.name for field in fields(ArchivedFrame)}
_OF_FRAME = tuple(field.name for field in fields(ColonyFrame) if field.name in _KEPT)
"""Points picked by hand to carry an outline are of no use without the photos."""
MEDIA_TYPES = {"jpeg": "image/jpeg", "png": "image/png", "tiff": "image/tiff"}
_SHAPES: Mapping[str, tuple[int, ...]] = {
    "lab": (3,),
    "lab_cov": (3, 3),
    "card_u": (3,),
    "mismatch_u": (3,),
}
_NUMBERS = ("white_distance", "white_distance_u")


def is_ready(frame: ColonyFrame | ArchivedFrame) -> bool:
    """Whether a frame's outline may be measured in: drawn, or carried and confirmed."""
    return bool(frame.outline_px) and frame.is_confirmed


def frames_to_archive(store: SurveyStore) -> Iterator[ArchivedFrame]:
    """
    Yield the photos of tagged colonies as they leave the project.

    Parameters
    ----------
    store : SurveyStore

    Yields
    ------
    ArchivedFrame
        Those of photos that are not set aside, measured ones first and in the order measured, so
        that a visit's figures come out the same; colours that rest on an earlier outline or
        correction are left out. Then those that an archive brought.
    """
    if not store.colonies():
        return
    from dryslate.app.colony_colours import stale_frames

    aside = {one.photo_id for one in store.photos_set_aside()}
    stale = {
        (colony.organism_id, frame.photo_id)
        for colony in store.colonies()
        for frame in stale_frames(store, colony)
    }
    colours = {
        (one.organism_id, one.photo_id): one
        for one in store.colony_colours()
        if (one.organism_id, one.photo_id) not in stale
    }
    frames = {
        (one.organism_id, one.photo_id): one
        for one in store.colony_frames()
        if one.photo_id not in aside
    }
    photos = {photo_id: store.photo(photo_id) for _, photo_id in frames}
    cameras = {i: "" if photo is None else camera_of(photo) for i, photo in photos.items()}
    order = [key for key in colours if key in frames]
    order += [key for key in frames if key not in colours]
    for key in order:
        frame, colour = frames[key], colours.get(key) if is_ready(frames[key]) else None
        yield ArchivedFrame(
            **({name: getattr(frame, name) for name in _OF_FRAME} | _sizes(store, frame)),
            measured=dict(colour.measured) | {"camera": cameras[frame.photo_id]}
            if colour is not None
            else {},
            measured_at=colour.measured_at if colour is not None else "",
        )
    yield from (one for one in store.archived_frames() if _key(one) not in frames)


def photos_to_archive(store: SurveyStore) -> Iterator[ArchivedPhoto]:
    """Yield photos that are not set aside, and those that archives named: by hash, with licence."""
    from dryslate.app.archive_events import photo_time
    from dryslate.app.project_words import licence_address

    facts = store.project_facts()
    aside = {one.photo_id for one in store.photos_set_aside()}
    here = set(store.photo_ids())
    for visit in store.visits():
        offsets = {
            o.camera: o.utc_offset for o in store.clock_offsets(visit.visit_id) if o.utc_offset
        }
        for photo in store.photos(visit.visit_id):
            if photo.photo_id in aside:
                continue
            file = photo.files[0]
            yield ArchivedPhoto(
                photo_id=photo.photo_id,
                visit_id=photo.visit_id,
                file_name=file.original_name,
                media_type=MEDIA_TYPES.get(file.kind, ""),
                taken_at=photo_time(photo, offsets),
                creator=photo.observer or "",
                licence=licence_address(facts.get("licence", "")),
                rights_holder=facts.get("rights_holder", ""),
            )
    yield from (one for one in store.archived_photos() if one.photo_id not in here)


def camera_of(photo: Photo) -> str:
    """Return which camera took a photo, as far as its file says; empty where it does not."""
    said = photo.metadata
    return " ".join(filter(None, (said.camera_make, said.camera_model, said.camera_serial)))


def _key(frame: ArchivedFrame) -> tuple[str, str]:
    return frame.organism_id, frame.photo_id


def _sizes(store: SurveyStore, frame: ColonyFrame) -> dict[str, Any]:
    """Measure an outline in the plane of the card; nothing where the photo has no scale."""
    from dryslate.app.geometry import geometry_from_dict
    from dryslate.core.measure.outline import measure_outline
    from dryslate.core.measure.result import MeasureSettings

    row = store.correction(frame.photo_id) if is_ready(frame) else None
    try:
        plane = None if row is None else geometry_from_dict(row.geometry)
        if plane is None:
            return {}
        found = measure_outline(plane, np.asarray(frame.outline_px), MeasureSettings()).values
    except DryslateError:
        return {}
    names = ("area_cm2", "area_cm2_u", "diameter_max_mm", "diameter_max_mm_u")
    return {name: float(found[name]) for name in names}


def archived_here(store: SurveyStore, organism_id: str) -> tuple[ArchivedFrame, ...]:
    """Return a colony's photos that are not here; one that came since counts as it is here."""
    mine = {one.photo_id for one in store.colony_frames(organism_id)}
    return tuple(one for one in store.archived_frames(organism_id) if one.photo_id not in mine)


def keep_sketches(store: SurveyStore, sketches: Iterable[ArchivedSketch]) -> None:
    """Let colonies have their sketches; one whose file is not here stays named by its hash."""
    here = {one.sha256 for one in store.originals()}
    colonies = {one.organism_id: one for one in store.colonies()}
    for one in sketches:
        if one.sha256 in here:
            store.save_colony(replace(colonies[one.organism_id], sketch_sha256=one.sha256))
        else:
            store.save_archived_sketch(one)


def photos_elsewhere(store: SurveyStore) -> dict[str, ArchivedPhoto]:
    """Return the photos that archives name, by hash."""
    return {one.photo_id: one for one in store.archived_photos()}


def require_measured(frame: ArchivedFrame) -> ArchivedFrame:
    """
    Return a frame whose figures can be what they are said to be.

    Raises
    ------
    ValueError, TypeError
        Where they cannot.
    """
    said = frame.measured
    for name, shape in _SHAPES.items():
        value = said.get(name)
        if value is not None:
            found = np.asarray(value, dtype=np.float64)
            if found.shape != shape or not np.isfinite(found).all():
                raise ValueError(f"{name}: {value!r} cannot be")
    for name in _NUMBERS:
        value = said.get(name)
        if value is not None and not math.isfinite(float(value)):
            raise ValueError(f"{name}: {value!r} cannot be")
    for one in said.get("problems", ()):
        Problem(**one)
    points: list[Any] = [[float(x), float(y)] for x, y in frame.outline_px]
    if not np.isfinite(points).all():
        raise ValueError("outline_px holds what is no number")
    return replace(frame, outline_px=tuple((x, y) for x, y in points))
