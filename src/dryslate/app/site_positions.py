"""Saying where sites and units lie: by words, or from the waypoints of a receiver."""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.publication_records import SitePlace, UnitPlace
from dryslate.app.visits import require_name, require_observer
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.formats.coordinates import WrittenPosition, parse_position
from dryslate.formats.gpx import distance_m

if TYPE_CHECKING:
    from dryslate.app.ports import Clock, SurveyStore
    from dryslate.formats.gpx import Gpx

FAR_M = 500_000.0
"""A position farther than this from the middle of the other sites is asked about (a judgement)."""
FAR_UNIT_M = 20_000.0
"""The same for a unit and its site."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceWords:
    """
    What is said of a place; None leaves it as it was, an empty text takes it out.

    Parameters
    ----------
    position : str or None
        As typed: latitude first, or with letters.
    uncertainty_m, grid_deg : float or None
        A grid of 0 says that the site is not sensitive.
    country, country_code, water_body, locality, published_locality : str or None
    is_sure : bool
        The position was looked at: do not ask whether it is swapped, far off or a blank.
    """

    position: str | None = None
    uncertainty_m: float | None = None
    grid_deg: float | None = None
    country: str | None = None
    country_code: str | None = None
    water_body: str | None = None
    locality: str | None = None
    published_locality: str | None = None
    is_sure: bool = False


def require_site(store: SurveyStore, site: str) -> str:
    """
    Return a site of the project by its name.

    Raises
    ------
    InputError
        ``site-unknown``, ``name-empty``, ``name-odd``.
    """
    name = require_name(site, "site")
    known = [one.site for one in store.sites()]
    if name not in known:
        raise InputError(
            "site-unknown",
            f"There is no site {name!r} in this project (sites: {', '.join(known) or 'none yet'}).",
            "Write it as it was written for `dryslate take` or in the tables.",
        )
    return name


def set_site_place(
    store: SurveyStore, site: str, words: PlaceWords, observer: str, clock: Clock
) -> SitePlace:
    """
    Say where a site lies, and in what words.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    site : str
    words : PlaceWords
    observer : str
    clock : Clock

    Returns
    -------
    SitePlace

    Raises
    ------
    InputError
        ``site-unknown``, ``position-unreadable``, ``position-out-of-range``,
        ``position-swapped``, ``position-far``, ``position-zero``, ``place-uncertainty``,
        ``place-grid``, ``place-country-code``, ``place-words-odd``.
    """
    site, who = require_site(store, site), require_observer(store, observer)
    places = {one.site: one for one in store.site_places()}
    now = clock.now_utc()
    place = places.pop(site, SitePlace(site=site, observer=who, stated_at=now))
    place = replace(place, observer=who, stated_at=now)
    if words.position is not None:
        others = [(p.latitude_deg, p.longitude_deg) for p in places.values()]
        place = replace(place, **_position(words, others, FAR_M))
    place = replace(place, **_extent(words))
    said: dict[str, Any] = {
        name: _in_words(text)
        for name in ("country", "water_body", "locality", "published_locality")
        if (text := getattr(words, name)) is not None
    }
    if words.country_code is not None:
        said["country_code"] = _country_code(words.country_code)
    place = replace(place, **said)
    store.save_site_place(place)
    return place


def set_unit_place(
    store: SurveyStore, unit_id: str, words: PlaceWords, observer: str, clock: Clock
) -> UnitPlace:
    """
    Say where a unit lies, apart from its site.

    Raises
    ------
    InputError
        As `set_site_place`; ``unit-unknown``, ``position-missing``.
    """
    from dryslate.app.units import require_unit

    unit, who = require_unit(store, unit_id), require_observer(store, observer)
    known = {one.unit_id: one for one in store.unit_places()}.get(unit_id)
    if not words.position and known is None:
        raise InputError("position-missing", "A unit's place is its position.", "Give one.")
    site = next(v.site for v in store.visits() if v.visit_id == unit.visit_id)
    near = [(p.latitude_deg, p.longitude_deg) for p in store.site_places() if p.site == site]
    said = _position(words, near, FAR_UNIT_M) if words.position else {}
    said |= {name: value for name, value in _extent(words).items() if name != "grid_deg"}
    if known is not None:
        place = replace(known, **said, observer=who, stated_at=clock.now_utc())
    else:
        place = UnitPlace(unit_id=unit_id, **said, observer=who, stated_at=clock.now_utc())
    store.save_unit_place(place)
    return place


def _position(
    words: PlaceWords, others: Sequence[tuple[float | None, float | None]], far_m: float
) -> dict[str, Any]:
    """Read a position and ask about one that cannot well be meant."""
    if not (words.position or "").strip():
        blank = {"latitude_deg": None, "longitude_deg": None, "precision_deg": None}
        return {**blank, "position_text": ""}
    read = parse_position(words.position or "")
    if not words.is_sure:
        _ask_about(read, [(a, b) for a, b in others if a is not None and b is not None], far_m)
    return {
        "latitude_deg": read.latitude_deg,
        "longitude_deg": read.longitude_deg,
        "position_text": read.text,
        "precision_deg": read.precision_deg,
    }


def _ask_about(read: WrittenPosition, others: Sequence[tuple[float, float]], far_m: float) -> None:
    """Refuse what looks like a blank, a swap, or another ocean, until somebody says it is right."""
    here = (read.latitude_deg, read.longitude_deg)
    if here == (0.0, 0.0):
        raise InputError(
            "position-zero",
            f"{read.text!r}: latitude 0, longitude 0 is what receivers write that know nothing.",
            "If it is meant, say so (--sure).",
        )
    if not others:
        return
    middle = (statistics.median(a for a, _ in others), statistics.median(b for _, b in others))
    away = distance_m(here, middle)
    if away <= far_m:
        return
    turned = (here[1], here[0])
    if abs(turned[0]) <= 90 and distance_m(turned, middle) < away / 4:
        raise InputError(
            "position-swapped",
            f"{read.text!r} lies {away / 1000:.0f} km from the rest of the project, and "
            f"{distance_m(turned, middle) / 1000:.0f} km with latitude and longitude swapped.",
            "Latitude comes first. If it is right as it stands, say so (--sure).",
        )
    raise InputError(
        "position-far",
        f"{read.text!r} lies {away / 1000:.0f} km from the rest of the project.",
        "Look at the signs and at N, S, E and W. If it is right, say so (--sure).",
    )


def _extent(words: PlaceWords) -> dict[str, Any]:
    """Read the radius and the grid."""
    said: dict[str, Any] = {}
    if words.uncertainty_m is not None:
        if not (math.isfinite(words.uncertainty_m) and words.uncertainty_m > 0):
            raise InputError(
                "place-uncertainty",
                f"An uncertainty of {words.uncertainty_m:g} m: expected metres above zero.",
                "Give the radius that holds the whole site; leave it out where nobody knows.",
            )
        said["uncertainty_m"] = words.uncertainty_m
    if words.grid_deg is not None:
        if not 0 <= words.grid_deg <= 10:
            raise InputError(
                "place-grid",
                f"A grid of {words.grid_deg:g}°: expected degrees from above 0 to 10.",
                "0.1° is about 11 km; 0 says that the site is not sensitive.",
            )
        said["grid_deg"] = words.grid_deg or None
    return said


def _in_words(text: str) -> str:
    """Return words on a place as they are kept."""
    kept = " ".join(text.split())
    if any(ord(sign) < 32 for sign in kept):
        raise InputError(
            "place-words-odd",
            "The words on a place hold signs that no file can carry.",
            "Type them again.",
        )
    return kept


def _country_code(text: str) -> str:
    """Return two letters."""
    code = text.strip().upper()
    if code and not re.fullmatch(r"[A-Z]{2}", code):
        raise InputError(
            "place-country-code",
            f"{text!r} is no country code.",
            "Give the two letters of ISO 3166-1, or leave it out.",
        )
    return code


@dataclass(frozen=True, slots=True, kw_only=True)
class WaypointPlan:
    """
    Which waypoints stand for which sites.

    Parameters
    ----------
    found : Mapping
        Site to the position as written.
    problems : tuple of Problem
    """

    found: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for JSON."""
        return {"sites": dict(self.found), "problems": [p.as_dict() for p in self.problems]}


def plan_waypoints(
    store: SurveyStore, gpx: Gpx, file: str, called: Mapping[str, str] | None = None
) -> WaypointPlan:
    """
    Match the waypoints of a receiver with the project's sites by name.

    Parameters
    ----------
    store : SurveyStore
    gpx : Gpx
    file : str
        For messages.
    called : Mapping, optional
        Waypoint to site, where they are called otherwise.

    Returns
    -------
    WaypointPlan
        Problems: ``gpx-waypoint-twice`` (error), ``gpx-waypoint-no-site``, ``gpx-site-unmatched``.
    """
    called = called or {}
    sites = {one.site.casefold(): one.site for one in store.sites()}
    found: dict[str, str] = {}
    twice: set[str] = set()
    problems: list[Problem] = []
    for point in gpx.waypoints:
        site = sites.get(called.get(point.name, point.name).casefold())
        place = f"{file}, waypoint {point.name or '(no name)'}"
        if site is None:
            problems.append(_told("gpx-waypoint-no-site", place, "no site is called so"))
        elif site in found and found[site] != point.text:
            twice.add(site)
            message = f"a second position for {site}; neither is taken"
            problems.append(_told("gpx-waypoint-twice", place, message, "error"))
        else:
            found[site] = point.text
    for name in sorted(set(called) - {point.name for point in gpx.waypoints}):
        message = "there is no such waypoint"
        problems.append(_told("gpx-site-unmatched", f"{file}, waypoint {name}", message, "error"))
    kept = {site: text for site, text in found.items() if site not in twice}
    return WaypointPlan(found=kept, problems=tuple(problems))


def _told(slug: str, place: str, message: str, severity: Any = "warning") -> Problem:
    fix = "Rename the waypoint, or say which site it is (--as WAYPOINT=SITE)."
    return Problem(slug=slug, severity=severity, place=place, message=message, fix=fix)


def save_waypoints(
    store: SurveyStore, plan: WaypointPlan, words: PlaceWords, observer: str, clock: Clock
) -> int:
    """
    Store the positions of a plan in one transaction: all or none.

    Raises
    ------
    InputError
        As `set_site_place`, naming the site.
    """
    with store.write():
        for site, text in plan.found.items():
            try:
                set_site_place(store, site, replace(words, position=text), observer, clock)
            except InputError as error:
                raise InputError(error.slug, f"{site}: {error.message}", error.fix) from error
    return len(plan.found)
