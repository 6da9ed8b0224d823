"""Visits begun by mistake: taken out while empty, corrected, put to another; and taken back."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.note_records import find_photo
from dryslate.app.unit_list import find_unit
from dryslate.app.visit_edit_records import VisitEdit, What
from dryslate.app.visit_moving import clocks_left, plan_all, plan_some
from dryslate.app.visits import require_observer, require_visit, visit_of
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo, Visit

LONGEST_REASON = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """Why something is done to a visit, who does it, and when (ISO 8601, UTC)."""

    reason: str
    observer: str
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitDone:
    """
    What was done to a visit.

    Parameters
    ----------
    edit : VisitEdit
    clocks_left : tuple of str
        Cameras whose clock did not go along: the other visit has photos of them, and its own
        clock for them, or none.
    """

    edit: VisitEdit
    clocks_left: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the edit, for JSON."""
        return {**self.edit.as_dict(), "clocks_left": list(self.clocks_left)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Photos of a visit, and units by id that go with all their photos, or without any."""

    photos: tuple[Photo, ...] = ()
    units: frozenset[str] = frozenset()


def withdraw_visit(store: SurveyStore, visit_id: str, why: Why) -> VisitDone:
    """
    Take out a visit that holds nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    visit_id : str
    why : Why

    Returns
    -------
    VisitDone

    Raises
    ------
    InputError
        ``visit-unknown``, ``visit-not-empty``, ``visit-reason``.
    """
    visit, why = visit_of(store, visit_id), _require_why(store, why)
    held = store.visit_contents(visit_id)
    if any(held.values()):
        photos, units, corals = held["photos"], held["units"], held["records"]
        others = sum(held.values()) - photos - units - corals
        raise InputError(
            "visit-not-empty",
            f"{visit.site} on {visit.date} is not empty, so it cannot be taken out (photos: "
            f"{photos}, units: {units}, corals: {corals}, other things: {others}).",
            "Correct its site and date, or move its photos and notes to another visit.",
        )
    with store.write():
        first = store.last_change()
        store.drop_visit(visit_id)
        return VisitDone(edit=_stored(store, "withdrawn", visit_id, first, why))


def correct_visit(
    store: SurveyStore,
    visit_id: str,
    why: Why,
    *,
    site: str = "",
    date: str = "",
    whose: str = "",
) -> VisitDone:
    """
    Correct site, date or observer of a visit; all it holds goes along.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    visit_id : str
    why : Why
    site, date : str
        Empty: as it is.
    whose : str
        Whose visit it is, and whose photos that were said to be the first one's; empty: as it is.

    Returns
    -------
    VisitDone

    Raises
    ------
    InputError
        ``visit-unknown``, ``visit-there-already``, ``visit-same``, ``visit-reason``, and those of
        `dryslate.app.visits.require_visit` and `dryslate.app.visit_moving.plan_all`.
    """
    old, why = visit_of(store, visit_id), _require_why(store, why)
    new = require_visit(store, site or old.site, date or old.date, old.observer)
    whose = require_observer(store, whose) if whose.strip() else old.observer
    if new.visit_id != old.visit_id and new.visit_id in {v.visit_id for v in store.visits()}:
        raise InputError(
            "visit-there-already",
            f"There is a visit to {new.site} on {new.date} already.",
            "Move all photos of this visit to that one instead.",
        )
    if new.visit_id == old.visit_id and whose == old.observer:
        raise InputError(
            "visit-same",
            "Nothing would change: site, date and observer are as they were.",
            "Write the one that was wrong anew.",
        )
    n = store.visit_contents(visit_id)["photos"]
    with store.write():
        first = store.last_change()
        if new.visit_id != old.visit_id:
            _move_all(store, old, replace(new, clock_offset_s={}))
        if whose != old.observer:
            store.save_visit_observer(new.visit_id, old.observer, whose)
        return VisitDone(edit=_stored(store, "corrected", visit_id, first, why, new.visit_id, n))


def move_to_visit(
    store: SurveyStore,
    visit_id: str,
    to: tuple[str, str],
    why: Why,
    chosen: Chosen | None = None,
) -> VisitDone:
    """
    Put photos of a visit, with their units and corals, to another, which is begun where needed.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    visit_id : str
    to : tuple of str
        Site and date of the other.
    why : Why
    chosen : Chosen, optional
        Of the visit; None: all that it holds, and it is no visit any more.

    Returns
    -------
    VisitDone

    Raises
    ------
    InputError
        ``visit-unknown``, ``visit-same``, ``visit-no-photos``, ``visit-reason``, and those of
        `dryslate.app.visits.require_visit` and `dryslate.app.visit_moving`.
    """
    old, why = visit_of(store, visit_id), _require_why(store, why)
    new = require_visit(store, *to, old.observer)
    if new.visit_id == old.visit_id:
        raise InputError(
            "visit-same",
            "Nothing would change: that is the visit they are of.",
            "Give the site and date of the other visit.",
        )
    of_visit = store.photos(visit_id)
    if chosen is not None:
        known = {photo.photo_id for photo in of_visit}
        known |= {unit.unit_id for unit in store.units(visit_id)}
        ids = {*(photo.photo_id for photo in chosen.photos), *chosen.units}
        if not ids or ids - known:
            raise InputError(
                "visit-no-photos",
                f"Nothing is chosen, or not all of it is of {old.site} on {old.date}.",
                "Choose photos or units of one visit.",
            )
    going = of_visit if chosen is None else chosen.photos
    left = clocks_left(store, old, new, going)
    with store.write():
        first = store.last_change()
        if chosen is None:
            _move_all(store, old, new)
        else:
            moving = plan_some(store, old, new, chosen.photos, chosen.units)
            store.save_visit(new)
            store.move_between_visits(moving)
        edit = _stored(store, "moved", visit_id, first, why, new.visit_id, len(going))
    return VisitDone(edit=edit, clocks_left=tuple(left))


def chosen_of(
    store: SurveyStore, visit: Visit, names: Sequence[str], units: Sequence[str]
) -> Chosen:
    """
    Choose photos of a visit by what people call them, and units with their photos.

    Parameters
    ----------
    store : SurveyStore
    visit : Visit
    names : sequence of str
        File names or hashes.
    units : sequence of str
        Names of units, or their ids.

    Raises
    ------
    InputError
        ``record-photo-unknown``, ``record-photo-ambiguous``, ``unit-not-found``,
        ``unit-ambiguous``.
    """
    of_visit = store.photos(visit.visit_id)
    chosen = {find_photo(of_visit, name).photo_id for name in names}
    wanted = {find_unit(store, name, visit.visit_id).unit_id for name in units}
    chosen |= photos_of_units(store, visit.visit_id, wanted)
    photos = tuple(photo for photo in of_visit if photo.photo_id in chosen)
    return Chosen(photos=photos, units=frozenset(wanted))


def photos_of_units(store: SurveyStore, visit_id: str, units: Collection[str]) -> set[str]:
    """Return the photos of units by id, those of their sheets too."""
    joins = store.unit_photos(visit_id)
    photos = {join.photo_id for join in joins if join.unit_id in units}
    return photos | {one.photo_id for one in store.sheet_photos() if one.unit_id in units}


def take_back_edit(store: SurveyStore, edit_no: int, why: Why) -> VisitDone:
    """
    Take back what was done to a visit, where nobody has changed what it touched since.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    edit_no : int
    why : Why
        Its reason may be empty.

    Returns
    -------
    VisitDone

    Raises
    ------
    InputError
        ``visit-edit-unknown``, ``visit-changed-since``.
    """
    edits = {edit.edit_no: edit for edit in store.visit_edits()}
    if edit_no not in edits or edit_no in taken_back(edits.values()):
        raise InputError(
            "visit-edit-unknown",
            f"There is no edit {edit_no} of a visit that could be taken back.",
            "List them with `dryslate visit list`, or on the page of any visit.",
        )
    edit = edits[edit_no]
    observer = require_observer(store, why.observer)
    told = replace(why, observer=observer, reason=_words(why.reason) or edit.reason)
    with store.write():
        first = store.last_change()
        if not store.turn_back(edit.first_change, edit.last_change):
            raise InputError(
                "visit-changed-since",
                "What this touched was changed since, so it cannot be taken back.",
                "Correct the visit as it is now instead.",
            )
        before, after = edit.to_visit_id or edit.visit_id, edit.visit_id
        made = _stored(store, "undone", before, first, told, after, edit.n_photos, edit_no)
    return VisitDone(edit=made)


def taken_back(edits: Collection[VisitEdit]) -> set[int]:
    """Return the numbers of the edits that were taken back."""
    return {edit.undoes for edit in edits if edit.undoes is not None}


def roots(edits: Collection[VisitEdit]) -> dict[int, What]:
    """Return by number what an edit did, or what the one did that it took back or did again."""
    found: dict[int, What] = {}
    for edit in edits:
        found[edit.edit_no] = edit.what if edit.undoes is None else found[edit.undoes]
    return found


def latest_edit(store: SurveyStore) -> int:
    """Return the number of the latest edit that was not taken back; 0 where there is none."""
    edits = store.visit_edits()
    back = taken_back(edits)
    return next(
        (e.edit_no for e in reversed(edits) if e.edit_no not in back and e.undoes is None), 0
    )


def _move_all(store: SurveyStore, old: Visit, new: Visit) -> None:
    """Put all that a visit holds to another, and take it out."""
    moving = plan_all(store, old, new)
    store.save_visit(new)
    store.move_between_visits(moving)
    store.drop_visit(old.visit_id)


def _require_why(store: SurveyStore, why: Why) -> Why:
    """Return why in its usual written form; refuse where no reason is given."""
    words = _words(why.reason)
    if not words or len(words) > LONGEST_REASON:
        raise InputError(
            "visit-reason",
            f"Why is this done to the visit? It takes a few words, {LONGEST_REASON} signs at most.",
            "Say what was wrong, such as: wrong date typed.",
        )
    return replace(why, reason=words, observer=require_observer(store, why.observer))


def _words(text: str) -> str:
    return " ".join(text.split())


def _stored(  # noqa: PLR0913, PLR0917  what an edit is
    store: SurveyStore,
    what: What,
    visit_id: str,
    first: int,
    why: Why,
    to_visit_id: str = "",
    n_photos: int = 0,
    undoes: int | None = None,
) -> VisitEdit:
    """Store an edit whose lines of the change log follow the line `first`."""
    edit = VisitEdit(
        what=what,
        visit_id=visit_id,
        to_visit_id=to_visit_id,
        n_photos=n_photos,
        undoes=undoes,
        first_change=first + 1,
        last_change=store.last_change(),
        reason=why.reason,
        observer=why.observer,
        edited_at=why.at,
    )
    return replace(edit, edit_no=store.save_visit_edit(edit))
