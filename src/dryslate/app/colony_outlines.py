"""The same outlined area at each visit: drawn once, carried to later photos, then confirmed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.colony_records import Colony, ColonyFrame, Points, TiePoints
from dryslate.app.colony_visits import add_frame, frame_of
from dryslate.app.geometry import geometry_from_dict
from dryslate.app.measure_project import Bench
from dryslate.app.note_records import one_photo
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.measure.outline import require_simple
from dryslate.core.scale.alignment import (
    Alignment,
    Features,
    align_by_points,
    align_features,
    find_features,
    require_close,
)
from dryslate.core.scale.plane import apply_plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """
    An outline carried to a photo: not yet confirmed.

    Parameters
    ----------
    frame : ColonyFrame
    model : str
        ``homography``, ``affine`` or ``similarity``.
    """

    frame: ColonyFrame
    model: str

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {**self.frame.as_dict(), "model": self.model}

    def words(self) -> str:
        """Say how it lies."""
        frame = self.frame
        mm = "no scale in this photo" if frame.misfit_mm is None else f"{frame.misfit_mm:.1f} mm"
        how = "by matching" if frame.outline_how == "aligned" else "by points picked by hand"
        return (
            f"Outline carried {how} ({self.model}, {frame.n_matches} pairs): misfit "
            f"{frame.misfit_px:.1f} px, {mm}. Look at it, and confirm or draw it anew."
        )


def reference_of(store: SurveyStore, colony: Colony) -> ColonyFrame | None:
    """Return the frame on which a colony's outline was first drawn."""
    frames = store.colony_frames(colony.organism_id)
    return next((f for f in frames if f.is_reference), None)


def draw_outline(
    store: SurveyStore, colony: Colony, photo: str, outline_px: Points, who: tuple[str, str]
) -> ColonyFrame:
    """
    Draw a colony's outline in a photo; the first one drawn is the reference of all others.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    photo : str
        File name or hash; becomes one of the colony's photos.
    outline_px : tuple of points
        In pixels of the upright original.
    who : (str, str)
        Observer and time.

    Returns
    -------
    ColonyFrame

    Raises
    ------
    InputError
        ``colony-outline-odd``, ``outline-crosses-itself``; those of `add_frame`.
    """
    _require_outline(outline_px)
    with store.write():
        frame = add_frame(store, colony, photo, who)
        reference = reference_of(store, colony)
        wanted = replace(
            frame,
            is_reference=reference is None or reference.photo_id == frame.photo_id,
            outline_px=outline_px,
            outline_how="drawn",
            is_confirmed=True,
            carried_from=None,
            misfit_px=None,
            misfit_mm=None,
            n_matches=None,
            tie_points_px=(),
        )
        if wanted != frame:
            wanted = replace(wanted, observer=require_observer(store, who[0]), noted_at=who[1])
            store.save_colony_frame(wanted)
    return wanted


def carry_outline(
    bench: Bench,
    colony: Colony,
    photo: str,
    who: tuple[str, str],
    tie_points: TiePoints | None = None,
    seen: dict[str, Features] | None = None,
) -> Carried:
    """
    Carry a colony's outline from its reference photo to another; a person confirms it afterwards.

    Parameters
    ----------
    bench : Bench
        Its store is open for writing.
    colony : Colony
    photo : str
        File name or hash.
    who : (str, str)
        Observer and time.
    tie_points : sequence of pairs of points, optional
        Points of the reference photo and of this one, picked by hand; without them the photos
        are matched.
    seen : dict, optional
        What each photo shows, by its id: filled here, for whoever carries several outlines between
        the same photos.

    Returns
    -------
    Carried

    Raises
    ------
    InputError
        ``colony-no-outline``, ``colony-outline-kept``, ``align-no-match``, ``align-misfit``,
        ``align-too-few-points``; those of `add_frame` and of reading photos.
    """
    reference = reference_of(bench.store, colony)
    if reference is None:
        raise InputError(
            "colony-no-outline",
            f"{colony.label}: its outline is not drawn in any photo yet.",
            "Draw it in one good photo, the reference; then it can be carried to the others.",
        )
    found = one_photo(bench.store, photo)
    known = frame_of(bench.store, colony, found.photo_id)
    if known is not None and known.outline_how == "drawn":
        raise InputError(
            "colony-outline-kept",
            f"{colony.label}: its outline in this photo was drawn by hand, and is kept.",
            "Draw it anew if it lies wrong.",
        )
    outline = np.array(reference.outline_px)
    if tie_points is None:
        known_features = {} if seen is None else seen
        for photo_id in {reference.photo_id, found.photo_id} - known_features.keys():
            hidden = _card_corners(bench, photo_id)
            known_features[photo_id] = find_features(_upright(bench, photo_id), hidden)
        both = known_features[reference.photo_id], known_features[found.photo_id]
        alignment = align_features(*both, outline)
    else:
        alignment = align_by_points([a for a, _ in tie_points], [b for _, b in tie_points])
        require_close(alignment, outline)
    which = reference, found.photo_id
    return save_carried(bench.store, colony, which, (alignment, tie_points), who)


def save_carried(
    store: SurveyStore,
    colony: Colony,
    which: tuple[ColonyFrame, str],
    found: tuple[Alignment, TiePoints | None],
    who: tuple[str, str],
    *,
    is_seen: bool = False,
) -> Carried:
    """
    Save an outline where an alignment puts it.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    which : (ColonyFrame, str)
        The frame that it comes from, and the photo that it is carried to.
    found : (Alignment, sequence of pairs of points or None)
        The alignment, and the pairs picked by hand that it rests on: kept with the outline.
    who : (str, str)
        Observer and time.
    is_seen : bool
        A person saw it lie right before it was saved: it is confirmed.

    Returns
    -------
    Carried
    """
    (reference, photo_id), (alignment, tie_points) = which, found
    outline = alignment.carry(np.array(reference.outline_px))
    carried: Points = tuple((round(float(x), 2), round(float(y), 2)) for x, y in outline)
    (mm,) = mm_per_px(store, photo_id, [outline.mean(axis=0)])
    with store.write():
        frame = add_frame(store, colony, photo_id, who)
        wanted = replace(
            frame,
            outline_px=carried,
            outline_how="aligned" if tie_points is None else "tie_points",
            is_confirmed=is_seen,
            carried_from=reference.photo_id,
            misfit_px=round(alignment.misfit_px, 3),
            misfit_mm=None if mm is None else round(alignment.misfit_px * mm, 3),
            n_matches=alignment.n_pairs,
            tie_points_px=() if tie_points is None else _rounded(tie_points),
            observer=require_observer(store, who[0]),
            noted_at=who[1],
        )
        store.save_colony_frame(wanted)
    return Carried(frame=wanted, model=alignment.model)


def _rounded(pairs: TiePoints) -> TiePoints:
    """Points to a hundredth of a pixel, as outlines are kept."""

    def near(point: tuple[float, float]) -> tuple[float, float]:
        return round(float(point[0]), 2), round(float(point[1]), 2)

    return tuple((near(a), near(b)) for a, b in pairs)


def confirm_outline(
    store: SurveyStore, colony: Colony, photo: str, who: tuple[str, str]
) -> ColonyFrame:
    """
    Say that a carried outline was looked at and lies right.

    Raises
    ------
    InputError
        ``colony-no-outline``; those of finding a photo.
    """
    found = one_photo(store, photo)
    frame = frame_of(store, colony, found.photo_id)
    if frame is None or not frame.outline_px:
        raise InputError(
            "colony-no-outline",
            f"{colony.label}: this photo has no outline of it to confirm.",
            "Carry the outline to it or draw it there first.",
        )
    if frame.is_confirmed:
        return frame
    observer = require_observer(store, who[0])
    wanted = replace(frame, is_confirmed=True, observer=observer, noted_at=who[1])
    store.save_colony_frame(wanted)
    return wanted


def take_frame_away(store: SurveyStore, colony: Colony, photo: str) -> None:
    """
    Say that a photo does not show the colony; the change log keeps what was.

    Raises
    ------
    InputError
        ``colony-reference-needed`` where other outlines were carried from it.
    """
    found = one_photo(store, photo)
    frames = store.colony_frames(colony.organism_id)
    if any(f.carried_from == found.photo_id for f in frames):
        raise InputError(
            "colony-reference-needed",
            f"{colony.label}: outlines in other photos were carried from this one.",
            "Draw those anew, or take those photos away first.",
        )
    with store.write():
        was_reference = any(f.is_reference and f.photo_id == found.photo_id for f in frames)
        store.delete_colony_frame(colony.organism_id, found.photo_id)
        heirs = [f for f in frames if f.photo_id != found.photo_id and f.outline_how == "drawn"]
        if was_reference and heirs:
            store.save_colony_frame(replace(heirs[0], is_reference=True))


def _require_outline(outline_px: Points) -> None:
    """Refuse what is no outline."""
    flat = [v for point in outline_px for v in point]
    if len(outline_px) < 3 or not all(math.isfinite(v) for v in flat):
        raise InputError(
            "colony-outline-odd",
            f"An outline needs three or more points; {len(outline_px)} are given.",
            "Set points in order around the part of the colony that is to be followed.",
        )
    require_simple(np.array(outline_px, dtype=np.float64))


def _upright(bench: Bench, photo_id: str) -> NDArray[np.uint8]:
    """Read a photo upright, in codes of 8 bits."""
    photo = bench.store.photo(photo_id)
    assert photo is not None  # a frame's photo is on record
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    decoded = bench.reader.read(bench.vault.path_of(file.sha256, file.original_name))
    pixels = upright_view(decoded.pixels, decoded.metadata.orientation)
    if pixels.dtype == np.uint16:
        return np.asarray(pixels >> 8, dtype=np.uint8)
    return np.array(pixels, dtype=np.uint8)


def _card_corners(bench: Bench, photo_id: str) -> list[NDArray[np.float64]]:
    """Where the card lies in a photo: it moves with the diver."""
    row = bench.store.correction(photo_id)
    geometry: Mapping[str, Any] = {} if row is None else row.geometry
    corners = geometry.get("corners_px")
    return [] if not corners else [np.asarray(corners, dtype=np.float64).reshape(-1, 2)]


def mm_per_px(
    store: SurveyStore, photo_id: str, points: Sequence[Sequence[float]]
) -> list[float | None]:
    """
    Return millimetres of the card's plane a pixel at points of a photo; None without a scale.

    Parameters
    ----------
    store : SurveyStore
    photo_id : str
    points : sequence of (float, float)

    Returns
    -------
    list of float or None
    """
    row = store.correction(photo_id)
    plane = None if row is None else geometry_from_dict(row.geometry)
    found: list[float | None] = []
    for point in points:
        try:
            per_px = None if plane is None else apply_plane(plane, [point]).per_px[0]
        except InputError:
            per_px = None
        area = None if per_px is None else abs(float(np.linalg.det(per_px)))
        found.append(None if area is None or not math.isfinite(area) else math.sqrt(area))
    return found
