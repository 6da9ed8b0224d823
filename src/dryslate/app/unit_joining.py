"""Photos joined to units by time: what follows a slate belongs to it, until a gap or the next."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from dryslate.app.records import Photo
from dryslate.app.shots import camera_key, taken_time
from dryslate.app.unit_records import UnitPhoto
from dryslate.base.errors import InputError

GAP_MIN = 10.0
"""A pause longer than this, in minutes, ends what follows a slate: a usual value, settable."""

LONGEST_GAP_MIN = 24 * 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """
    Photos of one camera that follow each other in one unit, or in none, without a long gap.

    Parameters
    ----------
    camera : str
    unit_id : str or None
    photos : tuple of Photo
        In the order of their times; those set aside are left out.
    slates : tuple of str
        Those of them that show a slate.
    begin, end : datetime
        True local times of the first and the last.
    gap_before_min : float or None
        The gap before it, where it is longer than the limit.
    """

    camera: str
    unit_id: str | None
    photos: tuple[Photo, ...]
    slates: tuple[str, ...]
    begin: datetime
    end: datetime
    gap_before_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraStrip:
    """One camera's photos of a visit along the time, and those that state no time."""

    camera: str
    stretches: tuple[Stretch, ...]
    without_time: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """Where a gap ended what followed a slate: the unit, the photos on both sides, and how long."""

    camera: str
    unit_id: str
    last: str
    next: str
    gap_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinPlan:
    """
    What joining by time would do.

    Parameters
    ----------
    gap_min : float
        The limit it was made with.
    changes : Mapping of str to UnitPhoto or None
        By photo, only where something changes; None lets it belong to no unit.
    breaks : tuple of Break
    before_first, after_break, without_time : tuple of str
        Photos that are left without a unit: taken before the camera's first slate, after a gap, or
        without a time.
    slates_without_time : tuple of str
        Slates that can start nothing.
    n_by_hand : int
        Photos that stay as somebody said.
    """

    gap_min: float
    changes: Mapping[str, UnitPhoto | None]
    breaks: tuple[Break, ...]
    before_first: tuple[str, ...]
    after_break: tuple[str, ...]
    without_time: tuple[str, ...]
    slates_without_time: tuple[str, ...]
    n_by_hand: int

    @property
    def key(self) -> str:
        """Return a text that differs where what would change differs."""
        told = sorted((k, None if j is None else j.unit_id) for k, j in self.changes.items())
        return hashlib.sha256(json.dumps([self.gap_min, told]).encode()).hexdigest()[:32]


def require_gap(gap_min: float) -> float:
    """
    Return a limit that can be used.

    Raises
    ------
    InputError
        ``unit-gap``.
    """
    if not 0.0 < gap_min <= LONGEST_GAP_MIN:
        raise InputError(
            "unit-gap",
            f"A gap of {gap_min:g} minutes cannot be the limit (expected above 0, up to "
            f"{LONGEST_GAP_MIN:g}).",
            "Give the longest pause within a unit, in minutes; 10 is usual.",
        )
    return gap_min


def true_time(photo: Photo) -> datetime | None:
    """Return the local time of a photo, its clock's error taken out where that is known."""
    if photo.taken_corrected is not None:
        return datetime.fromisoformat(photo.taken_corrected).replace(tzinfo=None)
    return taken_time(photo.metadata)


def camera_strips(
    photos: Iterable[Photo],
    joins: Mapping[str, UnitPhoto],
    aside: Collection[str],
    gap_min: float = GAP_MIN,
) -> tuple[CameraStrip, ...]:
    """
    Cut the photos of a visit into stretches, camera by camera.

    Parameters
    ----------
    photos : iterable of Photo
        Of one visit, in the order taken.
    joins : Mapping
        Which unit each belongs to, by photo.
    aside : collection of str
        Photos set aside.
    gap_min : float
        Gaps longer than this end a stretch.

    Returns
    -------
    tuple of CameraStrip
    """
    found = []
    for camera, (timed, without) in _by_camera(p for p in photos if p.photo_id not in aside):
        cuts = [0]
        for at, ((one, _), (other, _)) in enumerate(pairwise(timed), 1):
            is_same = _unit_of(joins, one) == _unit_of(joins, other)
            if not is_same or _gap(timed, at) > gap_min:
                cuts.append(at)
        stretches = tuple(
            _stretch(camera, timed, (begin, end), joins, gap_min)
            for begin, end in pairwise([*cuts, len(timed)])
            if end > begin
        )
        found.append(CameraStrip(camera=camera, stretches=stretches, without_time=tuple(without)))
    return tuple(found)


def plan_joins(
    photos: Iterable[Photo],
    joins: Mapping[str, UnitPhoto],
    aside: Collection[str],
    gap_min: float = GAP_MIN,
) -> JoinPlan:
    """
    Work out which unit each photo belongs to by its time.

    Parameters
    ----------
    photos : iterable of Photo
        Of one visit, in the order taken.
    joins : Mapping
        What holds now, by photo.
    aside : collection of str
        Photos set aside: nothing is said of them, and they bridge no gap. A slate among them
        starts its unit all the same.
    gap_min : float

    Returns
    -------
    JoinPlan

    Raises
    ------
    InputError
        ``unit-gap``.

    Notes
    -----
    Each camera is gone through by itself. What somebody said by hand stays, and so do slates.
    """
    walk = _Walk(joins, aside, require_gap(gap_min))
    for camera, (timed, without) in _by_camera(photos):
        walk.go(camera, timed)
        for photo in without:
            walk.pass_by(photo)
    return walk.plan()


class _Walk:
    """Going through a visit's photos in the order of their times."""

    def __init__(
        self, joins: Mapping[str, UnitPhoto], aside: Collection[str], gap_min: float
    ) -> None:
        self.joins, self.aside, self.gap_min = joins, aside, gap_min
        self.changes: dict[str, UnitPhoto | None] = {}
        self.breaks: list[Break] = []
        self.before_first: list[str] = []
        self.after_break: list[str] = []
        self.without_time: list[str] = []
        self.slates_without_time: list[str] = []
        self.n_by_hand = 0

    def go(self, camera: str, timed: Sequence[tuple[Photo, datetime]]) -> None:
        """Go through one camera's photos."""
        unit: str | None = None
        last: tuple[Photo, datetime] | None = None
        left = self.before_first
        for photo, time in timed:
            join = self.joins.get(photo.photo_id)
            if join is not None and join.how == "slate":
                unit, last = join.unit_id, (photo, time)
                continue
            if photo.photo_id in self.aside:
                continue
            if unit is not None and last is not None:
                gap = (time - last[1]).total_seconds() / 60.0
                if gap > self.gap_min:
                    self._note_break(camera, unit, (last[0], photo), gap)
                    unit, left = None, self.after_break
            if join is not None and join.how == "hand":
                self.n_by_hand += 1
                if join.unit_id == unit:
                    last = (photo, time)
                continue
            if unit is not None:
                last = (photo, time)
            else:
                left.append(photo.photo_id)
            self._set(photo, unit)

    def pass_by(self, photo: Photo) -> None:
        """Look at a photo that states no time."""
        join = self.joins.get(photo.photo_id)
        if join is not None and join.how == "slate":
            self.slates_without_time.append(photo.photo_id)
        elif join is not None and join.how == "hand":
            self.n_by_hand += 1
        elif photo.photo_id not in self.aside:
            self.without_time.append(photo.photo_id)
            self._set(photo, None)

    def plan(self) -> JoinPlan:
        """Return what was worked out."""
        return JoinPlan(
            gap_min=self.gap_min,
            changes=self.changes,
            breaks=tuple(self.breaks),
            before_first=tuple(self.before_first),
            after_break=tuple(self.after_break),
            without_time=tuple(self.without_time),
            slates_without_time=tuple(self.slates_without_time),
            n_by_hand=self.n_by_hand,
        )

    def _note_break(self, camera: str, unit: str, sides: tuple[Photo, Photo], gap: float) -> None:
        """Write down where a gap ended what followed a slate."""
        ids = [photo.photo_id for photo in sides]
        self.breaks.append(
            Break(camera=camera, unit_id=unit, last=ids[0], next=ids[1], gap_min=gap)
        )

    def _set(self, photo: Photo, unit: str | None) -> None:
        """Write down what a photo belongs to by its time, where that is something else now."""
        now = self.joins.get(photo.photo_id)
        if (now.unit_id if now is not None else None) == unit:
            return
        self.changes[photo.photo_id] = (
            None
            if unit is None
            else UnitPhoto(photo_id=photo.photo_id, unit_id=unit, how="time", gap_min=self.gap_min)
        )


def _by_camera(
    photos: Iterable[Photo],
) -> Iterable[tuple[str, tuple[list[tuple[Photo, datetime]], list[Photo]]]]:
    """Sort photos by camera, each with its time; those without one apart."""
    found: dict[str, tuple[list[tuple[Photo, datetime]], list[Photo]]] = {}
    for photo in photos:
        timed, without = found.setdefault(camera_key(photo.metadata), ([], []))
        time = true_time(photo)
        timed.append((photo, time)) if time is not None else without.append(photo)
    for timed, _ in found.values():
        timed.sort(key=lambda pair: pair[1])
    return sorted(found.items(), key=_first_time)


def _first_time(
    entry: tuple[str, tuple[list[tuple[Photo, datetime]], list[Photo]]],
) -> tuple[datetime, str]:
    """Cameras come in the order of their first photos."""
    camera, (timed, _) = entry
    return (timed[0][1] if timed else datetime.max), camera


def _gap(timed: Sequence[tuple[Photo, datetime]], at: int) -> float:
    """Minutes between a photo and the one before it."""
    return (timed[at][1] - timed[at - 1][1]).total_seconds() / 60.0


def _unit_of(joins: Mapping[str, UnitPhoto], photo: Photo) -> str | None:
    """The unit a photo belongs to now."""
    join = joins.get(photo.photo_id)
    return None if join is None else join.unit_id


def _stretch(
    camera: str,
    timed: Sequence[tuple[Photo, datetime]],
    ends: tuple[int, int],
    joins: Mapping[str, UnitPhoto],
    gap_min: float,
) -> Stretch:
    """Put one stretch together."""
    begin, end = ends
    part = timed[begin:end]
    gap = _gap(timed, begin) if begin else 0.0
    slate: Callable[[str], bool] = lambda i: i in joins and joins[i].how == "slate"  # noqa: E731
    return Stretch(
        camera=camera,
        unit_id=_unit_of(joins, part[0][0]),
        photos=tuple(photo for photo, _ in part),
        slates=tuple(p.photo_id for p, _ in part if slate(p.photo_id)),
        begin=part[0][1],
        end=part[-1][1],
        gap_before_min=gap if gap > gap_min else None,
    )
