"""Which files are photos, which belong to one shot, by which camera, and when it was taken."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from dryslate.app.project_records import ClockOffset
from dryslate.app.records import Photo, PhotoMetadata

RAW_ENDINGS = frozenset(
    [
        "3fr",
        "arw",
        "cr2",
        "cr3",
        "crw",
        "dcr",
        "dng",
        "erf",
        "fff",
        "gpr",
        "iiq",
        "kdc",
        "mef",
        "mos",
        "mrw",
        "nef",
        "nrw",
        "orf",
        "ori",
        "pef",
        "raf",
        "raw",
        "rw2",
        "rwl",
        "sr2",
        "srf",
        "srw",
        "x3f",
    ]
)
"""Endings of raw files that LibRaw reads; most are TIFF inside, so the ending decides."""

PREFERENCE = ("jpeg", "heic", "tiff", "png", "raw")
"""Which file of a shot names it and is shown: the first of these that it has."""

PHOTO_ENDINGS = {
    "jpg": "jpeg",
    "jpeg": "jpeg",
    "jpe": "jpeg",
    "heic": "heic",
    "heif": "heic",
    "hif": "heic",
    "png": "png",
    "tif": "tiff",
    "tiff": "tiff",
} | dict.fromkeys(RAW_ENDINGS, "raw")
"""What the ending of a name promises."""

MOST_OFFSET_S = 100 * 365.25 * 86400
"""A clock that is off by more is none: cameras that lost theirs begin within this."""


_RAW_HEADS = (b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FOVb", b"\0MRM")
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2")


def ending_of(name: str) -> str:
    """Return the ending of a file name in small letters, without the dot; empty where odd."""
    _, dot, ending = name.rpartition(".")
    ending = ending.lower()
    return ending if dot and re.fullmatch(r"[a-z0-9]{1,10}", ending) else ""


def kind_of(name: str, head: bytes) -> str:
    """
    Tell what a file is from its first bytes, and from its ending where raw files look alike.

    Parameters
    ----------
    name : str
    head : bytes
        The first 32 bytes or more.

    Returns
    -------
    str
        ``jpeg``, ``heic``, ``png``, ``tiff``, ``raw`` or ``other``.

    Examples
    --------
    >>> kind_of("IMG_1.JPG", bytes.fromhex("ffd8ffe0"))
    'jpeg'
    >>> kind_of("IMG_1.JPG", b"")
    'other'
    """
    ending = ending_of(name)
    brand = head[8:12]
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head[4:8] == b"ftyp" and brand in _HEIC_BRANDS:
        return "heic"
    is_tiff = head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
    is_raw_only = head.startswith(
        (b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"IIRS", b"FOVb", b"\0MRM")
    )
    if is_raw_only or (head[4:8] == b"ftyp" and brand == b"crx "):
        return "raw"
    if head[6:10] == b"HEAP" and ending == "crw":
        return "raw"
    if is_tiff:
        return "raw" if ending in RAW_ENDINGS else "tiff"
    return "other"


def camera_key(metadata: PhotoMetadata) -> str:
    """
    Name a camera by make, model and serial number, as far as its file states them.

    Examples
    --------
    >>> camera_key(PhotoMetadata(camera_make="ACME", camera_model="ACME Dive 5"))
    'ACME Dive 5'
    >>> camera_key(PhotoMetadata(camera_model="Dive 5", camera_serial="0012"))
    'Dive 5 no. 0012'
    >>> camera_key(PhotoMetadata())
    'unknown camera'
    """
    make = " ".join((metadata.camera_make or "").split())
    model = " ".join((metadata.camera_model or "").split())
    name = model if model.lower().startswith(make.lower()) else f"{make} {model}".strip()
    serial = " ".join((metadata.camera_serial or "").split())
    if serial:
        name = f"{name or 'unknown camera'} no. {serial}"
    return name or "unknown camera"


def taken_time(metadata: PhotoMetadata) -> datetime | None:
    """Return the camera's time without offset, or None where it has none or an impossible one."""
    if metadata.taken_local is None:
        return None
    try:
        return datetime.fromisoformat(metadata.taken_local).replace(tzinfo=None)
    except ValueError:
        return None


def corrected_time(metadata: PhotoMetadata, offset: ClockOffset | None) -> str | None:
    """
    Return the true local time of a photo, where the camera's clock offset is known.

    Parameters
    ----------
    metadata : PhotoMetadata
    offset : ClockOffset or None

    Returns
    -------
    str or None
        ISO 8601; it ends in ``+HH:MM`` only where the clock that was compared stated it.

    Examples
    --------
    >>> late = ClockOffset(visit_id="v", camera="c", offset_s=-90.0)
    >>> corrected_time(PhotoMetadata(taken_local="2026-11-25T09:01:00"), late)
    '2026-11-25T08:59:30'
    """
    taken = taken_time(metadata) if offset is not None else None
    if taken is None or offset is None or not abs(offset.offset_s) <= MOST_OFFSET_S:
        return None
    moved = taken + timedelta(seconds=offset.offset_s)
    fraction = "milliseconds" if moved.microsecond else "seconds"
    return moved.isoformat(timespec=fraction) + (offset.utc_offset or "")


def order_of(photo: Photo) -> tuple[bool, str, str, str]:
    """Return what photos are sorted by: their time, those without one last, then their name."""
    taken = photo.taken_corrected or photo.metadata.taken_local or ""
    name = photo.files[0].original_name if photo.files else ""
    return order_by(taken, name, photo.photo_id)


def order_by(taken: str, name: str, photo_id: str) -> tuple[bool, str, str, str]:
    """Return what a photo is sorted by, from its time, name and id; see `order_of`."""
    return (not taken, taken[:23], name, photo_id)
