"""Tagging a colony, finding it again, and changing what is said of its place."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.colony_records import WHYS, Colony, Neighbour, Sighting
from dryslate.app.visits import find_visit, require_name, require_observer
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

ID_DIGITS = 8
"""So many signs of an identity are enough to name a colony."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRequest:
    """
    A colony to tag, or words about one that is tagged; None: nothing said, what holds stays.

    Parameters
    ----------
    label : str
        As the tag says.
    observer : str
    visit : (str, str) or None
        Site and date of the visit on which it was first tagged; needed for a new one.
    why : str or None
        ``random``, ``place`` or ``stressed``; needed for a new one.
    place, from_what, note : str or None
    depth_m, bearing_deg, distance_m : float or None
    neighbours : tuple of Neighbour or None
    sketch : str or None
        File name or hash of an original of the project that shows the map sketch.
    new_label : str or None
        What a new tag says.
    is_new : bool
        Refuse a label that a colony of the site bears already.
    """

    label: str
    observer: str
    visit: tuple[str, str] | None = None
    why: str | None = None
    place: str | None = None
    depth_m: float | None = None
    from_what: str | None = None
    bearing_deg: float | None = None
    distance_m: float | None = None
    neighbours: tuple[Neighbour, ...] | None = None
    sketch: str | None = None
    note: str | None = None
    new_label: str | None = None
    is_new: bool = False


_WORDS = ("place", "depth_m", "from_what", "bearing_deg", "distance_m", "neighbours", "note")


def tag_colony(
    store: SurveyStore, request: TagRequest, now: str, new_id: Callable[[], str]
) -> Colony:
    """
    Tag a colony, or change what is said of one; the same again changes nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    request : TagRequest
    now : str
    new_id : callable
        Makes an identity; called once in the life of a colony.

    Returns
    -------
    Colony

    Raises
    ------
    InputError
        ``colony-why-missing``, ``colony-why-unknown``, ``colony-label-taken``,
        ``colony-place-odd``, ``colony-sketch-unknown``, ``colony-visit-missing``, and those of
        names and visits.
    """
    label = require_name(request.label, "colony")
    observer = require_observer(store, request.observer)
    visit = None if request.visit is None else find_visit(store, *request.visit)
    with store.write():
        known = None if visit is None else labelled(store, visit.site, label)
        if visit is None:
            known = _tagged_before(store, label, request)
        if known is not None and request.is_new:
            raise _taken(known)
        if known is None:
            assert visit is not None  # without a visit, one was found or an error raised
            known = Colony(
                organism_id=new_id(),
                site=visit.site,
                label=label,
                first_visit_id=visit.visit_id,
                why_tagged=_why(request.why),  # type: ignore[arg-type]  # one of WHYS
                observer=observer,
                tagged_at=now,
            )
            wanted = _with_words(store, known, request)
            store.save_colony(wanted)
            store.save_colony_sighting(
                Sighting(
                    organism_id=known.organism_id,
                    visit_id=visit.visit_id,
                    state="seen",
                    observer=observer,
                    noted_at=now,
                )
            )
            return wanted
        wanted = _with_words(store, known, request)
        if wanted != known:
            wanted = replace(wanted, observer=observer, tagged_at=now)
            store.save_colony(wanted)
    return wanted


def _tagged_before(store: SurveyStore, label: str, request: TagRequest) -> Colony:
    """Find the colony that words without a visit are about."""
    if request.is_new:
        raise InputError(
            "colony-visit-missing",
            f"{label}: the visit on which it was tagged is not given.",
            "Give site and date of the visit.",
        )
    return find_colony(store, label)


def _with_words(store: SurveyStore, colony: Colony, request: TagRequest) -> Colony:
    """Say of a colony what a request says, and leave the rest."""
    said = {name: getattr(request, name) for name in _WORDS if getattr(request, name) is not None}
    for name in ("place", "from_what", "note"):
        if name in said:
            said[name] = " ".join(said[name].split())
    if request.why is not None:
        said["why_tagged"] = _why(request.why)
    if request.sketch is not None:
        said["sketch_sha256"] = _sketch(store, request.sketch)
    if request.new_label is not None:
        said["label"] = require_name(request.new_label, "colony")
        other = labelled(store, colony.site, said["label"])
        if other is not None and other.organism_id != colony.organism_id:
            raise _taken(other)
    wanted = replace(colony, **said)
    _require_place(wanted)
    return wanted


def labelled(store: SurveyStore, site: str, label: str) -> Colony | None:
    """Return the colony of a site that bears a label, in whatever capitals."""
    low = label.casefold()
    return next((c for c in store.colonies(site) if c.label.casefold() == low), None)


def find_colony(store: SurveyStore, name: str, site: str | None = None) -> Colony:
    """
    Find the one colony of a label or identity.

    Parameters
    ----------
    store : SurveyStore
    name : str
        A label, or at least the first eight signs of an identity.
    site : str, optional

    Returns
    -------
    Colony

    Raises
    ------
    InputError
        ``colony-unknown``, ``colony-ambiguous``.
    """
    wanted = " ".join(name.split())
    low = wanted.casefold()
    hits = [
        c
        for c in store.colonies(site)
        if c.label.casefold() == low
        or (len(wanted) >= ID_DIGITS and c.organism_id.startswith(wanted.lower()))
    ]
    if len(hits) == 1:
        return hits[0]
    if hits:
        where = ", ".join(f"{c.site}: {c.organism_id[:ID_DIGITS]}" for c in hits)
        raise InputError(
            "colony-ambiguous",
            f"{len(hits)} tagged colonies are labelled {name!r} ({where}).",
            "Give its site too, or the first signs of its identity.",
        )
    raise InputError(
        "colony-unknown",
        f"No tagged colony is labelled {name!r}.",
        "Look at the list of colonies; tag it first, with its visit and why it was tagged.",
    )


def _taken(other: Colony) -> InputError:
    """A label is taken."""
    return InputError(
        "colony-label-taken",
        f"{other.site} has a tagged colony {other.label} already.",
        "Give this colony a label of its own, or open that one.",
    )


def _why(text: str | None) -> str:
    """Require a reason for tagging."""
    if text is None or not text.strip():
        raise InputError(
            "colony-why-missing",
            "It is not said why the colony was tagged.",
            "Say random, place or stressed: colonies tagged because they looked unwell never "
            "enter prevalence or means of a site.",
        )
    if text not in WHYS:
        raise InputError(
            "colony-why-unknown",
            f"{text!r} is no reason for tagging a colony.",
            f"Give one of: {', '.join(WHYS)}.",
        )
    return text


def _require_place(colony: Colony) -> None:
    """Refuse a depth, bearing or distance that cannot be."""
    checks = [("depth", colony.depth_m, 0.0, math.inf)]
    around = [(colony.bearing_deg, colony.distance_m)]
    around += [(n.bearing_deg, n.distance_m) for n in colony.neighbours]
    for bearing, distance in around:
        checks.append(("bearing", bearing, 0.0, 360.0))
        checks.append(("distance", distance, 1e-9, math.inf))
    for what, value, least, below in checks:
        if value is not None and not (math.isfinite(value) and least <= value < below):
            raise InputError(
                "colony-place-odd",
                f"{colony.label}: a {what} of {value:g} cannot be.",
                "Depth and distance are metres, a bearing 0 to below 360 degrees from north.",
            )


def _sketch(store: SurveyStore, name: str) -> str:
    """Find the original that shows a map sketch."""
    low = name.strip().lower()
    named = {row.sha256 for row in store.card_files() if row.original_name.lower() == low}
    hits = named or {
        o.sha256 for o in store.originals() if len(low) >= ID_DIGITS and o.sha256.startswith(low)
    }
    if len(hits) == 1:
        return hits.pop()
    raise InputError(
        "colony-sketch-unknown",
        f"The project has {len(hits) or 'no'} originals called {name!r}.",
        "Take the picture of the sketch in like a photo, then give its file name or its hash.",
    )


def parse_neighbour(text: str) -> Neighbour:
    """
    Read what stands beside a colony: ``words``, or ``words=BEARING,DISTANCE``.

    Raises
    ------
    InputError
        ``colony-neighbour-unreadable``.

    Examples
    --------
    >>> parse_neighbour("large boulder coral=120,0.8")
    Neighbour(what='large boulder coral', bearing_deg=120.0, distance_m=0.8)
    """
    what, has_place, place = text.partition("=")
    words = " ".join(what.split())
    try:
        bearing, distance = (float(p) for p in place.split(",")) if has_place else (None, None)
    except ValueError:
        words = ""
    if not words:
        raise InputError(
            "colony-neighbour-unreadable",
            f"{text!r} is no neighbour.",
            'Write "what it is", or "what it is=BEARING,METRES" such as "boulder coral=120,0.8".',
        )
    return Neighbour(what=words, bearing_deg=bearing, distance_m=distance)
