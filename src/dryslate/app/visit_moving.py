"""What goes along when photos, or all of a visit, are put to another visit; and what clashes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

from dryslate.app.shots import camera_key
from dryslate.app.unit_records import Unit
from dryslate.app.unit_words import unit_words
from dryslate.app.visit_edit_records import Moving
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony, Sighting
    from dryslate.app.identification_rows import RecordRow
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo, Visit


MOST_NAMED = 5


def plan_all(store: SurveyStore, old: Visit, new: Visit) -> Moving:
    """
    Say what goes along where all that a visit holds is put to another, and check that it can.

    Parameters
    ----------
    store : SurveyStore
    old, new : Visit
        The latter need not be stored yet.

    Raises
    ------
    InputError
        ``visit-names-clash``, ``visit-colonies-clash``, ``visit-tagged-colonies``,
        ``visit-before-tagging``, ``name-nearly``.
    """
    units = store.units(old.visit_id)
    _require_apart(store, units, store.records(old.visit_id), new)
    _require_colonies(store, old, new)
    return Moving(old=old.visit_id, new=new.visit_id, zones=_zones(store, units, old, new))


def plan_some(
    store: SurveyStore,
    old: Visit,
    new: Visit,
    photos: Collection[Photo],
    also: Collection[str] = (),
) -> Moving:
    """
    Say what goes along with some photos of a visit: their units and corals, wholly or not at all.

    Parameters
    ----------
    store : SurveyStore
    old, new : Visit
    photos : collection of Photo
        Of the visit.
    also : collection of str
        Units by id that go along even without a photo.

    Raises
    ------
    InputError
        ``visit-would-split`` where a unit or a coral would be torn apart, and those of `plan_all`.
    """
    chosen = frozenset(photo.photo_id for photo in photos)
    units = _units_along(store, old, chosen, also)
    records = _records_along(store, old, chosen)
    _require_untagged(store, chosen, {record.record_id for record in records})
    _require_apart(store, units, records, new)
    there = {camera_key(photo.metadata) for photo in store.photos(new.visit_id)}
    return Moving(
        old=old.visit_id,
        new=new.visit_id,
        photos=chosen,
        files=frozenset(file.sha256 for photo in photos for file in photo.files),
        units=frozenset(unit.unit_id for unit in units),
        records=frozenset(record.record_id for record in records),
        clocks=frozenset(camera_key(photo.metadata) for photo in photos) - there,
        zones=_zones(store, units, old, new),
    )


def clocks_left(store: SurveyStore, old: Visit, new: Visit, photos: Iterable[Photo]) -> list[str]:
    """Name the cameras whose clock does not go along, as the other visit has photos of them."""
    there = {camera_key(photo.metadata) for photo in store.photos(new.visit_id)}
    cameras = {camera_key(photo.metadata) for photo in photos} & there
    before, after = old.clock_offset_s, new.clock_offset_s
    return sorted(camera for camera in cameras if before.get(camera) != after.get(camera))


def _units_along(
    store: SurveyStore, old: Visit, chosen: frozenset[str], also: Collection[str]
) -> list[Unit]:
    """Return the units all of whose photos are chosen; refuse to tear one apart."""
    joins = {join.photo_id: join.unit_id for join in store.unit_photos(old.visit_id)}
    sheets = {one.photo_id: one.unit_id for one in store.sheet_photos()}
    held: dict[str, set[str]] = {}
    for of in (joins, sheets):
        for photo_id, unit_id in of.items():
            if unit_id is not None:
                held.setdefault(unit_id, set()).add(photo_id)
    units = {unit.unit_id: unit for unit in store.units(old.visit_id)}
    for unit_id in units:
        points = {one.row.photo_id for one in store.survey_rows(unit_id) if one.row.photo_id}
        held.setdefault(unit_id, set()).update(points)
    along = {i for i in units if held[i] & chosen or i in also}
    torn = [unit_words(u) for i, u in units.items() if i in along and held[i] - chosen]
    if torn:
        raise InputError(
            "visit-would-split",
            f"Only some photos of {_named(torn)} are chosen, and a unit is of one visit.",
            "Choose all photos of the unit, or say first that these are of no unit.",
        )
    return [unit for i, unit in units.items() if i in along]


def _records_along(store: SurveyStore, old: Visit, chosen: frozenset[str]) -> list[RecordRow]:
    """Return the corals seen in chosen photos; refuse where one was measured in others too."""
    photo_of = {one.measurement_id: one.photo_id for one in store.measurements()}
    along, torn = [], []
    for record in store.records(old.visit_id):
        seen = {photo_of[i] for i in record.measurement_ids if i in photo_of}
        seen |= {record.photo_id} if record.photo_id is not None else set()
        if seen & chosen:
            along.append(record)
            torn += [record.colony] if seen - chosen else []
    if torn:
        raise InputError(
            "visit-would-split",
            f"Coral {_named(torn)} is seen in chosen photos and in others, and is of one visit.",
            "Choose all photos in which it is measured.",
        )
    return along


def _require_untagged(store: SurveyStore, chosen: frozenset[str], records: set[str]) -> None:
    """Refuse photos of tagged colonies: what became of a colony is noted by visit."""
    names = {one.organism_id: one.label for one in store.colonies()}
    found = {f.organism_id for f in store.colony_frames() if f.photo_id in chosen}
    found |= {s.organism_id for s in store.colony_sightings() if s.record_id in records}
    if found:
        raise InputError(
            "visit-tagged-colonies",
            f"Chosen photos show tagged colony {_named(names[i] for i in found)}, and what became "
            "of it is noted for the visit.",
            "Take these photos off the colony's page first, or move all of the visit to the other.",
        )


def _require_apart(
    store: SurveyStore, units: Iterable[Unit], records: Iterable[RecordRow], new: Visit
) -> None:
    """Refuse where the other visit has a unit, or a coral noted without a photo, of one name."""
    there = {unit.name.casefold() for unit in store.units(new.visit_id) if unit.name}
    twice = [unit_words(u) for u in units if u.name and u.name.casefold() in there]
    bare = {r.colony.casefold() for r in store.records(new.visit_id) if r.photo_id is None}
    twice += [r.colony for r in records if r.photo_id is None and r.colony.casefold() in bare]
    if twice:
        raise InputError(
            "visit-names-clash",
            f"{new.site} on {new.date} has {_named(twice)} too.",
            "Give the one here another name first.",
        )


def _require_colonies(store: SurveyStore, old: Visit, new: Visit) -> None:
    """Refuse where tagged colonies could not go along."""
    colonies = {one.organism_id: one for one in store.colonies()}
    seen = _by_visit(store.colony_sightings())
    here = {one.organism_id for one in seen.get(old.visit_id, ())}
    here |= {one.organism_id for one in colonies.values() if one.first_visit_id == old.visit_id}
    here |= {one.organism_id for one in store.colony_fractions() if one.visit_id == old.visit_id}
    if not here:
        return
    there = here & {one.organism_id for one in seen.get(new.visit_id, ())}
    if there:
        raise InputError(
            "visit-colonies-clash",
            f"What became of tagged colony {_named(colonies[i].label for i in there)} is noted on "
            "both visits.",
            "Move only photos and units to the other visit.",
        )
    mine = [colonies[organism_id] for organism_id in sorted(here)]
    if old.site != new.site:
        _require_first_look(mine, seen, old, new, colonies)
    _require_order(store, mine, seen, old, new)


def _require_first_look(
    mine: Iterable[Colony],
    seen: Mapping[str, Collection[Sighting]],
    old: Visit,
    new: Visit,
    colonies: Mapping[str, Colony],
) -> None:
    """A colony can come to another site only where this visit is all that is known of it."""
    elsewhere = {
        one.organism_id
        for visit_id, rows in seen.items()
        if visit_id != old.visit_id
        for one in rows
    }
    labels = {one.label.casefold() for one in colonies.values() if one.site == new.site}
    bound = [
        one.label
        for one in mine
        if one.first_visit_id != old.visit_id
        or one.organism_id in elsewhere
        or one.label.casefold() in labels
    ]
    if bound:
        raise InputError(
            "visit-tagged-colonies",
            f"Tagged colony {_named(bound)} stands at {old.site}: it was looked at on other visits "
            f"too, or {new.site} has another of that label.",
            "Move the photos and units that are of the other site to their own visit.",
        )


def _require_order(
    store: SurveyStore,
    mine: Iterable[Colony],
    seen: Mapping[str, Collection[Sighting]],
    old: Visit,
    new: Visit,
) -> None:
    """Nothing may be noted of a colony before it was tagged."""
    dates = {visit.visit_id: visit.date for visit in store.visits()} | {old.visit_id: new.date}
    for colony in mine:
        looks = [
            v for v, rows in seen.items() if any(r.organism_id == colony.organism_id for r in rows)
        ]
        early = min((dates[v] for v in (*looks, old.visit_id)), default=new.date)
        if early < dates[colony.first_visit_id]:
            raise InputError(
                "visit-before-tagging",
                f"Tagged colony {colony.label} was first tagged on "
                f"{dates[colony.first_visit_id]} then, and looked at on {early}.",
                "Check both dates; correct the visit on which it was tagged first.",
            )


def _zones(store: SurveyStore, units: Iterable[Unit], old: Visit, new: Visit) -> dict[str, str]:
    """Return the zones that units use; refuse two spellings of one at the site they come to."""
    used = {unit.zone: old.site for unit in units if unit.zone is not None}
    for known in store.zones(new.site) if old.site != new.site else ():
        for zone in used:
            if zone != known.zone and zone.casefold() == known.zone.casefold():
                raise InputError(
                    "name-nearly",
                    f"The zone {zone!r} is known as {known.zone!r} at {new.site}.",
                    f"Write it as {known.zone!r}.",
                )
    return used


def _by_visit(rows: Iterable[Sighting]) -> dict[str, list[Sighting]]:
    """Sort sightings by their visit."""
    found: dict[str, list[Sighting]] = {}
    for row in rows:
        found.setdefault(row.visit_id, []).append(row)
    return found


def _named(names: Iterable[str]) -> str:
    """
    Name some things, and say how many more there are.

    Examples
    --------
    >>> _named(["T2", "T1"]), _named(str(n) for n in range(7))
    ('T1, T2', '0, 1, 2, 3, 4 ...')
    """
    listed = sorted(set(names))
    more = " ..." if len(listed) > MOST_NAMED else ""
    return ", ".join(listed[:MOST_NAMED]) + more
