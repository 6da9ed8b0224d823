"""What joining by time would change, as its page shows it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from dryslate.app.unit_joining import JoinPlan
from dryslate.app.unit_records import Unit
from dryslate.web.unit_strip import Line, StripRows, strip_lines

SHOWN = 200
"""So many photos are listed one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitRow:
    """A unit with the photos it has now and would have, how many come and how many leave."""

    unit: Unit | None
    n_now: int
    n_then: int
    n_come: int
    n_leave: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedPhoto:
    """A photo that would change, with the unit it has now and would have."""

    photo_id: str
    name: str
    before: Unit | None
    after: Unit | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakRow:
    """A gap that ends what follows a slate: which unit, between which photos, how long."""

    unit: Unit
    last: str
    next: str
    gap_min: float
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """
    What joining by time would change.

    Parameters
    ----------
    key : str
        `JoinPlan.key` of what is shown.
    gap_min : float
    n_changes : int
    units : tuple of UnitRow
        The last stands for no unit.
    moved : tuple of MovedPhoto
        The first of them, see `SHOWN`.
    breaks : tuple of BreakRow
    lines : tuple of Line
        The strip as it would be.
    n_before_first, n_after_break, n_without_time, n_by_hand : int
    slates_without_time : tuple of str
        Names of photos.
    has_slates : bool
    """

    key: str
    gap_min: float
    n_changes: int
    units: tuple[UnitRow, ...]
    moved: tuple[MovedPhoto, ...]
    breaks: tuple[BreakRow, ...]
    lines: tuple[Line, ...]
    n_before_first: int
    n_after_break: int
    n_without_time: int
    n_by_hand: int
    slates_without_time: tuple[str, ...]
    has_slates: bool


def preview_of(rows: StripRows, plan: JoinPlan) -> Preview:
    """
    Lay out what joining by time would change.

    Parameters
    ----------
    rows : StripRows
        As things are.
    plan : JoinPlan
    """
    after = {k: j for k, j in {**rows.joins, **plan.changes}.items() if j is not None}
    then = replace(rows, joins=after)
    name = {p.photo_id: p.files[0].original_name for p in rows.photos}
    ids = [p.photo_id for p in rows.photos if p.photo_id in plan.changes]
    return Preview(
        key=plan.key,
        gap_min=plan.gap_min,
        n_changes=len(plan.changes),
        units=tuple(_unit_rows(rows, then, ids)),
        moved=tuple(
            MovedPhoto(photo_id=i, name=name[i], before=_unit(rows, i), after=_unit(then, i))
            for i in ids[:SHOWN]
        ),
        breaks=tuple(
            BreakRow(
                unit=rows.units[one.unit_id],
                last=name[one.last],
                next=name[one.next],
                gap_min=one.gap_min,
                address="/photos?" + urlencode({"visit": rows.visit_id, "stretch": one.next}),
            )
            for one in plan.breaks
        ),
        lines=tuple(strip_lines(then)),
        n_before_first=len(plan.before_first),
        n_after_break=len(plan.after_break),
        n_without_time=len(plan.without_time),
        n_by_hand=plan.n_by_hand,
        slates_without_time=tuple(name[i] for i in plan.slates_without_time),
        has_slates=any(join.how == "slate" for join in rows.joins.values()),
    )


def _unit(rows: StripRows, photo_id: str) -> Unit | None:
    """The unit a photo belongs to."""
    join = rows.joins.get(photo_id)
    return rows.units.get(join.unit_id or "") if join is not None else None


def _unit_rows(now: StripRows, then: StripRows, changed: list[str]) -> list[UnitRow]:
    """Count photos by unit, slates left out: those that change, and no unit at the end."""
    counts = [_counts(rows) for rows in (now, then)]
    before = [_key(_unit(now, i)) for i in changed]
    after = [_key(_unit(then, i)) for i in changed]
    keys = list(dict.fromkeys(key for key in (*after, *before) if key))
    return [
        UnitRow(
            unit=now.units.get(key),
            n_now=counts[0][key],
            n_then=counts[1][key],
            n_come=after.count(key),
            n_leave=before.count(key),
        )
        for key in (*keys, "")
        if key or "" in before or "" in after
    ]


def _key(unit: Unit | None) -> str:
    """The id of a unit, empty for none."""
    return "" if unit is None else unit.unit_id


def _counts(rows: StripRows) -> Counter[str]:
    """Count the photos of each unit, slates and photos set aside left out."""
    return Counter(
        _key(_unit(rows, p.photo_id))
        for p in rows.photos
        if p.photo_id not in rows.aside
        and not (p.photo_id in rows.joins and rows.joins[p.photo_id].how == "slate")
    )
