"""One run of corrections over photos of a project, from the command line or from the pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from dryslate.app.correct import Workshop
from dryslate.app.correct_project import (
    PhotoDone,
    ProjectPlace,
    correct_project,
    finish_run,
    start_run,
)
from dryslate.app.correct_summary import Summary
from dryslate.app.correction_records import CorrectSettings
from dryslate.app.depths import DepthTable
from dryslate.app.project_photos import choose_photos
from dryslate.app.records import Photo
from dryslate.base.problems import Problem


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunRequest:
    """
    Which photos of a project to correct, and how.

    Parameters
    ----------
    photos : sequence of Path
        Names on the memory card or hashes; all photos of the project but those set aside where
        there is none.
    settings : CorrectSettings
    depths : DepthTable or None
        Depths by time, for borrowing.
    ids : frozenset of str or None
        Photos by their whole ids, instead of names; those that are gone are left out.
    """

    photos: Sequence[Path]
    settings: CorrectSettings
    depths: DepthTable | None = None
    ids: frozenset[str] | None = None


def run_corrections(
    place: ProjectPlace,
    workshop: Workshop,
    request: RunRequest,
    tell: Callable[[PhotoDone], None],
    before: Callable[[Sequence[Photo]], None] | None = None,
) -> tuple[Summary, tuple[Problem, ...]]:
    """
    Correct photos of a project and sum the run up.

    Parameters
    ----------
    place : ProjectPlace
        With the store open for writing.
    workshop : Workshop
    request : RunRequest
    tell : callable
        Takes each photo as it is done; what it raises ends the run, and what was done before is
        kept.
    before : callable, optional
        Takes the chosen photos before the first is begun, such as to see whether there is room.

    Returns
    -------
    summary : Summary
    problems : tuple of Problem
        One for each patch of a card to clean or replace.

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``card-unknown``.
    SettingsError
        ``correct-one-photo``.
    """
    run = start_run(place, workshop, request.settings, request.depths)
    if request.ids is None:
        photos = choose_photos(place.store, request.photos)
    else:
        photos = tuple(p for p in place.store.photos() if p.photo_id in request.ids)
    if before is not None:
        before(photos)
    done = []
    slates = {join.photo_id for join in place.store.unit_photos() if join.how == "slate"}
    for found in correct_project(run, photos):
        is_slate = found.row.outcome == "no_card" and found.row.photo_id in slates
        one = replace(found, is_slate=is_slate)
        done.append(one)
        tell(one)
    return finish_run(run, done)
