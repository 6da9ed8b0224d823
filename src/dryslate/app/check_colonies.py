"""Proving the records of tagged colonies: each rests on visits of its site, and can be true."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal

from dryslate.app.colony_records import MET
from dryslate.app.coral_health import SHARES, check_health
from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony
    from dryslate.app.ports import SurveyStore

FIX = (
    "Compare the database with a copy or a backup, and take the sound one; dryslate itself refuses "
    "this."
)


def check_colonies(store: SurveyStore) -> list[Problem]:
    """
    Prove the records of tagged colonies; nothing is changed.

    Parameters
    ----------
    store : SurveyStore
        Open for reading.

    Returns
    -------
    list of Problem
        ``colony-visit-wrong``, ``colony-judgement-odd``, ``colony-frame-wrong``,
        ``colony-reference-odd``, ``colony-alive-again``.
    """
    colonies = {c.organism_id: c for c in store.colonies()}
    return [
        *_check_visits(store, colonies),
        *_check_judgements(store, colonies),
        *_check_frames(store, colonies),
        *_check_deaths(store, colonies),
    ]


def _fault(
    slug: str, place: str, message: str, severity: Literal["error", "warning"] = "error"
) -> Problem:
    """Make a problem."""
    fix = FIX if severity == "error" else "Look at the colony's visits and correct what is wrong."
    return Problem(slug=slug, severity=severity, place=place, message=message, fix=fix)


def _check_visits(store: SurveyStore, colonies: dict[str, Colony]) -> Iterator[Problem]:
    """Colonies, sightings and onsets are of visits and corals of the colony's own site."""
    visits = {v.visit_id: v for v in store.visits()}
    records = {r.record_id: r for r in store.records()}
    for colony in colonies.values():
        first = visits.get(colony.first_visit_id)
        if first is None or first.site != colony.site:
            yield _fault(
                "colony-visit-wrong",
                colony.label,
                f"first tagged on {colony.first_visit_id}, which is no visit of {colony.site}",
            )
    for seen in store.colony_sightings():
        colony, visit = colonies[seen.organism_id], visits[seen.visit_id]
        first = visits.get(colony.first_visit_id)
        if visit.site != colony.site or (first is not None and visit.date < first.date):
            yield _fault(
                "colony-visit-wrong",
                colony.label,
                f"noted on {seen.visit_id}, of another site or from before it was tagged",
            )
        record = records.get(seen.record_id or "")
        if record is not None and record.visit_id != seen.visit_id:
            yield _fault(
                "colony-visit-wrong",
                colony.label,
                f"on {seen.visit_id} it is said to be a coral noted on {record.visit_id}",
            )


def _check_judgements(store: SurveyStore, colonies: dict[str, Colony]) -> Iterator[Problem]:
    """Fractions make a whole, and are of colonies that were found on that visit."""
    states = {(s.organism_id, s.visit_id): s.state for s in store.colony_sightings()}
    for row in store.colony_fractions():
        label = colonies[row.organism_id].label
        for problem in check_health(row.shares()):
            told = f"{row.observer} on {row.visit_id}: {problem.message}"
            yield _fault("colony-judgement-odd", label, told)
        state = states.get((row.organism_id, row.visit_id))
        alive = any((row.shares()[name] or 0.0) > 0.0 for name in SHARES[:3])
        if not row.is_empty and (state not in MET or (state == "dead" and alive)):
            said = "nothing" if state is None else state.replace("_", " ")
            told = f"{row.observer} judged it on {row.visit_id}, of which is noted: {said}"
            yield _fault("colony-judgement-odd", label, told)


def _check_frames(store: SurveyStore, colonies: dict[str, Colony]) -> Iterator[Problem]:
    """Photos of a colony are of visits on which it was found; one of them is the reference."""
    photos = {p.photo_id: p for p in store.photos()}
    states = {(s.organism_id, s.visit_id): s.state for s in store.colony_sightings()}
    n_references: dict[str, int] = defaultdict(int)
    outlined: set[str] = set()
    for frame in store.colony_frames():
        label, photo = colonies[frame.organism_id].label, photos[frame.photo_id]
        if states.get((frame.organism_id, photo.visit_id)) not in MET:
            told = f"a photo of {photo.visit_id} shows it, where it is not noted as found"
            yield _fault("colony-frame-wrong", label, told)
        n_references[frame.organism_id] += frame.is_reference
        if frame.outline_px:
            outlined.add(frame.organism_id)
    for organism_id, n in n_references.items():
        if n > 1 or (n == 0 and organism_id in outlined):
            told = f"{n} of its photos are the one on which its outline was first drawn"
            yield _fault("colony-reference-odd", colonies[organism_id].label, told)


def _check_deaths(store: SurveyStore, colonies: dict[str, Colony]) -> Iterator[Problem]:
    """A colony that died is not seen alive afterwards."""
    dead_on: dict[str, str] = {}
    for seen in store.colony_sightings():  # by date
        if seen.state == "dead":
            dead_on.setdefault(seen.organism_id, seen.visit_id)
        elif seen.state in MET and seen.organism_id in dead_on:
            yield _fault(
                "colony-alive-again",
                colonies[seen.organism_id].label,
                f"dead on {dead_on[seen.organism_id]}, and seen on {seen.visit_id}",
                "warning",
            )
