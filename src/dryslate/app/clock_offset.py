"""Set how wrong a camera's clock was on a visit, from a photo of a clock or as a number."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from dryslate.app.ports import SurveyStore
from dryslate.app.project_photos import photos_called
from dryslate.app.project_records import ClockOffset
from dryslate.app.records import Photo
from dryslate.app.shots import MOST_OFFSET_S, camera_key, taken_time
from dryslate.app.visits import find_visit
from dryslate.base.errors import InputError, SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockRequest:
    """
    What is known of a camera's clock.

    Parameters
    ----------
    site, date : str
        The visit.
    photo : str or None
        Name or hash of a photo of a clock, with `shows`.
    shows : str or None
        The time that clock shows in the photo: ``YYYY-MM-DDTHH:MM:SS``, with ``+HH:MM`` or
        ``Z`` where its offset from UTC is known; ``HH:MM:SS`` alone is on the visit's date.
    camera : str or None
        The camera, with `offset_s`; may be left out where the visit has one camera only.
    offset_s : float or None
        Seconds to add to the camera's clock.
    replace : bool
        Whether an offset that is set already may be replaced.
    """

    site: str
    date: str
    photo: str | None = None
    shows: str | None = None
    camera: str | None = None
    offset_s: float | None = None
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockReport:
    """The offset that holds now and how many photos it moves."""

    offset: ClockOffset
    n_photos: int

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "visit_id": self.offset.visit_id,
            "camera": self.offset.camera,
            "offset_s": self.offset.offset_s,
            "utc_offset": self.offset.utc_offset,
            "photo_id": self.offset.photo_id,
            "shown": self.offset.shown,
            "n_photos": self.n_photos,
        }

    def words(self) -> str:
        """Say what was set."""
        return (
            f"{self.offset.camera}: {self.offset.offset_s:+g} s for {self.n_photos} photos of "
            f"{self.offset.visit_id}."
        )


def set_clock(store: SurveyStore, request: ClockRequest) -> ClockReport:
    """
    Set a camera's clock offset for a visit; the times in the photos stay as they are.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    request : ClockRequest

    Returns
    -------
    ClockReport

    Raises
    ------
    SettingsError
        ``clock-what`` unless photo and time, or an offset, are given.
    InputError
        ``visit-unknown``, ``photo-unknown``, ``photo-ambiguous``, ``photo-without-time``,
        ``clock-time``, ``camera-unknown``, ``clock-already-set``.
    """
    report = read_clock(store, request)
    offset = report.offset
    for old in store.clock_offsets(offset.visit_id):
        if old.camera != offset.camera or old == offset:
            continue
        if not request.replace:
            raise InputError(
                "clock-already-set",
                f"The clock of {offset.camera} is set for {offset.visit_id} already "
                f"({old.offset_s:+g} s; now {offset.offset_s:+g} s was given).",
                "Nothing was changed; say --replace if the earlier one was wrong.",
            )
    store.save_clock_offset(offset)
    return report


def read_clock(store: SurveyStore, request: ClockRequest) -> ClockReport:
    """
    Reckon a camera's clock offset without storing it.

    Parameters
    ----------
    store : SurveyStore
    request : ClockRequest

    Returns
    -------
    ClockReport

    Raises
    ------
    SettingsError
        ``clock-what`` unless photo and time, or an offset, are given.
    InputError
        As `set_clock`, but for ``clock-already-set``.
    """
    visit = find_visit(store, request.site, request.date)
    photos = store.photos(visit.visit_id)
    if request.photo is not None and request.shows is not None and request.offset_s is None:
        offset = _from_photo(visit.visit_id, visit.date, photos, request)
    elif request.offset_s is not None and request.photo is None and request.shows is None:
        offset = _from_number(visit.visit_id, photos, request)
    else:
        raise SettingsError(
            "clock-what",
            "A clock is set either by --photo and --shows, or by --offset-s.",
            "Give the name of a photo of a clock and the time it shows.",
        )
    n = sum(camera_key(p.metadata) == offset.camera for p in photos)
    return ClockReport(offset=offset, n_photos=n)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeMoved:
    """A photo's time of the camera, and what it is after the clock is set; both local."""

    photo_id: str
    name: str
    before: str
    after: str


def times_moved(store: SurveyStore, offset: ClockOffset) -> tuple[TimeMoved, ...]:
    """
    Return what setting a clock does to the photos of its camera.

    Parameters
    ----------
    store : SurveyStore
    offset : ClockOffset

    Returns
    -------
    tuple of TimeMoved
        In the order the camera gives; photos without a time are left out.
    """
    moved = []
    for photo in store.photos(offset.visit_id):
        taken = taken_time(photo.metadata)
        if taken is None or camera_key(photo.metadata) != offset.camera:
            continue
        moved.append(
            TimeMoved(
                photo_id=photo.photo_id,
                name=photo.files[0].original_name,
                before=taken.isoformat(sep=" ", timespec="seconds"),
                after=(taken + timedelta(seconds=offset.offset_s)).isoformat(
                    sep=" ", timespec="seconds"
                ),
            )
        )
    return tuple(sorted(moved, key=lambda m: m.before))


def find_photo(photos: tuple[Photo, ...], name: str) -> Photo:
    """
    Find one photo by its name on the memory card or the beginning of its hash.

    Raises
    ------
    InputError
        ``photo-unknown``, ``photo-ambiguous``.
    """
    found = photos_called(photos, name)
    if not found:
        raise InputError(
            "photo-unknown",
            f"There is no photo {name!r} among these {len(photos)}.",
            "Give its name on the memory card, or the first 8 or more digits of its hash.",
        )
    if len(found) > 1:
        hashes = ", ".join(photo.photo_id[:12] for photo in found)
        raise InputError(
            "photo-ambiguous",
            f"{len(found)} photos are called {name!r}: {hashes}.",
            "Give the first digits of the hash instead of the name.",
        )
    return found[0]


def _from_photo(
    visit_id: str, date: str, photos: tuple[Photo, ...], request: ClockRequest
) -> ClockOffset:
    """Compare the time a clock shows in a photo with the time the camera wrote."""
    photo = find_photo(photos, request.photo or "")
    camera = camera_key(photo.metadata)
    if request.camera is not None and request.camera != camera:
        raise _camera_unknown(request.camera, [camera])
    taken = taken_time(photo.metadata)
    if taken is None:
        raise InputError(
            "photo-without-time",
            f"{request.photo}: states no time, so its clock cannot be compared.",
            "Choose another photo of a clock, or give --offset-s.",
        )
    shown = _shown_time(request.shows or "", date)
    local = shown.replace(tzinfo=None)
    utc_offset = shown.isoformat()[-6:] if shown.tzinfo is not None else None
    return ClockOffset(
        visit_id=visit_id,
        camera=camera,
        offset_s=(local - taken).total_seconds(),
        utc_offset=utc_offset,
        photo_id=photo.photo_id,
        shown=request.shows,
    )


def _from_number(visit_id: str, photos: tuple[Photo, ...], request: ClockRequest) -> ClockOffset:
    """Take the offset as given, for the one camera or the one named."""
    cameras = sorted({camera_key(photo.metadata) for photo in photos})
    camera = request.camera
    if camera is None and len(cameras) == 1:
        camera = cameras[0]
    if camera is None or camera not in cameras:
        raise _camera_unknown(camera, cameras)
    offset_s = float(request.offset_s or 0.0)
    if not abs(offset_s) <= MOST_OFFSET_S:
        raise InputError(
            "clock-time",
            f"An offset of {offset_s:g} s: no clock is off by more than a hundred years.",
            "Give seconds to add to the camera's clock.",
        )
    return ClockOffset(visit_id=visit_id, camera=camera, offset_s=offset_s)


def _shown_time(text: str, date: str) -> datetime:
    """Read the time a clock shows; without a date it is on the visit's."""
    words = text.strip()
    if len(words) <= 8 and ":" in words:
        words = f"{date}T{words.zfill(8) if words.count(':') == 2 else words.zfill(5)}"
    try:
        return datetime.fromisoformat(words)
    except ValueError as error:
        raise _bad_time(text) from error


def _bad_time(text: str) -> InputError:
    """Say that a time cannot be read."""
    return InputError(
        "clock-time",
        f"{text!r} is no time (expected 2026-03-14T09:30:00, 2026-03-14T09:30:00+07:00 or "
        "09:30:00).",
        "Give the time that the clock shows in the photo.",
    )


def _camera_unknown(camera: str | None, cameras: list[str]) -> InputError:
    """Say which cameras a visit has."""
    there = "; ".join(cameras) or "none"
    what = f"the camera {camera!r} took no photo" if camera else "it is not clear which camera"
    return InputError(
        "camera-unknown",
        f"On this visit {what} (cameras: {there}).",
        "Name one of them with --camera.",
    )
