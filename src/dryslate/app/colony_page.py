"""What the page of a tagged colony shows of its photos: a part of each, and outlines to choose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dryslate.app.colony_visits import frame_of
from dryslate.app.crop import cut_crop
from dryslate.app.preview import limit_size
from dryslate.app.tiles import place_of
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dryslate.app.colony_records import Colony, ColonyFrame, Points
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import MeasurementRow, Photo
    from dryslate.app.tiles import TileBench

LONGEST_PX = 640
MARGIN_FRAC = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownFrame:
    """
    A frame as the page shows it.

    Parameters
    ----------
    frame : ColonyFrame
    photo : Photo
    box_px : tuple of int or None
        The part of the photo that is shown: left, top, right, bottom; None: the whole photo.
    """

    frame: ColonyFrame
    photo: Photo
    box_px: tuple[int, int, int, int] | None

    @property
    def points(self) -> str:
        """Return the outline within the shown part, as SVG writes it."""
        left, top = (0, 0) if self.box_px is None else self.box_px[:2]
        return " ".join(f"{x - left:.1f},{y - top:.1f}" for x, y in self.frame.outline_px)

    @property
    def size_px(self) -> tuple[int, int] | None:
        """Return width and height of the shown part."""
        if self.box_px is None:
            return None
        return self.box_px[2] - self.box_px[0], self.box_px[3] - self.box_px[1]


def frames_of(store: SurveyStore, colony: Colony) -> tuple[ShownFrame, ...]:
    """Return a colony's frames by the time they were taken."""
    order = {p.photo_id: (k, p) for k, p in enumerate(store.photos())}
    frames = sorted(store.colony_frames(colony.organism_id), key=lambda f: order[f.photo_id][0])
    return tuple(ShownFrame(frame=f, photo=order[f.photo_id][1], box_px=_box(f)) for f in frames)


def _box(frame: ColonyFrame) -> tuple[int, int, int, int] | None:
    """Return the part of a photo around an outline; None without one."""
    if not frame.outline_px:
        return None
    points = np.array(frame.outline_px)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = MARGIN_FRAC * float((high - low).max())
    left, top = np.maximum(np.floor(low - margin), 0)
    right, bottom = np.ceil(high + margin)
    return int(left), int(top), int(right), int(bottom)


def frame_picture(
    bench: TileBench, store: SurveyStore, colony: Colony, photo_id: str
) -> NDArray[np.uint8]:
    """
    Cut the shown part out of a colony's photo, corrected where that is possible.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    colony : Colony
    photo_id : str

    Returns
    -------
    ndarray of uint8
        As large as `ShownFrame.size_px` or smaller by one factor; what would lie beyond the
        photo's edge is grey.

    Raises
    ------
    InputError
        ``colony-frame-unknown``; those of reading the photo.
    """
    frame = frame_of(store, colony, photo_id)
    if frame is None:
        raise InputError(
            "colony-frame-unknown",
            f"{colony.label}: that photo is not one of its photos.",
            "Open the colony again.",
        )
    try:
        place = place_of(store, photo_id, "corrected")
    except InputError:
        place = place_of(store, photo_id, "original")
    box = _box(frame)
    wanted = box or (0, 0, 10**6, 10**6)
    cut = cut_crop(bench, store, place, wanted, has_bar=False).img_srgb
    if box is not None:
        whole = np.full((box[3] - box[1], box[2] - box[0], 3), 128, np.uint8)
        whole[: cut.shape[0], : cut.shape[1]] = cut
        cut = whole
    return limit_size(cut, LONGEST_PX)


def sketch_picture(bench: TileBench, store: SurveyStore, colony: Colony) -> NDArray[np.uint8]:
    """
    Return the photo that shows the sketch of where a colony stands.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    colony : Colony

    Returns
    -------
    ndarray of uint8

    Raises
    ------
    InputError
        ``photo-not-in-project`` where none was chosen; those of reading the photo.
    """
    place = place_of(store, colony.sketch_sha256 or "", "original")
    cut = cut_crop(bench, store, place, (0, 0, 10**6, 10**6), has_bar=False)
    return limit_size(cut.img_srgb, LONGEST_PX)


def outlines_measured(store: SurveyStore, colony: Colony) -> dict[str, tuple[MeasurementRow, ...]]:
    """Return the outlines of corals measured in each of a colony's photos: one can be taken."""
    controls = {control.name for control in store.control_objects()}
    return {
        frame.photo_id: tuple(
            m
            for m in store.measurements(frame.photo_id)
            if m.kind in ("outline", "colour") and m.colony not in controls
        )
        for frame in store.colony_frames(colony.organism_id)
    }


def outline_of_measurement(store: SurveyStore, photo_id: str, measurement_id: str) -> Points:
    """
    Return the points of an outline that was measured in a photo.

    Raises
    ------
    InputError
        ``colony-no-outline``.
    """
    for row in store.measurements(photo_id):
        if row.measurement_id == measurement_id and row.kind in ("outline", "colour"):
            return row.points_px
    raise InputError(
        "colony-no-outline",
        "That outline is not among those measured in this photo.",
        "Set an outline on the photo's page first.",
    )
