"""What a report holds: plain values, ready to be shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dryslate.app.report_identified import IdentifiedCoral

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """
    A small picture of a photo, upright.

    Parameters
    ----------
    jpeg : bytes
        Empty where there is none; `why_not` says why.
    width_px, height_px : int
        Size of the upright original, in which points are given.
    why_not : str
    """

    jpeg: bytes = b""
    width_px: int = 0
    height_px: int = 0
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredValue:
    """One measured value: what, unit, value, standard uncertainty, 95 % interval, budget shares."""

    name: str
    unit: str
    value: float
    value_u: float
    lo95: float
    hi95: float
    shares: Mapping[str, float]
    budget: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredCoral:
    """
    One saved measurement.

    Parameters
    ----------
    colony, kind, photo_name, photo_id, visit, observer : str
    points_px : tuple of points
    values : tuple of MeasuredValue
    notes : tuple of str
        Flags and problems in plain words.
    is_stale : bool
        The photo has been corrected anew since.
    """

    colony: str
    kind: str
    photo_name: str
    photo_id: str
    visit: str
    observer: str
    points_px: Points
    values: tuple[MeasuredValue, ...]
    notes: tuple[str, ...]
    is_stale: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoPart:
    """
    One photo with everything that is known of its correction.

    Parameters
    ----------
    photo_id, name : str
    number : int
        Counted over the whole report, from 1.
    taken : str
        Time as known, with its offset or "no offset".
    depth_m : float or None
    camera : str
    outcome : str
        ``"corrected"``, ``"borrowed"``, ``"refused"``, ``"no_card"``, ``"unreadable"`` or
        ``"not_yet"``.
    result : Mapping
        The JSON document of its correction; empty where there is none.
    borrowed_from : str
        Name of the photo whose card was used.
    before, after : Picture
    corners_px : tuple of points
        Corners of each card that was found, one tuple a card.
    problems : tuple of Mapping
    flags : tuple of str
        In plain words.
    key : str
        Key of the correction.
    card_key : str
    files : tuple of (name, kind, sha256)
    """

    photo_id: str
    name: str
    number: int
    taken: str
    depth_m: float | None
    camera: str
    outcome: str
    result: Mapping[str, Any]
    borrowed_from: str
    before: Picture
    after: Picture
    corners_px: tuple[Points, ...]
    problems: tuple[Mapping[str, str], ...]
    flags: tuple[str, ...]
    key: str
    card_key: str
    files: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPart:
    """One visit with its photos."""

    visit_id: str
    site: str
    date: str
    observer: str
    photos: tuple[PhotoPart, ...]
    clock_notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchOverTrip:
    """
    One patch of one card over all corrected photos.

    Parameters
    ----------
    card, patch_id : str
    n : int
        Photos in which it was used.
    n_dropped : int
    median_de00, p95_de00 : float
    mean_lab : tuple of float
        Mean of corrected less stated.
    each_de00 : tuple of float
    """

    card: str
    patch_id: str
    n: int
    n_dropped: int
    median_de00: float
    p95_de00: float
    mean_lab: tuple[float, float, float]
    each_de00: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """
    Everything a report shows.

    Parameters
    ----------
    title : str
        Name of the project.
    state_utc : str
        When the project's records last changed; empty where they never did.
    visits : tuple of VisitPart
    corals : tuple of MeasuredCoral
    patches : tuple of PatchOverTrip
    controls : tuple of Mapping
        As `ControlComparison.as_dict`, with ``problems``.
    problems : tuple of Mapping
        Of the whole trip: worn patches and the like.
    outcomes : Mapping
        Number of photos by outcome.
    versions : Mapping
        Versions of the program and what it rests on, as used for the corrections.
    cards : tuple of Mapping
        Cards that were used: name, serial, status, medium, key, photos.
    copies : Mapping
        Number of originals and how many are proved on how many drives.
    picture_px : int
        Longest side of the pictures in the report.
    named : tuple of IdentifiedCoral
        Recorded corals with their names.
    aside : Mapping
        Number of photos set aside by reason; they are in nothing else here.
    genus_names : frozenset of str
        Words that are set in italics.
    looks : str
        What second looks brought, in a sentence; empty where there were none.
    """

    title: str
    state_utc: str
    visits: tuple[VisitPart, ...]
    corals: tuple[MeasuredCoral, ...]
    patches: tuple[PatchOverTrip, ...]
    controls: tuple[Mapping[str, Any], ...]
    problems: tuple[Mapping[str, str], ...]
    outcomes: Mapping[str, int]
    versions: Mapping[str, str]
    cards: tuple[Mapping[str, Any], ...]
    copies: Mapping[str, int]
    picture_px: int = 900
    notes: tuple[str, ...] = field(default=())
    named: tuple[IdentifiedCoral, ...] = ()
    aside: Mapping[str, int] = field(default_factory=dict)
    genus_names: frozenset[str] = frozenset()
    looks: str = ""
