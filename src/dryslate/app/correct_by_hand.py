"""Correct one photo by corners or a point set by hand; let an earlier correction hold again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from dryslate.app.correct import Workshop
from dryslate.app.correct_one import correct_one
from dryslate.app.correct_project import (
    ProjectPlace,
    ProjectRun,
    by_point,
    correct_project,
    job_of,
    keep_answer,
    start_run,
)
from dryslate.app.correct_stop import UNDONE
from dryslate.app.correction_key import correction_key
from dryslate.app.correction_records import CorrectAnswer, CorrectJob, CorrectSettings
from dryslate.app.one_point import PickedPoint
from dryslate.app.photo_list import usual_port
from dryslate.app.picked_point import lend_picked, picked_of
from dryslate.app.ports import SurveyStore
from dryslate.app.records import CorrectionRow, Photo
from dryslate.app.tiles import require_photo
from dryslate.base.errors import InputError, StoreError
from dryslate.core.card.corners import CORNER_U_PX

POINTED = ("corners-", "point-", "correct-point-")
"""How slugs begin that say something of what was pointed at, not of the photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandCorners:
    """
    Four corners of a card, set by a person.

    Parameters
    ----------
    card : str
        Name of the card.
    corners_px : tuple of points
        Clockwise from the card's own top left, in pixels of the upright photo.
    corner_u_px : float
        One standard uncertainty of each coordinate; never better than `CORNER_U_PX`.
    """

    card: str
    corners_px: tuple[tuple[float, float], ...]
    corner_u_px: float

    @classmethod
    def pointed(
        cls, card: str, corners_px: tuple[tuple[float, float], ...], point_u_px: float
    ) -> HandCorners:
        """Return corners that were pointed at this surely; never surer than a person points."""
        return cls(card=card, corners_px=corners_px, corner_u_px=max(point_u_px, CORNER_U_PX))


@dataclass(frozen=True, slots=True, kw_only=True)
class HandRequest:
    """
    What a person set in one photo.

    Parameters
    ----------
    photo_id : str
    version : str
        Key of the correction that the person saw; empty where there was none.
    what : HandCorners or PickedPoint
    observer : str
        Who set it.
    now : str
        When, ISO 8601.
    """

    photo_id: str
    version: str
    what: HandCorners | PickedPoint
    observer: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worked:
    """A correction that is worked out and written, but not on record yet."""

    job: CorrectJob
    answer: CorrectAnswer
    key: str


def run_by_hand(place: ProjectPlace, workshop: Workshop, photo: Photo) -> ProjectRun:
    """
    Gather what correcting one photo by hand needs; settings are those of its correction so far.

    Parameters
    ----------
    place : ProjectPlace
    workshop : Workshop
    photo : Photo

    Returns
    -------
    ProjectRun
    """
    return start_run(place, workshop, settings_so_far(place.store, photo.photo_id))


def settings_so_far(store: SurveyStore, photo_id: str) -> CorrectSettings:
    """
    Return the settings under which a photo was corrected; where it was not, the usual port.

    Parameters
    ----------
    store : SurveyStore
    photo_id : str

    Returns
    -------
    CorrectSettings
        Without cards and corners.
    """
    files = [f for f in store.derived_files() if f.photo_id == photo_id]
    row = store.correction(photo_id)
    steps = next((f.steps for f in files if row is not None and f.key == row.key), None)
    said: Mapping[str, Any] = (steps or (files[-1].steps if files else {})).get("settings") or {}
    known = {k: said[k] for k in ("nominal_as_measured", "port", "is_tiff") if k in said}
    return CorrectSettings(**(known or {"port": usual_port(store)}))


def work_out(run: ProjectRun, request: HandRequest) -> Worked:
    """
    Correct a photo by what a person set; files are written, nothing is put on record.

    Parameters
    ----------
    run : ProjectRun
        From `run_by_hand`; its store is only read.
    request : HandRequest

    Returns
    -------
    Worked

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``card-unknown``, ``card-picture-missing``; ``corners-outside``
        and its like; ``point-outside-photo``, ``point-clipped``, ``correct-point-unusable``; what
        reading the photo raises.
    StoreError
        ``changed-meanwhile``; ``write-failed`` and its like where the files find no place.
    """
    store, what = run.place.store, request.what
    photo = require_photo(store, request.photo_id)
    require_version(store, photo, request.version)
    by = {"observer": request.observer, "at": request.now}
    if isinstance(what, PickedPoint):
        job = job_of(run, photo)
        job, key = by_point(run, job, lend_picked(job, what, (), by).loans[photo.photo_id])
    else:
        job = job_of(with_corners(run, what), photo)
        key = correction_key(job)
    answer = correct_one(job)
    _require_done(answer, job)
    if isinstance(what, HandCorners):
        answer = replace(answer, geometry={**answer.geometry, "by_hand": by})
    return Worked(job=job, answer=answer, key=key)


def put_on_record(run: ProjectRun, worked: Worked, request: HandRequest) -> CorrectionRow:
    """
    Put a worked-out correction on record, unless somebody corrected the photo meanwhile.

    Parameters
    ----------
    run : ProjectRun
        With the store open for writing.
    worked : Worked
    request : HandRequest

    Returns
    -------
    CorrectionRow

    Raises
    ------
    StoreError
        ``changed-meanwhile``; files that nothing on record needs are taken away again.
    """
    store = run.place.store
    photo = require_photo(store, request.photo_id)
    try:
        with store.write():
            require_version(store, photo, request.version)
            return keep_answer(run, worked.job, worked.answer, worked.key)
    except StoreError:
        _take_away(run, worked)
        raise


def let_hold(run: ProjectRun, photo_id: str, key: str, version: str) -> CorrectionRow:
    """
    Let an earlier correction of a photo hold again, by a further entry.

    Parameters
    ----------
    run : ProjectRun
        With the store open for writing.
    photo_id : str
    key : str
        Of the earlier correction; empty for what the program finds by itself.
    version : str
        Key of the correction that the person saw.

    Returns
    -------
    CorrectionRow

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``correction-unknown``; ``card-unknown`` where corners were set
        on a card that the project no longer has.
    StoreError
        ``changed-meanwhile``.
    """
    store = run.place.store
    photo = require_photo(store, photo_id)
    if not key:
        require_version(store, photo, version)
        settings = settings_so_far(store, photo_id)
        alone = replace(run, settings=settings, keeps_by_hand=False)
        return next(iter(correct_project(alone, [photo]))).row
    row = next((r for r in reversed(store.photo_corrections(photo_id)) if r.key == key), None)
    if row is None:
        raise InputError(
            "correction-unknown",
            f"{photo.files[0].original_name}: it never had the correction {key[:12]!r}.",
            "Load the page again and take one of the earlier corrections it lists.",
        )
    if row.geometry.get("how") == "corners":  # later runs use them again, and need their card
        run.workshop.tables.card(str(row.geometry.get("card")))
    with store.write():
        require_version(store, photo, version)
        store.save_correction(row)
    if row.corrected_path is None or (run.place.folder / row.corrected_path).is_file():
        return row
    settings = settings_so_far(store, photo_id)
    again = replace(run, settings=settings)
    return next(iter(correct_project(again, [photo]))).row


def require_version(store: SurveyStore, photo: Photo, version: str) -> None:
    """
    Refuse to change a correction that somebody else changed since it was shown.

    Raises
    ------
    StoreError
        ``changed-meanwhile``.
    """
    row = store.correction(photo.photo_id)
    if version == ("" if row is None else row.key):
        return
    who = set_by(row) if row is not None else None
    raise StoreError(
        "changed-meanwhile",
        f"{photo.files[0].original_name}: {who or 'somebody'} corrected it after you opened it.",
        "Compare both, and save again what should hold.",
    )


def set_by(row: CorrectionRow) -> str | None:
    """Return who set the corners or the point of a correction; None where nobody did."""
    by_hand: Mapping[str, Any] = picked_of(row) or row.geometry.get("by_hand") or {}
    return by_hand.get("observer")


def with_corners(run: ProjectRun, what: HandCorners) -> ProjectRun:
    """Return the run with the card and its corners."""
    settings = replace(
        run.settings,
        card_names=(what.card,),
        corners_px=what.corners_px,
        corner_u_px=what.corner_u_px,
    )
    return start_run(run.place, run.workshop, settings)


def _require_done(answer: CorrectAnswer, job: CorrectJob) -> None:
    """Raise what stands in the way of putting an answer on record."""
    for problem in answer.result["problems"]:
        slug, message, fix = problem["slug"], problem["message"], problem["fix"]
        if slug in UNDONE:
            raise StoreError(slug, f"{job.name}: {message}", fix)
        is_pointed = slug.startswith(POINTED) and problem["severity"] == "error"
        if is_pointed or answer.outcome == "unreadable":
            raise InputError(slug, f"{job.name}: {message}", fix)


def _take_away(run: ProjectRun, worked: Worked) -> None:
    """Remove files that were written for a correction that is not on record."""
    kept = {f.path for f in run.place.store.derived_files()}
    for file in worked.answer.written:
        if file.path.relative_to(run.place.folder).as_posix() not in kept:
            file.path.unlink(missing_ok=True)
