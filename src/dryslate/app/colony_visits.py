"""What is noted of a tagged colony on a visit: what became of it, fractions, photos."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.colony_records import (
    MET,
    STATES,
    Colony,
    ColonyFractions,
    ColonyFrame,
    Sighting,
)
from dryslate.app.coral_health import SHARES, check_health
from dryslate.app.note_records import find_record, one_photo
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit

LIVING = SHARES[:3]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """
    What became of a colony on a visit; None leaves what was said.

    Parameters
    ----------
    state : str
        One of `dryslate.app.colony_records.STATES`.
    record : str or None
        Label or id of the coral noted on that visit that it is.
    note : str or None
    """

    state: str
    record: str | None = None
    note: str | None = None


def see_colony(
    store: SurveyStore, colony: Colony, visit: Visit, seen: Seen, who: tuple[str, str]
) -> Sighting:
    """
    Note what became of a colony on a visit; what was said before stays in the change log.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    visit : Visit
    seen : Seen
    who : (str, str)
        Observer and time.

    Returns
    -------
    Sighting

    Raises
    ------
    InputError
        ``colony-state-unknown``, ``colony-other-site``, ``colony-before-tagging``,
        ``colony-has-judgements``, ``colony-dead-with-tissue``; those of finding a record.
    """
    if seen.state not in STATES:
        raise InputError(
            "colony-state-unknown",
            f"{seen.state!r} does not say what became of a colony.",
            f"Give one of: {', '.join(STATES)}. Lost is not dead.",
        )
    require_visit_of(store, colony, visit)
    observer = require_observer(store, who[0])
    judged = [
        row
        for row in store.colony_fractions(colony.organism_id)
        if row.visit_id == visit.visit_id and not row.is_empty
    ]
    shown = [f for f in store.colony_frames(colony.organism_id) if _is_of(store, f, visit)]
    if seen.state not in MET and (judged or shown):
        raise InputError(
            "colony-has-judgements",
            f"{colony.label}: {visit.visit_id} has {len(judged)} judgements and {len(shown)} "
            "photos of it, so it was found.",
            "Take those back first if they are of another colony.",
        )
    if seen.state == "dead":
        for row in judged:
            _require_dead(colony, row.shares())
    known = sighting_of(store, colony, visit.visit_id)
    record_id = known.record_id if known else None
    note = known.note if known else ""
    if seen.note is not None:
        note = " ".join(seen.note.split())
    if seen.record is not None:
        record = find_record(store, seen.record)
        if record.visit_id != visit.visit_id:
            raise InputError(
                "colony-record-elsewhere",
                f"{record.colony} was noted on {record.visit_id}, not on {visit.visit_id}.",
                "Give the coral that was noted on the same visit.",
            )
        record_id = record.record_id
    wanted = Sighting(
        organism_id=colony.organism_id,
        visit_id=visit.visit_id,
        state=seen.state,
        record_id=record_id,
        note=note,
        observer=observer,
        noted_at=who[1],
    )
    if known is not None and replace(wanted, noted_at=known.noted_at) == known:
        return known
    store.save_colony_sighting(wanted)
    return wanted


def judge_colony(
    store: SurveyStore,
    colony: Colony,
    visit: Visit,
    said: tuple[Mapping[str, float | None], str],
    who: tuple[str, str],
) -> ColonyFractions:
    """
    Note an observer's fractions of a colony on a visit; all empty takes the judgement back.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    visit : Visit
    said : (Mapping, str)
        Per cent by name of `SHARES`, and lesions in plain words.
    who : (str, str)
        Observer and time.

    Returns
    -------
    ColonyFractions
        A colony of which nothing was said on that visit is noted as seen.

    Raises
    ------
    InputError
        ``health-share-impossible``, ``health-sum-not-100``, ``colony-other-site``,
        ``colony-before-tagging``, ``colony-not-seen``, ``colony-dead-with-tissue``.
    """
    require_visit_of(store, colony, visit)
    observer = require_observer(store, who[0])
    shares, lesion = {name: said[0].get(name) for name in SHARES}, " ".join(said[1].split())
    for problem in check_health(shares):
        place = f"{problem.place}: " if problem.place else ""
        raise InputError(problem.slug, f"{place}{problem.message}.", problem.fix)
    row = ColonyFractions(
        organism_id=colony.organism_id,
        visit_id=visit.visit_id,
        observer=observer,
        noted_at=who[1],
        lesion=lesion,
        **{name: None if value is None else float(value) for name, value in shares.items()},
    )
    with store.write():
        _require_met(store, colony, visit, (observer, who[1]))
        known = sighting_of(store, colony, visit.visit_id)
        if known is not None and known.state == "dead":
            _require_dead(colony, shares)
        store.save_colony_fractions(row)
    return row


def add_frame(store: SurveyStore, colony: Colony, photo: str, who: tuple[str, str]) -> ColonyFrame:
    """
    Say that a photo shows a colony; the same again changes nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    colony : Colony
    photo : str
        File name or hash.
    who : (str, str)
        Observer and time.

    Returns
    -------
    ColonyFrame

    Raises
    ------
    InputError
        Those of finding a photo; ``colony-other-site``, ``colony-before-tagging``,
        ``colony-not-seen``.
    """
    found = one_photo(store, photo)
    visit = next(v for v in store.visits() if v.visit_id == found.visit_id)
    require_visit_of(store, colony, visit)
    observer = require_observer(store, who[0])
    known = frame_of(store, colony, found.photo_id)
    if known is not None:
        return known
    frame = ColonyFrame(
        organism_id=colony.organism_id,
        photo_id=found.photo_id,
        observer=observer,
        noted_at=who[1],
    )
    with store.write():
        _require_met(store, colony, visit, (observer, who[1]))
        store.save_colony_frame(frame)
    return frame


def sighting_of(store: SurveyStore, colony: Colony, visit_id: str) -> Sighting | None:
    """Return what became of a colony on a visit; None: nothing said."""
    rows = store.colony_sightings(colony.organism_id)
    return next((s for s in rows if s.visit_id == visit_id), None)


def frame_of(store: SurveyStore, colony: Colony, photo_id: str) -> ColonyFrame | None:
    """Return the frame of a colony in a photo; None where it is not one of its photos."""
    rows = store.colony_frames(colony.organism_id)
    return next((f for f in rows if f.photo_id == photo_id), None)


def require_visit_of(store: SurveyStore, colony: Colony, visit: Visit) -> None:
    """
    Refuse a visit of another site, or from before the colony was tagged.

    Raises
    ------
    InputError
        ``colony-other-site``, ``colony-before-tagging``.
    """
    if visit.site != colony.site:
        raise InputError(
            "colony-other-site",
            f"{colony.label} stands at {colony.site}; the visit is of {visit.site}.",
            "Choose the visit and the colony again.",
        )
    first = next((v.date for v in store.visits() if v.visit_id == colony.first_visit_id), "")
    if visit.date < first:
        raise InputError(
            "colony-before-tagging",
            f"{colony.label} was first tagged on {first}, after {visit.date}.",
            "Choose the visit again; a colony is followed from the visit on which it was tagged.",
        )


def _is_of(store: SurveyStore, frame: ColonyFrame, visit: Visit) -> bool:
    """Whether a frame was taken on a visit."""
    photo = store.photo(frame.photo_id)
    return photo is not None and photo.visit_id == visit.visit_id


def _require_met(store: SurveyStore, colony: Colony, visit: Visit, who: tuple[str, str]) -> None:
    """Note a colony as seen where nothing was said yet; refuse where it was not found."""
    known = sighting_of(store, colony, visit.visit_id)
    if known is None:
        store.save_colony_sighting(
            Sighting(
                organism_id=colony.organism_id,
                visit_id=visit.visit_id,
                state="seen",
                observer=who[0],
                noted_at=who[1],
            )
        )
    elif known.state not in MET:
        raise InputError(
            "colony-not-seen",
            f"{colony.label}: {known.observer} noted on {visit.visit_id} that it was "
            f"{known.state.replace('_', ' ')}.",
            "Note first that it was seen after all.",
        )


def _require_dead(colony: Colony, shares: Mapping[str, float | None]) -> None:
    """Refuse living tissue on a dead colony."""
    if any((shares.get(name) or 0.0) > 0.0 for name in LIVING):
        raise InputError(
            "colony-dead-with-tissue",
            f"{colony.label} is noted as dead, and a share of it as living.",
            "Dead is a colony without any living tissue; otherwise note it as seen.",
        )
