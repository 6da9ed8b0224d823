"""What people do with units on the pages, one word each, and undoing it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from dryslate import wiring
from dryslate.app import set_aside as asides
from dryslate.app import units
from dryslate.app.unit_edits import Edit, save_edit
from dryslate.app.unit_words import UnitWords
from dryslate.web.errors import Refusal
from dryslate.web.languages import N_

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.web.reach import Reach

DEEPEST = 50
"""So many edits of one person on one visit can be undone."""

SAID: Mapping[str, tuple[str, str]] = {
    "slate": (N_("{n} photo shows a slate"), N_("{n} photos show slates")),
    "no_slate": (N_("{n} photo shows no slate"), N_("{n} photos show no slate")),
    "move": (N_("{n} photo put to {unit}"), N_("{n} photos put to {unit}")),
    "none": (N_("{n} photo is of no unit"), N_("{n} photos are of no unit")),
    "time": (N_("time decides for {n} photo"), N_("time decides for {n} photos")),
    "aside": (N_("{n} photo set aside"), N_("{n} photos set aside")),
    "back": (N_("{n} photo taken back"), N_("{n} photos taken back")),
    "start": (N_("{unit} begun with {n} photo"), N_("{unit} begun with {n} photos")),
    "change": (N_("{unit} saved"), N_("{unit} saved")),
    "merge": (N_("{n} photo put to {unit}"), N_("{n} photos put to {unit}")),
    "remove": (N_("{unit} taken out"), N_("{unit} taken out")),
    "join": (N_("{n} photo joined by time"), N_("{n} photos joined by time")),
}
"""What was done, for the line with Undo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Something that was done: which word of `SAID`, the unit's name, and the edit."""

    what: str
    edit: Edit
    unit: str = ""

    @property
    def n(self) -> int:
        """Photos it touches."""
        return len(self.edit.photo_ids)


@dataclass(slots=True)
class Stack:
    """What one person did on one visit, and what they undid of it."""

    done: list[Done] = field(default_factory=list)
    undone: list[Done] = field(default_factory=list)


class UndoBook:
    """What can be undone, by observer and visit; forgotten when the server ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._stacks: dict[tuple[str, str], Stack] = {}

    def add(self, who: tuple[str, str], done: Done) -> None:
        """Write down what was done; what was undone before is forgotten."""
        if done.edit.is_empty:
            return
        with self._lock:
            stack = self._stacks.setdefault(who, Stack())
            stack.done = [*stack.done[-DEEPEST:], done]
            stack.undone = []

    def top(self, who: tuple[str, str]) -> tuple[Done | None, Done | None]:
        """Return what would be undone next, and what would be done again next."""
        with self._lock:
            stack = self._stacks.get(who, Stack())
            return (
                stack.done[-1] if stack.done else None,
                stack.undone[-1] if stack.undone else None,
            )

    def turn(self, store: SurveyStore, who: tuple[str, str], *, again: bool) -> Done:
        """
        Undo the last thing, or do again what was undone last.

        Raises
        ------
        InputError
            ``changed-meanwhile``; it can then not be undone any more.
        Refusal
            ``page-not-found`` where there is nothing.
        """
        with self._lock:
            stack = self._stacks.get(who, Stack())
            source, target = (stack.undone, stack.done) if again else (stack.done, stack.undone)
            if not source:
                raise Refusal("page-not-found", 404)
            done = source.pop()
            save_edit(store, done.edit if again else done.edit.reversed())
            target.append(done)
            return done


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """
    What a person asked for.

    Parameters
    ----------
    do : str
        One of `WORK`.
    ids : tuple of str
        Photos.
    visit_id, unit : str
        Unit by its id; empty where none.
    name : str
        Of a unit that begins.
    reason, note : str
        Why photos are set aside.
    observer : str
    """

    do: str
    ids: tuple[str, ...]
    visit_id: str
    observer: str
    unit: str = ""
    name: str = ""
    reason: str = ""
    note: str = ""


def undo_book(reach: Reach) -> UndoBook:
    """Return what can be undone on this server."""
    return cast(UndoBook, reach.keep("undo book", UndoBook))


def do_work(store: SurveyStore, asked: Asked) -> Done:
    """
    Do what was asked.

    Raises
    ------
    Refusal
        ``page-input`` where it is not known, or no photo is chosen.
    InputError
        As the use case has it.
    """
    if asked.do not in WORK or not asked.ids:
        raise Refusal("page-input", 422, "do" if asked.do not in WORK else "photo")
    return WORK[asked.do](store, asked)


def _slate(store: SurveyStore, asked: Asked) -> Done:
    """Mark slates; where all of them are slates already, take the mark away."""
    joins = {join.photo_id: join for join in store.unit_photos()}
    marked = [i for i in asked.ids if i in joins and joins[i].how == "slate"]
    if len(marked) == len(asked.ids):
        return Done(what="no_slate", edit=units.unmark_slates(store, asked.ids))
    edit = units.mark_slates(store, asked.ids, None, asked.observer, by_photos=True)
    return Done(what="slate", edit=edit)


def _move(store: SurveyStore, asked: Asked) -> Done:
    """Put photos to a unit."""
    unit = units.require_unit(store, asked.unit)
    edit = units.move_photos(store, asked.ids, unit.unit_id)
    return Done(what="move", edit=edit, unit=unit.name or "")


def _start(store: SurveyStore, asked: Asked) -> Done:
    """Begin a unit with photos; its kind and zone are those of the unit before."""
    before = store.units(asked.visit_id)
    words = UnitWords(
        name=asked.name,
        kind=before[-1].kind if before else None,
        zone=before[-1].zone if before else None,
    )
    who = units.surveyor_of(store, asked.ids, asked.observer)
    edit = units.start_unit(store, asked.visit_id, words, who, asked.ids)
    (unit,) = (after for _, after in edit.units.values() if after is not None)
    return Done(what="start", edit=edit, unit=unit.name or "")


def _aside(store: SurveyStore, asked: Asked) -> Done:
    """Set photos aside."""
    who = (asked.observer, wiring.clock().now_utc())
    edit = asides.set_aside(store, asked.ids, (asked.reason, asked.note), who)
    return Done(what="aside", edit=edit)


WORK: Mapping[str, Callable[[SurveyStore, Asked], Done]] = {
    "slate": _slate,
    "move": _move,
    "none": lambda store, asked: Done(what="none", edit=units.move_photos(store, asked.ids, None)),
    "time": lambda store, asked: Done(what="time", edit=units.let_time_say(store, asked.ids)),
    "start": _start,
    "aside": _aside,
    "back": lambda store, asked: Done(what="back", edit=asides.take_back(store, asked.ids)),
}
"""What can be done with chosen photos."""
