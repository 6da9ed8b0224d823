"""What still stands between each visit and a finished result, and how long it will take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Any, Literal

from dryslate.app.faulty_units import blank_units, faulty_units, open_points
from dryslate.app.standing_names import standing_names

if TYPE_CHECKING:
    from dryslate.app.identification_rows import IdentificationRow, RecordRow
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import CorrectionRow, Photo, Visit
    from dryslate.app.unit_records import Unit

Kind = Literal[
    "one_copy",
    "not_corrected",
    "unit_no_name",
    "no_unit",
    "unit_no_photos",
    "unit_blank",
    "points_open",
    "unit_faults",
    "refused",
    "no_card",
    "unreadable",
    "no_scale",
    "no_corals",
    "no_name",
    "second_look",
    "third_look",
    "not_confirmed",
]

MINUTES: Mapping[Kind, float] = {
    "one_copy": 0.02,
    "not_corrected": 0.01,
    "unit_no_name": 0.3,
    "no_unit": 0.1,
    "unit_no_photos": 1.0,
    "unit_blank": 5.0,
    "points_open": 3.0,
    "unit_faults": 2.0,
    "refused": 1.0,
    "no_card": 1.5,
    "unreadable": 1.0,
    "no_scale": 2.0,
    "no_corals": 4.0,
    "no_name": 2.0,
    "second_look": 2.0,
    "third_look": 3.0,
    "not_confirmed": 2.0,
}
"""Minutes one of each takes, until the team's own pace is known: a first guess, not measured."""
BY_MACHINE: frozenset[Kind] = frozenset({"not_corrected", "one_copy"})
"""What the computer does by itself once it is told to."""
BY_EYE: frozenset[Kind] = frozenset({"no_name", "second_look", "third_look", "not_confirmed"})
"""What takes a look at a coral, at the team's own pace once that is known."""
LONGEST_GAP_MIN = 15.0
FEWEST_GAPS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftItem:
    """
    One kind of thing that is left to do on a visit.

    Parameters
    ----------
    kind : str
        See `MINUTES`.
    n : int
        How many.
    minutes : float
        How long they will likely take together.
    first : str
        The photo or record to begin with, by id.
    reasons : tuple of (str, int)
        Slugs of why, with how often, the most frequent first; empty where there is one reason.
    is_own_pace : bool
        Whether the minutes come from the team's own pace.
    """

    kind: Kind
    n: int
    minutes: float
    first: str
    reasons: tuple[tuple[str, int], ...] = ()
    is_own_pace: bool = False

    @property
    def is_by_machine(self) -> bool:
        """Tell whether the computer does it by itself."""
        return self.kind in BY_MACHINE


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLeft:
    """
    A visit with what is left to do, and what is done.

    Parameters
    ----------
    visit : Visit
    items : tuple of LeftItem
        In the order in which they are best done.
    n_photos, n_corrected, n_records, n_named, n_settled : int
    n_left_alone : int
        Photos that somebody set aside with a reason; in `n_photos` and in no item, but for the
        copies that keep them safe.
    n_units : int
    is_empty : bool
        Nothing was taken in or noted yet: it may have been begun by mistake.
    """

    visit: Visit
    items: tuple[LeftItem, ...]
    n_photos: int
    n_corrected: int
    n_records: int
    n_named: int
    n_settled: int
    n_left_alone: int = 0
    n_units: int = 0
    is_empty: bool = False

    @property
    def minutes(self) -> float:
        """Return how long the whole visit will likely take a person."""
        return sum(item.minutes for item in self.items if not item.is_by_machine)


def left_to_do(store: SurveyStore) -> tuple[VisitLeft, ...]:
    """
    Return what is left to do, visit by visit, the newest visit first.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    tuple of VisitLeft
    """
    book = _Book(store)
    return tuple(book.visit(visit) for visit in reversed(store.visits()))


def own_pace_min(identifications: Iterable[IdentificationRow]) -> float | None:
    """
    Return the team's own minutes an identification, or None before there are enough of them.

    Parameters
    ----------
    identifications : iterable of IdentificationRow

    Returns
    -------
    float or None
        Median time between one identification and the same observer's next, longer gaps than a
        quarter of an hour being breaks.

    Notes
    -----
    Times are to the second; identifications stored in one go tell nothing and are left out.
    """
    by_observer: dict[str, list[datetime]] = {}
    for row in identifications:
        by_observer.setdefault(row.observer, []).append(datetime.fromisoformat(row.identified_at))
    gaps = []
    for times in by_observer.values():
        ordered = sorted(times)
        steps = [(b - a).total_seconds() / 60.0 for a, b in pairwise(ordered)]
        gaps += [step for step in steps if 0.0 < step <= LONGEST_GAP_MIN]
    return median(gaps) if len(gaps) >= FEWEST_GAPS else None


class _Book:
    """All rows that tell what is left, sorted by visit once."""

    def __init__(self, store: SurveyStore) -> None:
        self.all_photos = _by_visit(store.photos())
        self.aside = {one.photo_id for one in store.photos_set_aside()}
        self.units = _by_visit(store.units())
        stated = {one.unit_id: one.design.design for one in store.unit_designs()}
        self.without_photos = {i for i, design in stated.items() if design != "photo_points"}
        self.blank, self.faulty = blank_units(store), faulty_units(store)
        self.joins = {join.photo_id: join for join in store.unit_photos()}
        self.corrections = {row.photo_id: row for row in store.corrections()}
        broken = {i for i, row in self.corrections.items() if row.outcome == "unreadable"}
        self.open_points = open_points(store, self.joins.values(), self.aside | broken)
        self.followed = {frame.photo_id for frame in store.colony_frames()}
        names = standing_names(store)
        self.status = {name.record.record_id: name.status for name in names}
        self.records = _by_visit(
            name.record for name in names if name.record.photo_id not in self.aside
        )
        drawn = {c.record_id for c in store.review_chances() if c.is_drawn}
        self.waiting = drawn - {o.record_id for o in store.review_outcomes()}
        self.pace = own_pace_min(store.identifications())
        self.contents = store.visit_contents
        self.proved: dict[str, set[str]] = {}
        for copy in store.copies():
            if copy.is_proved:
                self.proved.setdefault(copy.sha256, set()).add(copy.drive)

    def visit(self, visit: Visit) -> VisitLeft:
        """Put one visit together."""
        everything = self.all_photos.get(visit.visit_id, [])
        photos = [photo for photo in everything if photo.photo_id not in self.aside]
        records = self.records.get(visit.visit_id, [])
        outcomes = Counter(
            row.outcome for p in photos if (row := self.corrections.get(p.photo_id)) is not None
        )
        status = Counter(self.status[r.record_id] for r in records)
        return VisitLeft(
            visit=visit,
            items=(
                *self._item("one_copy", [p.photo_id for p in everything if not self._is_safe(p)]),
                *self._items(photos, records, self.units.get(visit.visit_id, [])),
            ),
            n_photos=len(photos),
            n_corrected=outcomes["corrected"] + outcomes["borrowed"],
            n_records=len(records),
            n_named=len(records) - status["no name"],
            n_settled=status["agreed"] + status["settled"] + status["together"],
            n_left_alone=len(everything) - len(photos),
            n_units=len(self.units.get(visit.visit_id, [])),
            is_empty=not (everything or records) and self.is_empty(visit.visit_id),
        )

    def is_empty(self, visit_id: str) -> bool:
        """Tell whether a visit holds nothing, tagged colonies and other files too."""
        return not any(self.contents(visit_id).values())

    def _items(
        self, photos: Sequence[Photo], records: Sequence[RecordRow], units: Sequence[Unit]
    ) -> Iterable[LeftItem]:
        """Say what is left beside copies, in the order in which it is best done."""
        every = [(p.photo_id, self.corrections.get(p.photo_id)) for p in photos]
        rows = [
            (i, row)
            for i, row in every
            if not self._is_slate(i) or (row is not None and row.outcome == "unreadable")
        ]
        yield from self._units_left(photos, units)
        yield from self._item("not_corrected", [i for i, row in rows if row is None])
        kinds: tuple[Kind, ...] = ("unreadable", "no_card", "refused")
        for kind in kinds:
            chosen = [row for _, row in rows if row is not None and row.outcome == kind]
            yield from self._item(kind, [r.photo_id for r in chosen], _reasons(chosen))
        yield from self._item("no_scale", [r.record_id for r in records if self._lacks_scale(r)])
        is_done = any(row is not None and row.outcome == "corrected" for _, row in rows)
        if not records and is_done and self.followed.isdisjoint(p.photo_id for p in photos):
            first = next(i for i, row in rows if row is not None and row.outcome == "corrected")
            yield from self._item("no_corals", [first])
        by_status = {
            status: [r.record_id for r in records if self.status[r.record_id] == status]
            for status in ("no name", "open", "reopened", "coarser", "finer")
        }
        yield from self._item("no_name", by_status["no name"])
        waiting = [r.record_id for r in records if r.record_id in self.waiting]
        yield from self._item("second_look", waiting)
        yield from self._item("third_look", by_status["open"] + by_status["reopened"])
        yield from self._item("not_confirmed", by_status["coarser"] + by_status["finer"])

    def _units_left(self, photos: Sequence[Photo], units: Sequence[Unit]) -> Iterable[LeftItem]:
        """Say what is left of joining photos to units, on a visit that has units."""
        if not units:
            return
        joins = [(p.photo_id, self.joins.get(p.photo_id)) for p in photos]
        held = {j.unit_id for _, j in joins if j is not None and j.how != "slate"}
        yield from self._item("unit_no_name", [u.unit_id for u in units if u.name is None])
        yield from self._item("no_unit", [i for i, join in joins if join is None])
        held |= self.without_photos  # tapes, belts, quadrats and swims are noted on paper
        empty = [u.unit_id for u in units if u.name is not None and u.unit_id not in held]
        yield from self._item("unit_no_photos", empty)
        blank = self.blank - set(empty)
        yield from self._item("unit_blank", [u.unit_id for u in units if u.unit_id in blank])
        yield from self._item(
            "points_open", [u.unit_id for u in units if u.unit_id in self.open_points]
        )
        faulty = [u.unit_id for u in units if u.unit_id in self.faulty]
        slugs = sum((self.faulty[unit_id] for unit_id in faulty), Counter[str]())
        yield from self._item("unit_faults", faulty, tuple(slugs.most_common()))

    def _is_slate(self, photo_id: str) -> bool:
        """Tell whether a photo shows a slate, which needs no card."""
        join = self.joins.get(photo_id)
        return join is not None and join.how == "slate"

    def _item(
        self, kind: Kind, found: Sequence[str], reasons: tuple[tuple[str, int], ...] = ()
    ) -> Iterable[LeftItem]:
        """Make the item of a kind, where there is any."""
        if not found:
            return
        by_pace = kind in BY_EYE and self.pace is not None
        each = self.pace if by_pace and self.pace is not None else MINUTES[kind]
        yield LeftItem(
            kind=kind,
            n=len(found),
            minutes=each * len(found),
            first=found[0],
            reasons=reasons,
            is_own_pace=by_pace,
        )

    def _is_safe(self, photo: Photo) -> bool:
        """Tell whether every file of a photo was read back from two drives."""
        return all(len(self.proved.get(f.sha256, ())) >= 2 for f in photo.files)

    def _lacks_scale(self, record: RecordRow) -> bool:
        """Tell whether a coral's photo carries no scale that can be trusted."""
        row = self.corrections.get(record.photo_id or "")
        if row is None:
            is_bare = not record.measurement_ids and not record.sizes_noted
            return record.photo_id is None and is_bare
        scale = row.result.get("scale")
        usable = isinstance(scale, Mapping) and bool(scale.get("usable"))
        return not usable and not record.measurement_ids


def _by_visit(rows: Iterable[Any]) -> dict[str, list[Any]]:
    """Sort rows by their visit."""
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row.visit_id, []).append(row)
    return found


def _reasons(rows: Sequence[CorrectionRow]) -> tuple[tuple[str, int], ...]:
    """Count the slugs of what went wrong, the most frequent first."""
    slugs = Counter(
        next(
            (p["slug"] for p in row.result.get("problems", ()) if p.get("severity") == "error"),
            row.outcome,
        )
        for row in rows
    )
    return tuple(slugs.most_common())
