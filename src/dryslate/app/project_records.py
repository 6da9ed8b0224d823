"""Records of keeping a project: places, people, clocks, copies, residuals and changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One place that is surveyed again and again, by its name."""

    site: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A reef zone or depth band within a site; depths in metres, None where not stated."""

    site: str
    zone: str
    depth_min_m: float | None = None
    depth_max_m: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observer:
    """A person who surveys, by name."""

    observer: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockOffset:
    """
    How wrong a camera's clock was on one visit.

    Parameters
    ----------
    visit_id, camera : str
        `camera` is the key made by `dryslate.app.shots.camera_key`.
    offset_s : float
        Seconds to add to the camera's clock to get the true local time.
    utc_offset : str or None
        ``+HH:MM`` of the true local time where it was stated.
    photo_id : str or None
        The photo of a clock it was read from.
    shown : str or None
        The time that clock showed, as given.
    """

    visit_id: str
    camera: str
    offset_s: float
    utc_offset: str | None = None
    photo_id: str | None = None
    shown: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Original:
    """A file that is safe in the vault: content hash, size, kind, and where it lies."""

    sha256: str
    size_bytes: int
    kind: str
    kept_path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFile:
    """
    Where a file lay on the memory card, and for which visit it was taken in.

    Parameters
    ----------
    visit_id, card_path, sha256 : str
        `card_path` is the path below the source, with ``/`` between the parts.
    original_name : str
        The file's own name.
    size_bytes, modified_ns : int
        As the memory card had them; `modified_ns` counts from 1970 in the card's clock.
    observer : str
        Whose card it was.
    """

    visit_id: str
    card_path: str
    sha256: str
    original_name: str
    size_bytes: int
    modified_ns: int
    observer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyProof:
    """
    One kept copy of an original, and whether it was read back from the drive itself.

    Parameters
    ----------
    sha256 : str
    folder : str
        ``.`` for the project, else the absolute path of the second folder.
    drive : str
        Names of the underlying block devices, or what the folder is where it has none.
    is_proved : bool
        True only where the bytes came back from the drive, not from memory.
    how : {"direct", "dropped", "cached"}
        Past the cache; with the cache emptied first; or perhaps from the cache (not proved).
    proved_utc : str
    """

    sha256: str
    folder: str
    drive: str
    is_proved: bool
    how: Literal["direct", "dropped", "cached"]
    proved_utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchResidual:
    """
    How far one patch of a card was off in one corrected photo.

    Parameters
    ----------
    photo_id, correction_key : str
    card : str
        Name of the card.
    card_key : str
        Hash of the card's definition with its serial and medium: one printed card.
    patch_id : str
    residual_de00 : float or None
        CIEDE2000 between stated and corrected; None where the patch was dropped.
    residual_lab : tuple of float or None
        Corrected minus stated L*, a*, b*.
    dropped : str
        Why the patch was not used; empty where it was.
    """

    photo_id: str
    correction_key: str
    card: str
    card_key: str
    patch_id: str
    residual_de00: float | None
    residual_lab: tuple[float, float, float] | None = None
    dropped: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivedFile:
    """
    A file below ``derived/`` that can be thrown away and made again.

    Parameters
    ----------
    path : str
        Below the project folder.
    photo_id : str
    key : str
        Hash of everything that could change the file.
    kind : str
        ``corrected``, ``preview`` and the like.
    sha256 : str
    size_bytes : int
    steps : Mapping
        Settings and versions behind the key, as JSON.
    """

    path: str
    photo_id: str
    key: str
    kind: str
    sha256: str
    size_bytes: int
    steps: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One line of the change log: who changed which row of which table, when, from what to what."""

    change_no: int
    changed_utc: str
    who: str
    what: Literal["insert", "update", "delete"]
    table_name: str
    row_key: str
    old: Mapping[str, Any] | None
    new: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFault:
    """
    Something in which a table and the change log do not agree.

    Parameters
    ----------
    kind : str
        ``not_logged`` (a row the log does not know), ``differs`` (another wording than the log's
        last), ``gone`` (a row that was never logged as taken out), ``gap`` (lines of the log are
        missing), ``link`` (a row refers to one that is not there) or ``guard`` (what keeps rows
        from being changed is missing).
    table_name : str
    row_key : str
        Primary key of the row, JSON list; for a gap its first and last missing line; else empty.
    """

    kind: Literal["not_logged", "differs", "gone", "gap", "link", "guard"]
    table_name: str
    row_key: str = ""
