"""Edits of visits as a whole, as they are stored: taken out, corrected, photos put elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, Protocol

What = Literal["withdrawn", "corrected", "moved", "undone"]
CONTENTS = (
    "photos",
    "files",
    "units",
    "records",
    "sightings",
    "judgements",
    "colonies",
    "archived_photos",
)
"""What a visit can hold; one that holds none of it is empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitEdit:
    """
    An edit of a visit.

    Parameters
    ----------
    what : str
        One of `What`.
    visit_id, to_visit_id : str
        The visit before, and what it is called since or where its photos went; the latter empty
        where it was taken out.
    n_photos : int
        Photos that went along.
    first_change, last_change : int
        Its lines of the change log.
    reason, observer, edited_at : str
    undoes : int or None
        The edit that it took back.
    edit_no : int
        Counts up; 0 before it is stored.
    """

    what: What
    visit_id: str
    reason: str
    observer: str
    edited_at: str
    first_change: int
    last_change: int
    to_visit_id: str = ""
    n_photos: int = 0
    undoes: int | None = None
    edit_no: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """
    What goes from one visit to another.

    Parameters
    ----------
    old, new : str
        Visits by id.
    photos, files, units, records : frozenset of str or None
        Which, by id (files by hash); None: all that the visit holds, its colonies too.
    clocks : frozenset of str
        Cameras whose clock goes along, of photos that are chosen.
    zones : Mapping of str to str
        Zones that the units use, with the site they come from.
    """

    old: str
    new: str
    photos: frozenset[str] | None = None
    files: frozenset[str] = frozenset()
    units: frozenset[str] = frozenset()
    records: frozenset[str] = frozenset()
    clocks: frozenset[str] = frozenset()
    zones: Mapping[str, str] = field(default_factory=dict)


class VisitEditStore(Protocol):
    """Visits taken out, corrected and joined, each in one transaction of the caller."""

    def visit_edits(self) -> tuple[VisitEdit, ...]:
        """Return every edit, oldest first."""

    def save_visit_edit(self, edit: VisitEdit) -> int:
        """Add an edit; returns its number."""

    def visit_contents(self, visit_id: str) -> dict[str, int]:
        """Count what a visit holds, by the words of `CONTENTS`."""

    def move_between_visits(self, moving: Moving) -> None:
        """Put what a visit holds to another; rows of the same key that are there already stay."""

    def save_visit_observer(self, visit_id: str, old: str, new: str) -> None:
        """Change whose a visit is, and those of its photos and files that were `old`'s."""

    def drop_visit(self, visit_id: str) -> None:
        """Take out a visit that holds nothing, and its site where that is of no more use."""

    def last_change(self) -> int:
        """Return the number of the change log's last line."""

    def turn_back(self, first: int, last: int) -> bool:
        """
        Make every row what it was before these lines of the change log.

        False, and some of it may be done, where a row is not any more as they left it: the caller
        gives up the transaction.
        """
