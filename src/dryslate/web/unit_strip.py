"""The time strip of a visit: one band a stretch of photos, one line a camera, gaps between."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dryslate.app.unit_joining import GAP_MIN, CameraStrip, Stretch, camera_strips, true_time
from dryslate.app.unit_records import Unit, UnitPhoto

if TYPE_CHECKING:
    from dryslate.app.records import Photo

PX_A_MIN = 12.0
NARROWEST_PX = 116
WIDEST_PX = 720


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """
    One stretch as the strip shows it.

    Parameters
    ----------
    first : str
        Its first photo, by which the stretch is named in addresses.
    unit : Unit or None
    slates : tuple of str
    n_photos : int
        Without the slates.
    begin, end : str
        Times of the day, ``HH:MM``.
    gap_min : float or None
        The gap before it, where it is longer than the limit.
    width_px : int
    ticks : tuple of (float, bool)
        Where each photo stands, and whether it shows a slate.
    address : str
        The list of its photos.
    is_chosen : bool
        Whether the list shows just these.
    """

    first: str
    unit: Unit | None
    slates: tuple[str, ...]
    n_photos: int
    begin: str
    end: str
    gap_min: float | None
    width_px: int
    ticks: tuple[tuple[float, bool], ...]
    address: str
    is_chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One camera's bands, and how many of its photos state no time."""

    camera: str
    bands: tuple[Band, ...]
    n_without_time: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRows:
    """
    What a strip is made from.

    Parameters
    ----------
    visit_id : str
    photos : tuple of Photo
    units : Mapping of str to Unit
    joins : Mapping of str to UnitPhoto
    aside : collection of str
    gap_min : float
    """

    visit_id: str
    photos: tuple[Photo, ...]
    units: Mapping[str, Unit]
    joins: Mapping[str, UnitPhoto]
    aside: Collection[str]
    gap_min: float = GAP_MIN

    def cameras(self) -> tuple[CameraStrip, ...]:
        """Return the stretches, camera by camera."""
        return camera_strips(self.photos, self.joins, self.aside, self.gap_min)

    def stretch(self, first: str) -> frozenset[str] | None:
        """Return the photos of the stretch that begins with a photo; None where none does."""
        for camera in self.cameras():
            for stretch in camera.stretches:
                if stretch.photos[0].photo_id == first:
                    return frozenset(photo.photo_id for photo in stretch.photos)
        return None


def strip_lines(rows: StripRows, chosen: str = "") -> list[Line]:
    """
    Lay the strip out.

    Parameters
    ----------
    rows : StripRows
    chosen : str
        Unit, or first photo of a stretch, that the list shows now.
    """
    return [
        Line(
            camera=camera.camera,
            bands=tuple(_band(rows, stretch, chosen) for stretch in camera.stretches),
            n_without_time=len(camera.without_time),
        )
        for camera in rows.cameras()
    ]


def _band(rows: StripRows, stretch: Stretch, chosen: str) -> Band:
    """Lay one stretch out."""
    minutes = (stretch.end - stretch.begin).total_seconds() / 60.0
    width = round(min(WIDEST_PX, max(NARROWEST_PX, minutes * PX_A_MIN)))
    first = stretch.photos[0].photo_id
    unit = rows.units.get(stretch.unit_id or "")
    key = {"unit": unit.unit_id} if unit is not None else {"stretch": first}
    (told,) = key.values()
    return Band(
        first=first,
        unit=unit,
        slates=stretch.slates,
        n_photos=len(stretch.photos) - len(stretch.slates),
        begin=f"{stretch.begin:%H:%M}",
        end=f"{stretch.end:%H:%M}",
        gap_min=stretch.gap_before_min,
        width_px=width,
        ticks=tuple(_ticks(stretch, minutes, width)),
        address="/photos?" + urlencode({"visit": rows.visit_id, **key}) + "#photos",
        is_chosen=bool(chosen) and chosen == told,
    )


def _ticks(stretch: Stretch, minutes: float, width: int) -> Iterable[tuple[float, bool]]:
    """Say where each photo of a stretch stands."""
    for photo in stretch.photos:
        time = true_time(photo) or stretch.begin
        share = _share(time, stretch.begin, minutes)
        yield round(3.0 + share * (width - 8.0), 1), photo.photo_id in stretch.slates


def _share(time: datetime, begin: datetime, minutes: float) -> float:
    """How far along a stretch a time lies, 0 to 1."""
    return (time - begin).total_seconds() / 60.0 / minutes if minutes > 0 else 0.0
