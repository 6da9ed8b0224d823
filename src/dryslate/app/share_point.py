"""One picked point for further photos of the visit: which may share it, and taking it back."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

from dryslate.app.borrow import settings_differ
from dryslate.app.correct import run_jobs
from dryslate.app.correct_by_hand import let_hold
from dryslate.app.correct_project import ProjectRun, by_point, job_of, keep_answer
from dryslate.app.correction_records import CorrectAnswer
from dryslate.app.picked_point import lend_picked, picked_of, point_of
from dryslate.app.ports import SurveyStore
from dryslate.app.records import CorrectionRow, Photo
from dryslate.app.set_aside import standing_photos
from dryslate.app.tiles import require_photo
from dryslate.base.errors import InputError, StoreError
from dryslate.base.problems import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharer:
    """
    A photo of the same visit, and whether it may have the point's correction.

    Parameters
    ----------
    photo_id, name : str
    version : str
        Key of its latest correction, empty where there is none.
    outcome : str
        Of that correction; ``not_corrected`` where there is none.
    has_own_card : bool
        Its colours rest on its own card: a point would be the lesser way.
    reason : str
        Why it may not; empty where it may.
    """

    photo_id: str
    name: str
    version: str
    outcome: str
    has_own_card: bool
    reason: str


def sharers_of(store: SurveyStore, photo_id: str) -> tuple[Sharer, ...]:
    """
    List the other photos of a visit with whether they may share a point of this one.

    Parameters
    ----------
    store : SurveyStore
    photo_id : str

    Returns
    -------
    tuple of Sharer
        In the order they were taken.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photo = require_photo(store, photo_id)
    rows = {row.photo_id: row for row in store.corrections(photo.visit_id)}
    others = (p for p in standing_photos(store) if p.visit_id == photo.visit_id)
    return tuple(
        _sharer(photo, other, rows.get(other.photo_id))
        for other in others
        if other.photo_id != photo.photo_id
    )


def share_point(
    run: ProjectRun, photo_id: str, ids: Collection[str], tell: Callable[[CorrectionRow], None]
) -> tuple[Problem, ...]:
    """
    Correct further photos by the point that was picked in one; each is kept as it is done.

    Parameters
    ----------
    run : ProjectRun
        With the store open for writing.
    photo_id : str
        The photo with the point.
    ids : collection of str
        Of the same visit; others are left out.
    tell : callable
        Takes each photo's new correction; what it raises ends the run.

    Returns
    -------
    tuple of Problem
        Why a photo was left as it was, one each.

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``point-not-picked``; those of reading the photo with the point.
    """
    store = run.place.store
    photo = require_photo(store, photo_id)
    picked = require_picked(store, photo)
    wanted = [s.photo_id for s in sharers_of(store, photo_id) if s.photo_id in ids]
    jobs = [job_of(run, require_photo(store, one)) for one in wanted]
    by = {name: picked[name] for name in ("observer", "at") if name in picked}
    lent = lend_picked(job_of(run, photo), point_of(picked), jobs, by)
    todo, keys = [], {}
    for job in jobs:
        if job.sha256 in lent.loans:
            pointed, keys[job.sha256] = by_point(run, job, lent.loans[job.sha256])
            todo.append(pointed)
    problems = list(lent.refused.values())
    for job, answer in run_jobs(todo, run.workshop):
        row = keep_answer(run, job, answer, keys[job.sha256])
        problems += _errors(answer)
        tell(row)
    return tuple(problems)


def take_back_shared(
    run: ProjectRun, photo_id: str, versions: Mapping[str, str]
) -> tuple[str, ...]:
    """
    Let photos that share a point have the corrections again that they had before.

    Parameters
    ----------
    run : ProjectRun
        With the store open for writing.
    photo_id : str
        The photo with the point.
    versions : Mapping
        Key of the correction that is to hold again, by photo; empty for what the program finds.

    Returns
    -------
    tuple of str
        The photos that were changed; those that somebody corrected otherwise meanwhile are left.

    Raises
    ------
    InputError
        ``correction-unknown``.
    """
    store, done = run.place.store, []
    for one, key in versions.items():
        row = store.correction(one)
        if row is None or row.key == key or not _is_from(row, photo_id):
            continue
        try:
            let_hold(run, one, key, row.key)
        except StoreError as error:
            if error.slug != "changed-meanwhile":
                raise
            continue
        done.append(one)
    return tuple(done)


def require_picked(store: SurveyStore, photo: Photo) -> Mapping[str, Any]:
    """
    Return the point that was picked in a photo itself and holds there.

    Raises
    ------
    InputError
        ``point-not-picked``.
    """
    row = store.correction(photo.photo_id)
    picked = None if row is None else picked_of(row)
    if row is None or picked is None or row.result.get("borrowed_from"):
        raise InputError(
            "point-not-picked",
            f"{photo.files[0].original_name}: its colours do not rest on a point picked in it.",
            "Pick a white or grey point in it and correct it by that first.",
        )
    return picked


def _sharer(photo: Photo, other: Photo, row: CorrectionRow | None) -> Sharer:
    """Say of one photo whether it may share the point, by what its file states."""
    is_raw, is_other_raw = (_is_raw(p) for p in (photo, other))
    if is_raw != is_other_raw:
        reason: str | None = "one is a raw file, the other is not"
    else:
        reason = settings_differ(other.metadata, photo.metadata, both_raw=is_raw)
    has_card = row is not None and row.outcome == "corrected" and picked_of(row) is None
    return Sharer(
        photo_id=other.photo_id,
        name=other.files[0].original_name,
        version="" if row is None else row.key,
        outcome="not_corrected" if row is None else row.outcome,
        has_own_card=has_card,
        reason=reason or "",
    )


def _is_raw(photo: Photo) -> bool:
    """Tell whether a photo is corrected from a raw file."""
    return next(f for f in photo.files if f.sha256 == photo.photo_id).kind == "raw"


def _is_from(row: CorrectionRow, photo_id: str) -> bool:
    """Tell whether a correction rests on a point picked in that photo."""
    return picked_of(row) is not None and row.result.get("borrowed_from") == photo_id


def _errors(answer: CorrectAnswer) -> list[Problem]:
    """Return what stood in the way of a photo."""
    if answer.outcome == "borrowed":
        return []
    return [Problem(**p) for p in answer.result["problems"] if p["severity"] == "error"]
