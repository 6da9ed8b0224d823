"""Who works on a project, and how much each has done."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """An observer with the number of photos, corals noted, and looks as first, second, third."""

    observer: str
    note: str
    n_photos: int
    n_records: int
    n_first: int
    n_second: int
    n_third: int


def list_people(store: SurveyStore) -> tuple[Person, ...]:
    """Return everybody by name."""
    photos = Counter(photo.observer for photo in store.photos())
    records = Counter(row.observer for row in store.records())
    looks = Counter((who, row.role) for row in store.identifications() for who in row.who())
    return tuple(
        Person(
            observer=one.observer,
            note=one.note,
            n_photos=photos[one.observer],
            n_records=records[one.observer],
            n_first=looks[one.observer, "first"],
            n_second=looks[one.observer, "second"],
            n_third=looks[one.observer, "third"],
        )
        for one in store.observers()
    )
