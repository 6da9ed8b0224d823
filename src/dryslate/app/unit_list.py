"""The units of a project with what belongs to them, and finding one by what people call it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dryslate.app.ports import SurveyStore
from dryslate.app.records import Photo
from dryslate.app.unit_joining import true_time
from dryslate.app.unit_records import Unit
from dryslate.app.unit_words import unit_words
from dryslate.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSummary:
    """
    A unit with the photos that belong to it.

    Parameters
    ----------
    unit : Unit
    slates : tuple of Photo
        Photos of its slate, in the order taken.
    photos : tuple of Photo
        The others, without those set aside.
    n_by_hand : int
        How many of `photos` were joined by hand.
    n_aside : int
        Photos of it that are set aside.
    begin, end : datetime or None
        True local time of the first and the last of all of these.
    """

    unit: Unit
    slates: tuple[Photo, ...]
    photos: tuple[Photo, ...]
    n_by_hand: int
    n_aside: int
    begin: datetime | None
    end: datetime | None

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            **self.unit.as_dict(),
            "begin": None if self.begin is None else self.begin.isoformat(),
            "end": None if self.end is None else self.end.isoformat(),
            "n_photos": len(self.photos),
            "n_by_hand": self.n_by_hand,
            "n_set_aside": self.n_aside,
            "slates": [photo.files[0].original_name for photo in self.slates],
            "photos": [photo.files[0].original_name for photo in self.photos],
        }

    def as_row(self) -> tuple[str, ...]:
        """Return it as text, for the table of its visit."""
        unit = self.unit
        depth = "" if unit.depth_m is None else f"{unit.depth_m:g}"
        if unit.depth_m_u is not None:
            depth += f" ± {unit.depth_m_u:g}"
        return (
            unit.name or "(no name yet)",
            (unit.kind or "").replace("_", " "),
            unit.zone or "",
            depth,
            "" if self.begin is None else f"{self.begin:%H:%M} to {self.end:%H:%M}",
            str(len(self.slates)),
            str(len(self.photos)),
        )


def list_units(store: SurveyStore, visit_id: str | None = None) -> tuple[UnitSummary, ...]:
    """Return the units of one visit, or all, visit by visit in the order they were begun."""
    joins = {join.photo_id: join for join in store.unit_photos(visit_id)}
    aside = {one.photo_id for one in store.photos_set_aside(visit_id)}
    mine: dict[str, list[Photo]] = {}
    for photo in store.photos(visit_id) if joins else ():
        join = joins.get(photo.photo_id)
        if join is not None and join.unit_id is not None:
            mine.setdefault(join.unit_id, []).append(photo)
    found = []
    for unit in store.units(visit_id):
        photos = mine.get(unit.unit_id, [])
        slates = tuple(p for p in photos if joins[p.photo_id].how == "slate")
        others = [p for p in photos if joins[p.photo_id].how != "slate"]
        standing = tuple(p for p in others if p.photo_id not in aside)
        times = sorted(t for p in (*slates, *standing) if (t := true_time(p)) is not None)
        found.append(
            UnitSummary(
                unit=unit,
                slates=slates,
                photos=standing,
                n_by_hand=sum(joins[p.photo_id].how == "hand" for p in standing),
                n_aside=len(others) - len(standing),
                begin=times[0] if times else None,
                end=times[-1] if times else None,
            )
        )
    order = {visit.visit_id: n for n, visit in enumerate(store.visits())}
    return tuple(
        sorted(found, key=lambda s: (order[s.unit.visit_id], s.begin is None, s.begin or _LATE))
    )


_LATE = datetime.max


def find_unit(store: SurveyStore, text: str, visit_id: str | None = None) -> Unit:
    """
    Find a unit by its name, or by the first eight or more digits of its id.

    Raises
    ------
    InputError
        ``unit-not-found``, ``unit-ambiguous``.
    """
    wanted = " ".join(text.split()).casefold()
    units = store.units(visit_id)
    found = [u for u in units if (u.name or "").casefold() == wanted]
    if not found and len(wanted) >= 8:
        found = [u for u in units if u.unit_id.startswith(wanted)]
    if not found:
        there = ", ".join(u.name or u.unit_id[:12] for u in units[:20]) or "none yet"
        raise InputError(
            "unit-not-found",
            f"There is no unit {text!r} (units: {there}).",
            "Give its name as on the slate; `dryslate units list` lists them.",
        )
    if len(found) > 1:
        where = ", ".join(f"{unit_words(u)} of {u.visit_id}" for u in found)
        raise InputError(
            "unit-ambiguous",
            f"{len(found)} units are called {text!r}: {where}.",
            "Say which visit with --visit.",
        )
    return found[0]
