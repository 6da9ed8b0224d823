"""The points of a unit: on each of its photos, in an order that tells nothing of the place."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryslate.base.errors import InputError
from dryslate.core.survey.points import place_points

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo
    from dryslate.app.survey_records import StatedDesign

SizeOf = Callable[["Photo"], tuple[int, int] | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointFrame:
    """
    A photo with its points.

    Parameters
    ----------
    photo : Photo
    size_px : tuple of int
        Width and height upright.
    px_per_mm : float or None
        Scale at the card; None where there is none that can be trusted.
    points_px : tuple of (float, float)
        In pixels of the upright original, to a hundredth.
    """

    photo: Photo
    size_px: tuple[int, int]
    px_per_mm: float | None
    points_px: tuple[tuple[float, float], ...]

    @property
    def name(self) -> str:
        """The name of its file on the memory card."""
        return self.photo.files[0].original_name


def stated_design(store: SurveyStore, unit_id: str) -> StatedDesign:
    """
    Return how a unit was sampled.

    Raises
    ------
    InputError
        ``unit-without-design``.
    """
    found = next((one for one in store.unit_designs() if one.unit_id == unit_id), None)
    if found is None:
        raise InputError(
            "unit-without-design",
            "Nobody has said how this unit was sampled.",
            "Say it first; the lines are read by it.",
        )
    return found


def seed_of(stated: StatedDesign) -> int:
    """Return the seed that a unit states, or one made of its id: the same on every machine."""
    if stated.design.seed is not None:
        return stated.design.seed
    digits = hashlib.sha256(f"dryslate unit {stated.unit_id}".encode()).hexdigest()
    return int(digits[:8], 16)


def place_unit_points(
    store: SurveyStore, stated: StatedDesign, size_of: SizeOf
) -> tuple[PointFrame, ...]:
    """
    Place the points of a unit on its photos.

    Parameters
    ----------
    store : SurveyStore
    stated : StatedDesign
        A unit of points on photos.
    size_of : callable
        Width and height of a photo's upright original; None where the file cannot tell.

    Returns
    -------
    tuple of PointFrame
        Shuffled by the seed. Photos of a slate, those set aside and those that cannot be read are
        left out.

    Raises
    ------
    InputError
        ``points-not-of-design``; ``points-number``, ``points-fields``.
    """
    design = stated.design
    if design.design != "photo_points" or design.n_points is None or design.point_rule is None:
        raise InputError(
            "points-not-of-design",
            "This unit does not say that points are placed on its photos, how many and how.",
            "State it for the unit: points on photos, with their number and rule.",
        )
    seed = seed_of(stated)
    frames = []
    for photo in photos_of_unit(store, stated.unit_id):
        size = size_of(photo)
        if size is None:
            continue
        placed = place_points(design.point_rule, design.n_points, size, seed, photo.photo_id)
        points = tuple((round(float(x), 2), round(float(y), 2)) for x, y in placed)
        scale = _scale_of(store, photo.photo_id)
        frames.append(PointFrame(photo=photo, size_px=size, px_per_mm=scale, points_px=points))
    return tuple(sorted(frames, key=lambda frame: _turn(seed, frame.photo.photo_id)))


def photos_of_unit(store: SurveyStore, unit_id: str) -> tuple[Photo, ...]:
    """Return the photos of a unit but for its slate and those set aside."""
    aside = {one.photo_id for one in store.photos_set_aside()}
    ids = {
        join.photo_id
        for join in store.unit_photos()
        if join.unit_id == unit_id and join.how != "slate" and join.photo_id not in aside
    }
    found = (store.photo(one) for one in sorted(ids))
    return tuple(photo for photo in found if photo is not None)


def _turn(seed: int, photo_id: str) -> str:
    """Return what puts frames in an order that a seed decides."""
    return hashlib.sha256(f"dryslate frames {seed} {photo_id}".encode()).hexdigest()


def _scale_of(store: SurveyStore, photo_id: str) -> float | None:
    """Return the scale at a photo's card, where it can be trusted."""
    row = store.correction(photo_id)
    told: dict[str, Any] = (row.result.get("scale") if row is not None else None) or {}
    scale = told.get("px_per_mm") if told.get("usable") else None
    return float(scale) if scale else None


def points_table(frames: tuple[PointFrame, ...]) -> list[list[Any]]:
    """Return a line for each point: photo, its name, which point, x, y."""
    return [
        [frame.photo.photo_id, frame.name, k, x, y]
        for frame in frames
        for k, (x, y) in enumerate(frame.points_px, 1)
    ]
