"""Units of a visit: slates that start them, their names, and the photos that belong to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from dryslate.app.records import Photo
from dryslate.app.unit_edits import Edit, Wish, changed_meanwhile, save_wish
from dryslate.app.unit_joining import GAP_MIN, JoinPlan, plan_joins
from dryslate.app.unit_records import Unit, UnitPhoto
from dryslate.app.unit_words import UnitWords, new_unit, said, unit_words
from dryslate.app.visits import require_name, require_observer, visit_of
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def mark_slates(
    store: SurveyStore,
    photo_ids: Sequence[str],
    words: UnitWords | None,
    observer: str,
    by_photos: bool = False,
) -> Edit:
    """
    Say that photos show slates: each starts a unit, or all of them the one that is described.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    photo_ids : sequence of str
    words : UnitWords or None
        None: each photo starts a unit of its own that has no name yet.
    observer : str
        Who surveyed the units that come to be.
    by_photos : bool
        Whose photo shows a unit's slate surveyed it, where that is known.

    Returns
    -------
    Edit
        Photos that are slates already stay as they are, unless `words` are given.

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``unit-other-visit``, ``unit-name-taken``, ``unit-kind``,
        ``unit-depth``, ``name-empty``, ``name-odd``, ``name-nearly``.
    """
    photos = photos_by_id(store, photo_ids)
    if words is not None:
        unit = new_unit(store, one_visit(photos), words, observer, photos[0].photo_id)
        return save_wish(store, Wish(units={unit.unit_id: unit}, photos=slates(unit, photos)))
    joins = {join.photo_id: join for join in store.unit_photos()}
    units: dict[str, Unit | None] = {}
    wished: dict[str, UnitPhoto | None] = {}
    for photo in photos:
        if photo.photo_id in joins and joins[photo.photo_id].how == "slate":
            continue
        visit_id = photo.visit_id
        who = (photo.observer if by_photos else None) or observer
        unit = new_unit(store, visit_id, UnitWords(), who, photo.photo_id, units)
        units[unit.unit_id] = unit
        wished |= slates(unit, [photo])
    return save_wish(store, Wish(units=units, photos=wished))


def surveyor_of(store: SurveyStore, photo_ids: Sequence[str], observer: str) -> str:
    """Return whose photos they all are, else who says that they are a unit."""
    whose = {photo.observer for photo in photos_by_id(store, photo_ids)}
    return (whose.pop() if len(whose) == 1 else None) or observer


def add_slates(store: SurveyStore, unit_id: str, photo_ids: Sequence[str]) -> Edit:
    """
    Say that photos show the slate of a unit that is there: photographed twice, or by two cameras.

    Raises
    ------
    InputError
        ``unit-unknown``, ``photo-not-in-project``, ``unit-other-visit``.
    """
    unit = require_unit(store, unit_id)
    photos = photos_by_id(store, photo_ids)
    require_visit_of(unit, photos)
    return save_wish(store, Wish(photos=slates(unit, photos)))


def unmark_slates(store: SurveyStore, photo_ids: Sequence[str]) -> Edit:
    """
    Say that photos show no slate after all; they belong to no unit then.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photos = photos_by_id(store, photo_ids)
    joins = {join.photo_id: join for join in store.unit_photos()}
    wished: dict[str, UnitPhoto | None] = {
        p.photo_id: None for p in photos if p.photo_id in joins and joins[p.photo_id].how == "slate"
    }
    for unit_id in _left_empty(store, joins, wished):
        wished |= {k: None for k, j in joins.items() if j.unit_id == unit_id and j.how == "time"}
    return save_wish(store, Wish(photos=wished))


def start_unit(
    store: SurveyStore,
    visit_id: str,
    words: UnitWords,
    observer: str,
    photo_ids: Sequence[str] = (),
) -> Edit:
    """
    Make a unit without a slate, with photos that belong to it by hand.

    Raises
    ------
    InputError
        ``visit-unknown``, and as `mark_slates`.
    """
    photos = photos_by_id(store, photo_ids)
    visit_of(store, visit_id)
    if photos and one_visit(photos) != visit_id:
        raise other_visit(photos[0], visit_id)
    require_name(words.name or "", "unit")
    unit = new_unit(store, visit_id, words, observer, "")
    wished = {p.photo_id: by_hand(p.photo_id, unit.unit_id) for p in photos}
    return save_wish(store, Wish(units={unit.unit_id: unit}, photos=wished))


def change_unit(
    store: SurveyStore, unit_id: str, words: UnitWords, observer: str | None = None
) -> Edit:
    """
    Say a unit's name, kind, zone, depth and note anew; what is None becomes unknown.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    unit_id : str
    words : UnitWords
    observer : str or None
        Who surveyed it; as before where not given.

    Raises
    ------
    InputError
        ``unit-unknown``, ``unit-name-taken``, ``unit-kind``, ``unit-depth``, ``name-odd``,
        ``name-nearly``.
    """
    unit = require_unit(store, unit_id)
    by = unit.observer if observer is None else require_observer(store, observer)
    after = said(store, replace(unit, observer=by), words)
    return save_wish(store, Wish(units={unit_id: after}))


def move_photos(store: SurveyStore, photo_ids: Sequence[str], unit_id: str | None) -> Edit:
    """
    Say by hand which unit photos belong to, or that they belong to none.

    Slates of that very unit stay slates; a slate of another unit becomes an ordinary photo.

    Raises
    ------
    InputError
        ``unit-unknown``, ``photo-not-in-project``, ``unit-other-visit``.
    """
    photos = photos_by_id(store, photo_ids)
    if unit_id is not None:
        require_visit_of(require_unit(store, unit_id), photos)
    joins = {join.photo_id: join for join in store.unit_photos()}
    wished: dict[str, UnitPhoto | None] = {}
    for photo in photos:
        now = joins.get(photo.photo_id)
        if now is None or now.how != "slate" or now.unit_id != unit_id:
            wished[photo.photo_id] = by_hand(photo.photo_id, unit_id)
    return save_wish(store, Wish(photos=wished))


def let_time_say(store: SurveyStore, photo_ids: Sequence[str]) -> Edit:
    """
    Take back what was said by hand of photos, so that joining by time looks at them again.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photos = photos_by_id(store, photo_ids)
    joins = {join.photo_id: join for join in store.unit_photos()}
    hand = [p.photo_id for p in photos if (j := joins.get(p.photo_id)) and j.how == "hand"]
    return save_wish(store, Wish(photos=dict.fromkeys(hand)))


def merge_unit(store: SurveyStore, unit_id: str, into_id: str) -> Edit:
    """
    Put all photos of one unit to another and take the first out: its slate was photographed twice.

    Raises
    ------
    InputError
        ``unit-unknown``, ``unit-other-visit``.
    """
    unit, into = require_unit(store, unit_id), require_unit(store, into_id)
    if unit.visit_id != into.visit_id or unit == into:
        raise InputError(
            "unit-other-visit",
            f"{unit_words(unit)} and {unit_words(into)} are not two units of one visit.",
            "Choose another unit of the same visit.",
        )
    wished: dict[str, UnitPhoto | None] = {
        j.photo_id: replace(j, unit_id=into_id) for j in store.unit_photos() if j.unit_id == unit_id
    }
    return save_wish(store, Wish(units={unit_id: None}, photos=wished))


def remove_unit(store: SurveyStore, unit_id: str) -> Edit:
    """
    Take a unit out; its photos stay and belong to none.

    Raises
    ------
    InputError
        ``unit-unknown``.
    """
    require_unit(store, unit_id)
    mine = [join.photo_id for join in store.unit_photos() if join.unit_id == unit_id]
    return save_wish(store, Wish(units={unit_id: None}, photos=dict.fromkeys(mine)))


def look_at_times(store: SurveyStore, visit_id: str, gap_min: float = GAP_MIN) -> JoinPlan:
    """
    Say what joining a visit's photos by time would change; nothing is saved.

    Raises
    ------
    InputError
        ``unit-gap``.
    """
    joins = {join.photo_id: join for join in store.unit_photos(visit_id)}
    aside = {one.photo_id for one in store.photos_set_aside(visit_id)}
    return plan_joins(store.photos(visit_id), joins, aside, gap_min)


def join_by_time(
    store: SurveyStore, visit_id: str, gap_min: float = GAP_MIN, seen: str | None = None
) -> tuple[Edit, JoinPlan]:
    """
    Join a visit's photos by time; what was said by hand stays.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    visit_id : str
    gap_min : float
        A pause longer than this, in minutes, ends what follows a slate.
    seen : str or None
        `JoinPlan.key` of the plan somebody looked at; where it would be another now, nothing is
        saved.

    Raises
    ------
    InputError
        ``unit-gap``, ``changed-meanwhile``.
    """
    plan = look_at_times(store, visit_id, gap_min)
    if seen is not None and seen != plan.key:
        raise changed_meanwhile()
    return save_wish(store, Wish(photos=plan.changes)), plan


def usual_gap(store: SurveyStore, visit_id: str) -> float:
    """Return the limit that a visit was last joined with, else the usual one."""
    used = [j.gap_min for j in store.unit_photos(visit_id) if j.gap_min is not None]
    return max(set(used), key=used.count) if used else GAP_MIN


def photos_by_id(store: SurveyStore, photo_ids: Sequence[str]) -> list[Photo]:
    """
    Return photos by their ids, each once.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    if len(photo_ids) > 3:
        known = {file.sha256: photo for photo in store.photos() for file in photo.files}
        found = {i: known.get(i) for i in photo_ids}
    else:
        found = {i: store.photo(i) for i in photo_ids}
    for photo_id, photo in found.items():
        if photo is None:
            raise InputError(
                "photo-not-in-project",
                f"{photo_id[:12]}: the project has no such photo.",
                "Load the page again; or give a photo's name as it was on the card.",
            )
    return list({p.photo_id: p for p in found.values() if p is not None}.values())


def require_unit(store: SurveyStore, unit_id: str) -> Unit:
    """
    Return a unit by its id.

    Raises
    ------
    InputError
        ``unit-unknown``.
    """
    for unit in store.units():
        if unit.unit_id == unit_id:
            return unit
    raise InputError(
        "unit-unknown",
        f"There is no unit {unit_id[:12]!r}.",
        "Load the page again: somebody may have taken it out. `dryslate units list` lists them.",
    )


def one_visit(photos: Sequence[Photo]) -> str:
    """Return the visit of photos; refuses none, and photos of two."""
    if not photos:
        raise InputError("unit-no-photo", "No photo was named.", "Choose one or more photos.")
    for photo in photos:
        if photo.visit_id != photos[0].visit_id:
            raise other_visit(photo, photos[0].visit_id)
    return photos[0].visit_id


def require_visit_of(unit: Unit, photos: Sequence[Photo]) -> None:
    """Refuse photos that are not of the unit's visit."""
    for photo in photos:
        if photo.visit_id != unit.visit_id:
            raise other_visit(photo, unit.visit_id)


def other_visit(photo: Photo, visit_id: str) -> InputError:
    """Say that a photo is of another visit."""
    return InputError(
        "unit-other-visit",
        f"{photo.files[0].original_name} is of {photo.visit_id}, not of {visit_id}.",
        "A unit holds photos of its own visit only.",
    )


def slates(unit: Unit, photos: Sequence[Photo]) -> dict[str, UnitPhoto | None]:
    """Return that photos show the slate of a unit."""
    return {
        p.photo_id: UnitPhoto(photo_id=p.photo_id, unit_id=unit.unit_id, how="slate")
        for p in photos
    }


def by_hand(photo_id: str, unit_id: str | None) -> UnitPhoto:
    """Return that a photo belongs to a unit because somebody said so."""
    return UnitPhoto(photo_id=photo_id, unit_id=unit_id, how="hand")


def _left_empty(
    store: SurveyStore, joins: Mapping[str, UnitPhoto], wished: Mapping[str, UnitPhoto | None]
) -> set[str]:
    """Name the units without a name that lose their last slate and hold nothing by hand."""
    after = [j for k, j in joins.items() if k not in wished]
    kept = {j.unit_id for j in after if j.how != "time"}
    lost = {joins[k].unit_id for k in wished} - kept
    return {u.unit_id for u in store.units() if u.unit_id in lost and u.name is None}
