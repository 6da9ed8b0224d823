"""What the made-up trip writes: photos with Exif as cameras write it, the truth, and points."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from dryslate.demo.trip_plan import FOCAL_35MM, TripVisit
from dryslate.demo.trip_shots import Shot
from dryslate.formats.exif import ExifTree
from dryslate.formats.exif_edit import format_exif, numbers_entry, text_entry

_SHORT, _RATIONAL, _SRATIONAL = 3, 5, 10

_STORED: dict[int, tuple[int, bool]] = {1: (0, False), 3: (2, False), 6: (1, False), 8: (3, False)}


def stored_pixels(img_srgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn an upright picture to how a camera held that way stores it (1, 3, 6 or 8)."""
    turns, _ = _STORED[orientation]
    return np.ascontiguousarray(np.rot90(img_srgb, turns))


def exif_block(visit: TripVisit, shot: Shot, depth_m: float) -> bytes:
    """The Exif block that the visit's camera writes for a shot."""
    camera = visit.camera
    start = datetime.fromisoformat(f"{visit.date}T{visit.start}")
    taken = (start + timedelta(seconds=round(60.0 * shot.minute))).strftime("%Y:%m:%d %H:%M:%S")
    fixed = camera.white_balance.mode != "auto"
    main = {
        0x010F: text_entry(camera.make),
        0x0110: text_entry(camera.model),
        0x0112: numbers_entry(_SHORT, (shot.orientation,)),
    }
    exif = {
        0x829A: numbers_entry(_RATIONAL, (1, 125)),
        0x829D: numbers_entry(_RATIONAL, (56, 10)),
        0x8827: numbers_entry(_SHORT, (200,)),
        0x9003: text_entry(taken),
        0x9004: text_entry(taken),
        0x9209: numbers_entry(_SHORT, (1 if shot.flash else 16,)),
        0x920A: numbers_entry(_RATIONAL, (60, 10)),
        0xA001: numbers_entry(_SHORT, (1,)),
        0xA403: numbers_entry(_SHORT, (1 if fixed else 0,)),
        0xA404: numbers_entry(_RATIONAL, (1, 1)),
        0xA405: numbers_entry(_SHORT, (FOCAL_35MM,)),
        0xA431: text_entry(camera.serial),
        0xA434: text_entry("Made-up fixed lens 6 mm"),
    }
    if camera.has_offset:
        exif[0x9011] = text_entry(visit.utc_offset)
    if camera.has_depth:
        exif[0x9403] = numbers_entry(_SRATIONAL, (round(10 * depth_m), 10))
    return format_exif(ExifTree(order="<", main=main, exif=exif, gps=_gps(visit)))


def _gps(visit: TripVisit) -> dict[int, Any]:
    """Where the boat lay, as degrees, minutes and seconds."""
    entries: dict[int, Any] = {}
    both = ((1, visit.latitude_deg, "NS"), (3, visit.longitude_deg, "EW"))
    for tag, degrees, letters in both:
        whole, rest = divmod(abs(degrees), 1.0)
        minutes, rest = divmod(60.0 * rest, 1.0)
        values = (int(whole), 1, int(minutes), 1, round(6000.0 * rest), 100)
        entries[tag] = text_entry(letters[0] if degrees >= 0 else letters[1])
        entries[tag + 1] = numbers_entry(_RATIONAL, values)
    return entries


def jpeg_bytes(img_srgb: NDArray[np.uint8], exif: bytes, quality: int = 92) -> bytes:
    """A JPEG file with that Exif block."""
    coded = simplejpeg.encode_jpeg(
        np.ascontiguousarray(img_srgb), quality=quality, colorspace="RGB", colorsubsampling="422"
    )
    payload = b"Exif\x00\x00" + exif
    segment = b"\xff\xe1" + (len(payload) + 2).to_bytes(2, "big") + payload
    return bytes(coded[:2] + segment + coded[2:])


def points_text(points_px: Iterable[Iterable[float]]) -> str:
    """Points as the table for `measure --from` wants them."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points_px)
