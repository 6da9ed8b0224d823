"""How the outlines of a tagged colony came to be: who changed which, when, and by how much."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dryslate.app.archived_frames import archived_here, photos_elsewhere
from dryslate.app.geometry import geometry_from_dict
from dryslate.base.errors import DryslateError
from dryslate.core.measure.outline import measure_outline
from dryslate.core.measure.polygon import polygon_area
from dryslate.core.measure.result import MeasureSettings

if TYPE_CHECKING:
    from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto
    from dryslate.app.colony_page import ShownFrame
    from dryslate.app.colony_records import Colony, Points
    from dryslate.app.ports import PhotoVault, SurveyStore
    from dryslate.app.project_records import Change

Did = Literal[
    "added", "drawn", "aligned", "tie_points", "cleared", "confirmed", "reference", "removed"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineState:
    """
    An outline as it was at one time.

    Parameters
    ----------
    points_px : tuple of points
        In pixels of the upright original.
    area_px : float
    area_cm2, area_cm2_u, diameter_max_mm : float or None
        By the photo's scale as it is now; None where it has none.
    """

    points_px: Points
    area_px: float
    area_cm2: float | None = None
    area_cm2_u: float | None = None
    diameter_max_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineChange:
    """
    One change.

    Parameters
    ----------
    photo_id, photo_name, visit_id : str
        Name and visit are empty where the photo is not here any more.
    did : str
        ``added`` (the photo, without an outline), ``drawn`` by hand, ``aligned`` (carried by
        matching), carried by ``tie_points``, ``cleared``, ``confirmed`` that it lies right, made
        the ``reference`` of the others, ``removed`` (the photo).
    who, changed_utc : str
    before, after : OutlineState or None
        None: no outline.
    """

    photo_id: str
    photo_name: str
    visit_id: str
    did: Did
    who: str
    changed_utc: str
    before: OutlineState | None
    after: OutlineState | None

    @property
    def is_reshaped(self) -> bool:
        """Whether the outline itself is another than before."""
        return (self.before and self.before.points_px) != (self.after and self.after.points_px)

    @property
    def change_pct(self) -> float | None:
        """Return by how much the area changed, in per cent of what it was; None without both."""
        if self.before is None or self.after is None or not self.is_reshaped:
            return None
        old, new = self.before.area_cm2, self.after.area_cm2
        if old is None or new is None:
            old, new = self.before.area_px, self.after.area_px
        return 100.0 * (new - old) / old if old else None

    @property
    def view_box(self) -> str:
        """Return what a drawing of both outlines shows, as SVG writes it."""
        both = [p for one in (self.before, self.after) if one is not None for p in one.points_px]
        low, high = np.min(both, axis=0), np.max(both, axis=0)
        margin = 0.08 * float((high - low).max())
        left, top = low - margin
        width, height = high - low + 2 * margin
        return f"{left:.1f} {top:.1f} {width:.1f} {height:.1f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Elsewhere:
    """
    A photo of a colony that is not here, with what an archive says was measured in it.

    `is_taken_in` where the file came since, and nobody said yet that it shows the colony.
    """

    frame: ArchivedFrame
    photo: ArchivedPhoto | None
    is_taken_in: bool = False


def outline_history(store: SurveyStore, colony: Colony) -> tuple[OutlineChange, ...]:
    """
    Return every change of a colony's outlines, the latest first.

    Parameters
    ----------
    store : SurveyStore
    colony : Colony

    Returns
    -------
    tuple of OutlineChange
        From the change log; changes of other words of a photo's row are left out.
    """
    photos = {photo.photo_id: photo for photo in store.photos()}
    sizes = _Sizes(store)
    found = []
    for change in store.changes_of("colony_frames", colony.organism_id):
        photo_id = str(json.loads(change.row_key)[1])
        old, new = _points(change.old), _points(change.new)
        did = _did(change, old != new)
        if did is None:
            continue
        photo = photos.get(photo_id)
        found.append(
            OutlineChange(
                photo_id=photo_id,
                photo_name=photo.files[0].original_name if photo else "",
                visit_id=photo.visit_id if photo else "",
                did=did,
                who=change.who,
                changed_utc=change.changed_utc,
                before=sizes.of(photo_id, old),
                after=sizes.of(photo_id, new),
            )
        )
    return tuple(reversed(found))


def photos_not_here(store: SurveyStore, colony: Colony) -> tuple[Elsewhere, ...]:
    """Return a colony's photos that are not here, by visit and time."""
    named = photos_elsewhere(store)
    found = [
        Elsewhere(
            frame=one,
            photo=named.get(one.photo_id),
            is_taken_in=store.photo(one.photo_id) is not None,
        )
        for one in archived_here(store, colony.organism_id)
    ]
    dates = {visit.visit_id: visit.date for visit in store.visits()}
    return tuple(sorted(found, key=lambda one: _order(one, dates)))


def sketch_not_here(store: SurveyStore, colony: Colony) -> str:
    """Return the hash of the file that shows the colony's sketch and is not here; else empty."""
    if colony.sketch_sha256 is not None:
        return ""
    named = {one.organism_id: one.sha256 for one in store.archived_sketches()}
    return named.get(colony.organism_id, "")


def files_lost(frames: Iterable[ShownFrame], vault: PhotoVault) -> frozenset[str]:
    """Return the photos of a colony that are on record and whose file is not in the project."""
    return frozenset(
        one.photo.photo_id
        for one in frames
        if not vault.has(one.photo.files[0].sha256, one.photo.files[0].original_name)
    )


def _order(one: Elsewhere, dates: Mapping[str, str]) -> tuple[str, str, str]:
    """By date of the visit, time, and name."""
    photo = one.photo
    if photo is None:
        return ("", "", one.frame.photo_id)
    return (dates.get(photo.visit_id, ""), photo.taken_at, photo.file_name)


def _did(change: Change, is_reshaped: bool) -> Did | None:
    """Say what a line of the change log did to an outline; None: nothing."""
    old, new = change.old, change.new
    if new is None:
        return "removed"
    if is_reshaped and not _points(new):
        return "cleared"
    if is_reshaped:
        how: Did = new["outline_how"] or "drawn"
        return how
    if old is None:
        return "added"
    if new["is_confirmed"] and not old["is_confirmed"]:
        return "confirmed"
    return "reference" if new["is_reference"] and not old["is_reference"] else None


def _points(row: Mapping[str, Any] | None) -> Points:
    """Read the outline of a row of the change log."""
    said = json.loads(row["outline_px"]) if row is not None else ()
    return tuple((float(x), float(y)) for x, y in said)


class _Sizes:
    """Measures outlines, each photo's scale read once."""

    def __init__(self, store: SurveyStore) -> None:
        self._store = store
        self._planes: dict[str, Any] = {}

    def of(self, photo_id: str, points: Points) -> OutlineState | None:
        """Return an outline with its size; None where there is none."""
        if len(points) < 3:
            return None
        corners = np.asarray(points)
        values: Mapping[str, Any] = {}
        try:
            plane = self._plane(photo_id)
            if plane is not None:
                values = measure_outline(plane, corners, MeasureSettings()).values
        except DryslateError:
            values = {}
        names = ("area_cm2", "area_cm2_u", "diameter_max_mm")
        return OutlineState(
            points_px=points,
            area_px=abs(float(polygon_area(corners))),
            **{name: float(values[name]) for name in names if name in values},
        )

    def _plane(self, photo_id: str) -> Any:
        """Return the plane of a photo's card; None where it has none."""
        if photo_id not in self._planes:
            row = self._store.correction(photo_id)
            self._planes[photo_id] = None if row is None else geometry_from_dict(row.geometry)
        return self._planes[photo_id]
