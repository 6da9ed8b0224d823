"""
What an Exif block says of a photo: time, camera, exposure, place, depth.

A value that cannot be right (month 0, a fraction over zero, a latitude of 400 degrees) is
unknown, never repaired. Tag numbers and meanings: CIPA DC-008-2019 (Exif 2.32).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

from dryslate.formats.exif import (
    COLOUR_SPACE,
    INTEROP_INDEX,
    ORIENTATION,
    SRATIONAL,
    Directory,
    Entry,
    ExifTree,
    numbers_of,
    text_of,
)

_MAKE, _MODEL = 0x010F, 0x0110
_EXPOSURE, _F_NUMBER, _ISO, _REI, _ISO_SPEED = 0x829A, 0x829D, 0x8827, 0x8832, 0x8833
_FLASH, _FOCAL, _WATER_DEPTH = 0x9209, 0x920A, 0x9403
_PIXELS_X, _PIXELS_Y = 0xA002, 0xA003
_PLANE_X, _PLANE_Y, _PLANE_UNIT = 0xA20E, 0xA20F, 0xA210
_WHITE_BALANCE, _ZOOM, _FOCAL_35 = 0xA403, 0xA404, 0xA405
_SERIAL, _LENS = 0xA431, 0xA434
#: Time, its offset and its fraction: when the picture was taken, else when it was digitised.
_TIMES = ((0x9003, 0x9011, 0x9291), (0x9004, 0x9012, 0x9292))
_GPS_LAT, _GPS_LON, _GPS_STATUS = (0x0001, 0x0002), (0x0003, 0x0004), 0x0009

_TIME = re.compile(r"(\d{4})[:/-](\d{2})[:/-](\d{2})[ T](\d{2}):(\d{2}):(\d{2})")
_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})")
_UNIT_MM = {2: 25.4, 3: 10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExifFacts:
    """
    What the block says; every field may be unknown.

    Parameters
    ----------
    taken_local, utc_offset : str or None
        Camera clock as written (ISO 8601, no offset) and the offset stated for this very time.
    camera_make, camera_model, camera_serial, lens_model : str or None
    focal_mm, focal_35mm_mm : float or None
        The second also from the sensor's size where the file states that and it makes sense.
    exposure_s, f_number, iso : float or None
    flash_fired, white_balance_fixed : bool or None
    zoom_ratio : float or None
        Digital zoom; 1 where the file says that none was used.
    latitude_deg, longitude_deg : float or None
    water_depth_m : float or None
    orientation : int
        1 where absent or not 1 to 8.
    colour_space : int or None
        1 sRGB, 65535 uncalibrated, 2 written by some cameras for the wide space.
    is_optional_space : bool
        Whether the file marks the optional wide colour space of the camera file rules.
    """

    taken_local: str | None = None
    utc_offset: str | None = None
    camera_make: str | None = None
    camera_model: str | None = None
    camera_serial: str | None = None
    lens_model: str | None = None
    focal_mm: float | None = None
    focal_35mm_mm: float | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    flash_fired: bool | None = None
    white_balance_fixed: bool | None = None
    zoom_ratio: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    water_depth_m: float | None = None
    orientation: int = 1
    colour_space: int | None = None
    is_optional_space: bool = False


def facts_from_exif(tree: ExifTree) -> ExifFacts:
    """
    Gather what the directories say.

    Parameters
    ----------
    tree : ExifTree
        As `parse_exif` returns it.

    Returns
    -------
    ExifFacts
    """
    order, exif = tree.order, tree.exif
    taken_local, utc_offset = _time(exif)
    flash = _whole(exif, _FLASH, order)
    balance = _whole(exif, _WHITE_BALANCE, order)
    colour_space = _whole(exif, COLOUR_SPACE, order)
    orientation = _whole(tree.main, ORIENTATION, order)
    latitude, longitude = _place(tree)
    return ExifFacts(
        taken_local=taken_local,
        utc_offset=utc_offset,
        camera_make=text_of(tree.main.get(_MAKE)),
        camera_model=text_of(tree.main.get(_MODEL)),
        camera_serial=text_of(exif.get(_SERIAL)),
        lens_model=text_of(exif.get(_LENS)),
        focal_mm=_positive(exif, _FOCAL, order),
        focal_35mm_mm=_positive(exif, _FOCAL_35, order) or _focal_35mm_mm(exif, order),
        exposure_s=_positive(exif, _EXPOSURE, order),
        f_number=_positive(exif, _F_NUMBER, order),
        iso=_iso(exif, order),
        flash_fired=None if flash is None else bool(flash & 1),
        white_balance_fixed=None if balance not in (0, 1) else balance == 1,
        zoom_ratio=_zoom(exif, order),
        latitude_deg=latitude,
        longitude_deg=longitude,
        water_depth_m=_water_depth_m(exif.get(_WATER_DEPTH), order),
        orientation=orientation if orientation is not None and 1 <= orientation <= 8 else 1,
        colour_space=colour_space,
        is_optional_space=colour_space in (2, 65535)
        and (colour_space == 2 or text_of(tree.interop.get(INTEROP_INDEX)) == "R03"),
    )


def utc_of(taken_local: str | None, utc_offset: str | None) -> str | None:
    """
    Return a camera time in UTC; None where no offset is stated.

    Parameters
    ----------
    taken_local : str or None
        ISO 8601 without offset.
    utc_offset : str or None
        ``+HH:MM`` or ``-HH:MM``.

    Returns
    -------
    str or None
        ISO 8601 with ``Z``.

    Examples
    --------
    >>> utc_of("2024-03-05T07:08:09", "+10:00")
    '2024-03-04T21:08:09Z'
    """
    found = _OFFSET.fullmatch(utc_offset or "")
    if taken_local is None or found is None:
        return None
    sign, hours, minutes = found.groups()
    delta = timedelta(hours=int(hours), minutes=int(minutes))
    zone = timezone(delta if sign == "+" else -delta)
    then = datetime.fromisoformat(taken_local).replace(tzinfo=zone).astimezone(UTC)
    return then.replace(tzinfo=None).isoformat() + "Z"


def _time(exif: Directory) -> tuple[str | None, str | None]:
    """Return the time the picture was taken and its offset, each None where not valid."""
    for tag, offset_tag, fraction_tag in _TIMES:
        found = _TIME.match(text_of(exif.get(tag)) or "")
        if found is None:
            continue
        try:
            when = datetime(*(int(part) for part in found.groups()))  # type: ignore[arg-type]  # six ints
        except ValueError:
            continue
        fraction = (text_of(exif.get(fraction_tag)) or "").strip()
        local = when.isoformat()
        if fraction.isdigit() and fraction.isascii():
            local += f".{fraction[:6]:0<3}" if len(fraction) <= 3 else f".{fraction[:6]:0<6}"
        return local, _offset(text_of(exif.get(offset_tag)))
    return None, None


def _offset(text: str | None) -> str | None:
    """Return an offset as ``+HH:MM``, None where it is not one."""
    if text == "Z":
        return "+00:00"
    found = _OFFSET.fullmatch(text or "")
    if found is None or int(found[2]) > 14 or int(found[3]) > 59:
        return None
    return found[0]


def _number(directory: Directory, tag: int, order: str) -> float | None:
    """Return the first value of an entry if it is a finite number."""
    values = numbers_of(directory.get(tag), order)
    if not values or values[0] is None or not math.isfinite(values[0]):
        return None
    return float(values[0])


def _positive(directory: Directory, tag: int, order: str) -> float | None:
    """Return the first value if it is above zero (zero stands for unknown)."""
    value = _number(directory, tag, order)
    return value if value is not None and value > 0 else None


def _whole(directory: Directory, tag: int, order: str) -> int | None:
    """Return the first value as a whole number."""
    value = _number(directory, tag, order)
    return None if value is None else int(value)


def _iso(exif: Directory, order: str) -> float | None:
    """Return the sensitivity; 65535 in the old tag sends to the newer ones."""
    value = _positive(exif, _ISO, order)
    if value is not None and value < 65535:
        return value
    return _positive(exif, _ISO_SPEED, order) or _positive(exif, _REI, order)


def _zoom(exif: Directory, order: str) -> float | None:
    """Return the digital zoom ratio; a numerator of zero means that none was used."""
    value = _number(exif, _ZOOM, order)
    if value is None or value < 0:
        return None
    return value or 1.0


def _focal_35mm_mm(exif: Directory, order: str) -> float | None:
    """Return the focal length on a 36 x 24 mm frame (equal diagonals), from the sensor's size."""
    focal = _positive(exif, _FOCAL, order)
    unit = _UNIT_MM.get(_whole(exif, _PLANE_UNIT, order) or 2)
    sizes = [_positive(exif, tag, order) for tag in (_PIXELS_X, _PLANE_X, _PIXELS_Y, _PLANE_Y)]
    if focal is None or unit is None or None in sizes:
        return None
    n_x, per_unit_x, n_y, per_unit_y = (float(size or 0.0) for size in sizes)
    width_mm, height_mm = n_x / per_unit_x * unit, n_y / per_unit_y * unit
    diagonal_mm = math.hypot(width_mm, height_mm)
    if not 4.0 <= diagonal_mm <= 60.0 or abs(width_mm * n_y / (height_mm * n_x) - 1) > 0.02:
        return None
    return focal * math.hypot(36.0, 24.0) / diagonal_mm


def _place(tree: ExifTree) -> tuple[float | None, float | None]:
    """Return latitude and longitude; both or none."""
    if text_of(tree.gps.get(_GPS_STATUS)) == "V":
        return None, None
    latitude = _degrees(tree, _GPS_LAT, ("N", "S"), 90.0)
    longitude = _degrees(tree, _GPS_LON, ("E", "W"), 180.0)
    if latitude is None or longitude is None or (latitude == 0.0 and longitude == 0.0):
        return None, None
    return latitude, longitude


def _degrees(
    tree: ExifTree, tags: tuple[int, int], refs: tuple[str, str], limit: float
) -> float | None:
    """Return signed degrees from degrees, minutes and seconds with their reference."""
    ref = (text_of(tree.gps.get(tags[0])) or "").upper()[:1]
    parts = numbers_of(tree.gps.get(tags[1]), tree.order)
    if ref not in refs or not 1 <= len(parts) <= 3:
        return None
    value = 0.0
    for part, unit in zip(parts, (1.0, 60.0, 3600.0), strict=False):
        if part is None or part < 0 or not math.isfinite(part):
            return None
        value += part / unit
    return None if value > limit else (-value if ref == refs[1] else value)


def _water_depth_m(entry: Entry | None, order: str) -> float | None:
    """Return the depth under water; a denominator of all ones means unknown."""
    if entry is not None and entry.type_code == SRATIONAL and entry.raw[4:8] == b"\xff\xff\xff\xff":
        return None
    values = numbers_of(entry, order)
    value = values[0] if values else None
    return None if value is None or not 0.0 <= value <= 12_000.0 else float(value)
