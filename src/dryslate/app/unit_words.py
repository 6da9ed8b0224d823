"""What is said of a unit: its name, kind, zone and depth, checked before it is stored."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.unit_records import KINDS, Kind, Unit
from dryslate.app.visits import require_name, require_observer
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

DEEPEST_M = 200.0
"""A depth of a survey unit above this is a slip of the pen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitWords:
    """
    What is said of a unit; None where nothing is.

    Parameters
    ----------
    kind : str or None
        One of `KINDS`, with spaces or underscores.
    name : str or None
        As written on the slate.
    zone : str or None
    depth_m, depth_m_u : float or None
        Depth below the surface and its standard uncertainty.
    note : str
    """

    kind: str | None = None
    name: str | None = None
    zone: str | None = None
    depth_m: float | None = None
    depth_m_u: float | None = None
    note: str = ""


def words_of(
    unit: Unit,
    said: tuple[str | None, str | None, str | None],
    depth: tuple[float, float] | None,
    note: str | None,
) -> UnitWords:
    """
    Return what is said of a unit with some of it changed.

    Parameters
    ----------
    unit : Unit
    said : tuple of str or None
        Name, kind and zone; None leaves it as it is, an empty text takes it away.
    depth : tuple of float or None
        Depth and its standard uncertainty in metres.
    note : str or None
    """
    name, kind, zone = said
    depth_m, depth_m_u = depth if depth is not None else (unit.depth_m, unit.depth_m_u)
    return UnitWords(
        name=unit.name if name is None else name,
        kind=unit.kind if kind is None else kind,
        zone=unit.zone if zone is None else zone,
        depth_m=depth_m,
        depth_m_u=depth_m_u,
        note=unit.note if note is None else note,
    )


def unit_words(unit: Unit) -> str:
    """Name a unit for a message."""
    kind = (unit.kind or "unit").replace("_", " ")
    return f"{kind} {unit.name}" if unit.name else f"a {kind} without a name"


def new_unit(
    store: SurveyStore,
    visit_id: str,
    words: UnitWords,
    observer: str,
    began_with: str,
    also: Collection[str] = (),
) -> Unit:
    """Return a unit that is not there yet, under an id that no unit has."""
    by = require_observer(store, observer)
    count = 0
    while True:
        told = "\n".join((visit_id, began_with, words.name or "", str(count)))
        unit_id = hashlib.sha256(told.encode("utf-8")).hexdigest()
        if unit_id not in also and not store.has_unit(unit_id):
            break
        count += 1
    return said(store, Unit(unit_id=unit_id, visit_id=visit_id, observer=by), words)


def said(store: SurveyStore, unit: Unit, words: UnitWords) -> Unit:
    """Return a unit with what is said of it, checked."""
    name = require_name(words.name, "unit") if words.name and words.name.strip() else None
    if name is not None:
        _require_own_name(store, unit, name)
    zone = require_name(words.zone, "zone") if words.zone and words.zone.strip() else None
    if zone is not None:
        _require_known_spelling(store, unit, zone)
    depth, u = words.depth_m, words.depth_m_u
    is_depth = depth is None or (math.isfinite(depth) and 0.0 <= depth <= DEEPEST_M)
    is_u = u is None or (math.isfinite(u) and u >= 0.0 and depth is not None)
    if not is_depth or not is_u:
        raise InputError(
            "unit-depth",
            f"A depth of {depth if depth is not None else 'nothing'} m ± {u} cannot be (expected "
            f"0 to {DEEPEST_M:g} m, and a doubt only beside a depth).",
            "Give the depth below the surface in metres, or leave it empty.",
        )
    return replace(
        unit,
        kind=require_kind(words.kind),
        name=name,
        zone=zone,
        depth_m=None if depth is None else float(depth),
        depth_m_u=None if u is None else float(u),
        note=" ".join(words.note.split())[:2000],
    )


def require_kind(text: str | None) -> Kind | None:
    """
    Return what kind of unit is meant, None where nothing is said.

    Raises
    ------
    InputError
        ``unit-kind``.

    Examples
    --------
    >>> require_kind("Photo station")
    'photo_station'
    """
    wanted = "_".join((text or "").lower().replace("_", " ").replace("-", " ").split())
    for kind in KINDS:
        if kind == wanted:
            return kind
    if not wanted:
        return None
    known = ", ".join(kind.replace("_", " ") for kind in KINDS)
    raise InputError(
        "unit-kind", f"{text!r} is no kind of unit (known: {known}).", "Give one of these."
    )


def _require_own_name(store: SurveyStore, unit: Unit, name: str) -> None:
    """Refuse a name that another unit of the visit has, in whatever capitals."""
    for other in store.units(unit.visit_id):
        is_same = (other.name or "").casefold() == name.casefold()
        if not is_same or other.unit_id == unit.unit_id:
            continue
        photos = {j.photo_id: j for j in store.unit_photos(unit.visit_id)}
        shown = [
            p.files[0].original_name
            for p in store.photos(unit.visit_id)
            if (j := photos.get(p.photo_id)) and j.unit_id == other.unit_id and j.how == "slate"
        ]
        where = f", slate {', '.join(shown)}" if shown else ", without a slate photo"
        raise InputError(
            "unit-name-taken",
            f"This visit has a unit of that name already: {unit_words(other)}{where}.",
            "Write another name; or, where it is the same slate photographed again, put the photo "
            "to that unit.",
        )


def _require_known_spelling(store: SurveyStore, unit: Unit, zone: str) -> None:
    """Refuse a zone that the site has in other capitals."""
    site = next((v.site for v in store.visits() if v.visit_id == unit.visit_id), None)
    for other in store.zones(site):
        if other.zone != zone and other.zone.casefold() == zone.casefold():
            raise InputError(
                "name-nearly",
                f"The zone {zone!r} is known as {other.zone!r} at {site}.",
                f"Write it as {other.zone!r}.",
            )
