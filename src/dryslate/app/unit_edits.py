"""Changes to units as one piece: saved wholly or not at all, and undone the same way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeVar

from dryslate.app.unit_records import SetAside, Unit, UnitPhoto
from dryslate.app.unit_words import unit_words
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

Row = TypeVar("Row")
Pairs = Mapping[str, tuple[Row | None, Row | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """
    What was, and what is after the edit; None where there is no row.

    Parameters
    ----------
    units : Mapping of str to (Unit or None, Unit or None)
        By unit.
    photos : Mapping of str to (UnitPhoto or None, UnitPhoto or None)
        By photo.
    asides : Mapping of str to (SetAside or None, SetAside or None)
        By photo.
    """

    units: Pairs[Unit] = field(default_factory=dict)
    photos: Pairs[UnitPhoto] = field(default_factory=dict)
    asides: Pairs[SetAside] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Tell whether it changes nothing."""
        return not (self.units or self.photos or self.asides)

    @property
    def photo_ids(self) -> frozenset[str]:
        """Return the photos it touches."""
        return frozenset(self.photos) | frozenset(self.asides)

    def reversed(self) -> Edit:
        """Return the edit that undoes it."""
        return Edit(
            units={k: (b, a) for k, (a, b) in self.units.items()},
            photos={k: (b, a) for k, (a, b) in self.photos.items()},
            asides={k: (b, a) for k, (a, b) in self.asides.items()},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What rows shall be, by unit or photo; None where there shall be none."""

    units: Mapping[str, Unit | None] = field(default_factory=dict)
    photos: Mapping[str, UnitPhoto | None] = field(default_factory=dict)
    asides: Mapping[str, SetAside | None] = field(default_factory=dict)


def save_wish(store: SurveyStore, wish: Wish) -> Edit:
    """
    Bring rows to what they shall be; a unit without a name that loses its last photo goes too.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    wish : Wish

    Returns
    -------
    Edit
        Of what really changed.

    Raises
    ------
    InputError
        ``unit-in-use`` where a unit, or a photo of one, would go in which something was noted.
    """
    units = {unit.unit_id: unit for unit in store.units()}
    joins = {join.photo_id: join for join in store.unit_photos()}
    asides = {aside.photo_id: aside for aside in store.photos_set_aside()}
    emptied = _emptied(wish, units, joins) - {one.unit_id for one in store.unit_designs()}
    wish = replace(wish, units={**dict.fromkeys(emptied), **wish.units})
    edit = Edit(
        units=_pairs(units, wish.units),
        photos=_pairs(joins, wish.photos),
        asides=_pairs(asides, wish.asides),
    )
    _write(store, edit)
    return edit


def save_edit(store: SurveyStore, edit: Edit) -> None:
    """
    Save an edit, such as one reversed, where nobody has changed its rows since.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    edit : Edit

    Raises
    ------
    InputError
        ``changed-meanwhile``, ``unit-in-use``; nothing is changed then.
    """
    units = {unit.unit_id: unit for unit in store.units()}
    joins = {join.photo_id: join for join in store.unit_photos()}
    asides = {aside.photo_id: aside for aside in store.photos_set_aside()}
    is_as_was = (
        all(units.get(key) == before for key, (before, _) in edit.units.items())
        and all(joins.get(key) == before for key, (before, _) in edit.photos.items())
        and all(asides.get(key) == before for key, (before, _) in edit.asides.items())
    )
    gone = {key for key, (_, after) in edit.units.items() if after is None}
    is_needed = any(j.unit_id in gone and k not in edit.photos for k, j in joins.items())
    coming = {(u.visit_id, u.name) for _, u in edit.units.values() if u is not None and u.name}
    others = {(u.visit_id, u.name) for key, u in units.items() if key not in edit.units}
    if not is_as_was or is_needed or coming & others:
        raise changed_meanwhile()
    _write(store, edit)


def changed_meanwhile() -> InputError:
    """Say that somebody else was quicker."""
    return InputError(
        "changed-meanwhile",
        "Somebody changed these photos or units meanwhile; nothing was changed now.",
        "Load the page again and look at what holds.",
    )


def _emptied(wish: Wish, units: Mapping[str, Unit], joins: Mapping[str, UnitPhoto]) -> set[str]:
    """Name the units without a name that no photo belongs to any more."""
    touched = {joins[photo].unit_id for photo in wish.photos if photo in joins}
    after = {**joins, **wish.photos}
    used = {join.unit_id for join in after.values() if join is not None}
    return {
        unit_id for unit_id in touched - used if unit_id is not None and units[unit_id].name is None
    }


def _pairs(now: Mapping[str, Row], wished: Mapping[str, Row | None]) -> Pairs[Row]:
    """Return before and after of the rows that differ."""
    return {key: (now.get(key), row) for key, row in wished.items() if now.get(key) != row}


def _require_unnoted(store: SurveyStore, edit: Edit) -> None:
    """Refuse to take a photo out of a unit in which something is noted of it."""
    leaving: dict[str, set[str]] = {}
    for photo_id, (before, after) in edit.photos.items():
        if before is None or before.unit_id is None:
            continue
        if after is None or after.unit_id != before.unit_id:
            leaving.setdefault(before.unit_id, set()).add(photo_id)
    names = {unit.unit_id: unit for unit in store.units()} if leaving else {}
    for unit_id, ids in leaving.items():
        if not store.has_survey_rows(unit_id):
            continue
        unit = unit_words(names[unit_id])
        noted = {one.row.photo_id for one in store.survey_rows(unit_id)}
        for photo_id in sorted(ids & noted):
            photo = store.photo(photo_id)
            file = photo.files[0].original_name if photo is not None else photo_id
            raise InputError(
                "unit-in-use",
                f"{file}: what is noted of it is of {unit}, so it stays there.",
                "Put it to that unit by hand, or set it aside where it should not count.",
            )


def _write(store: SurveyStore, edit: Edit) -> None:
    """Save in an order in which nothing refers to what is not there, in one transaction."""
    gone = [before for before, after in edit.units.values() if before and after is None]
    designs = {one.unit_id for one in store.unit_designs()} if gone else set()
    for old in gone:
        if old.unit_id in designs:
            raise InputError(
                "unit-in-use",
                f"How {unit_words(old)} was sampled is stored, so it cannot be taken out.",
                "Keep the unit and change its name, or put its photos to another by hand.",
            )
    _require_unnoted(store, edit)
    with store.write():
        for _, unit in edit.units.values():
            if unit is not None:
                store.save_unit(unit)
        for photo_id, (_, join) in edit.photos.items():
            if join is None:
                store.delete_unit_photo(photo_id)
            else:
                store.save_unit_photo(join)
        for unit_id, (_, unit) in edit.units.items():
            if unit is None:
                store.delete_unit(unit_id)
        for photo_id, (_, aside) in edit.asides.items():
            if aside is None:
                store.delete_set_aside(photo_id)
            else:
                store.save_set_aside(aside)
