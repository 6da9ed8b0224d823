"""Correct the photos of a project: resumes, borrows where the rule allows, keeps every result."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from dryslate.app.borrow import Lender, Shot, find_lender, make_loan
from dryslate.app.correct import CardsWanted, Workshop, cards_wanted, colour_settings, run_jobs
from dryslate.app.correct_stop import UNDONE, not_reached, stopping_problem
from dryslate.app.correct_summary import Summary, summarise
from dryslate.app.correction_key import correction_key, correction_steps, loan_key
from dryslate.app.correction_records import CorrectAnswer, CorrectJob, CorrectSettings, Loan
from dryslate.app.depths import DepthTable
from dryslate.app.patch_wear import find_worn_patches
from dryslate.app.picked_point import key_of_picked, lend_picked, picked_of, point_of
from dryslate.app.ports import PhotoVault, SurveyStore
from dryslate.app.project_records import DerivedFile
from dryslate.app.records import CorrectionRow, Photo
from dryslate.app.set_aside import standing_photos
from dryslate.base.errors import InputError, SettingsError
from dryslate.base.problems import Problem
from dryslate.core.colour.fit import fit_from_dict
from dryslate.core.colour.outcome import ColourSettings

DERIVED = "derived"
"""Folder below the project for files that can be thrown away and made again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectPlace:
    """A project's folder, its records and its originals."""

    folder: Path
    store: SurveyStore
    vault: PhotoVault


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProjectRun:
    """
    One run over a project's photos: what to work with, and what was asked for.

    Corners and points that a person set earlier are used again, unless `keeps_by_hand` is False.
    """

    place: ProjectPlace
    workshop: Workshop
    settings: CorrectSettings
    wanted: CardsWanted
    depths: DepthTable | None = None
    colour: ColourSettings = field(default_factory=ColourSettings)
    keeps_by_hand: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoDone:
    """
    One photo of the run: its row, whether an earlier run had it already, and whether it shows a
    slate and no card.
    """

    row: CorrectionRow
    was_there: bool
    is_slate: bool = False


def start_run(
    place: ProjectPlace,
    workshop: Workshop,
    settings: CorrectSettings,
    depths: DepthTable | None = None,
) -> ProjectRun:
    """
    Gather what a run over a project needs.

    Parameters
    ----------
    place : ProjectPlace
    workshop : Workshop
    settings : CorrectSettings
    depths : DepthTable, optional
        Depths by time, for photos whose files state none.

    Returns
    -------
    ProjectRun

    Raises
    ------
    InputError
        ``card-unknown``.
    """
    return ProjectRun(
        place=place,
        workshop=workshop,
        settings=settings,
        wanted=cards_wanted(workshop.tables, settings),
        depths=depths,
        colour=colour_settings(workshop.tables, settings),
    )


def correct_project(run: ProjectRun, photos: Sequence[Photo]) -> Iterator[PhotoDone]:
    """
    Correct photos of a project, then lend colours to those without a card.

    Parameters
    ----------
    run : ProjectRun
    photos : sequence of Photo

    Yields
    ------
    PhotoDone
        One a photo, as they finish; those that an earlier run finished come first.

    Raises
    ------
    SettingsError
        ``correct-one-photo`` where corners are given for several photos.

    Notes
    -----
    The derived file is written first and its row after it, in one transaction: killed at any
    moment and run again, the end is the same. A result is kept as long as its key holds: photo,
    cards, lens, settings and versions. Where the disk is full the run stops: the photos that it
    did not come to are handed out last, as ``not_reached``, and nothing of them is stored.
    """
    if run.settings.corners_px is not None and len(photos) != 1:
        raise SettingsError(
            "correct-one-photo",
            f"--corners belong to one photo, but {len(photos)} were given.",
            "Name one photo of the project.",
        )
    jobs: list[CorrectJob] = []
    keys: dict[str, str] = {}
    later: set[str] = set()
    is_stopped = False
    for photo in photos:
        job = job_of(run, photo)
        row = run.place.store.correction(photo.photo_id)
        is_by_hand = row is not None and picked_of(row) is not None
        is_dropped = is_by_hand and not run.keeps_by_hand
        if row is None or is_dropped or not _still_holds(run, row, job):
            job, keys[photo.photo_id] = _with_kept_point(run, job, row)
            jobs.append(job)
        elif (row.outcome in ("no_card", "borrowed") or _is_lent(row)) and not is_by_hand:
            later.add(photo.photo_id)
        else:
            yield PhotoDone(row=row, was_there=True)
    for job, answer in run_jobs(jobs, run.workshop):
        row = keep_answer(run, job, answer, keys[job.sha256])
        is_stopped = is_stopped or stopping_problem(row.result) is not None
        if row.outcome == "no_card":
            later.add(row.photo_id)
        else:
            yield PhotoDone(row=row, was_there=False)
    fresh = {job.sha256 for job in jobs}
    without = [p for p in photos if p.photo_id in later]
    for one in _not_reached(run, without) if is_stopped else _borrow(run, without):
        yield replace(one, was_there=one.was_there and one.row.photo_id not in fresh)


def job_of(run: ProjectRun, photo: Photo) -> CorrectJob:
    """
    Return the job that looks for a card in a photo; files are named by its key.

    Parameters
    ----------
    run : ProjectRun
    photo : Photo

    Returns
    -------
    CorrectJob
        With the corners that a person set earlier, unless the run has others.
    """
    file = next(f for f in photo.files if f.sha256 == photo.photo_id)
    settings, corners = run.settings, run.settings.corners_px
    if corners is None and run.keeps_by_hand:
        kept = run.place.store.correction(photo.photo_id)
        settings = _with_kept_corners(settings, kept)
    job = CorrectJob(
        path=run.place.vault.path_of(file.sha256, file.original_name),
        name=file.original_name,
        reader=run.workshop.reader,
        settings=settings,
        cards=run.wanted.marked,
        plain_cards=run.wanted.plain,
        sha256=photo.photo_id,
        lens=run.workshop.lens,
        colour=run.colour,
        is_kept=True,
    )
    if settings.corners_px is not None and corners is None:
        card = run.workshop.tables.card(settings.card_names[0])
        marked = (card,) if card.markers else ()
        job = replace(job, cards=marked, plain_cards=() if card.markers else ((card, None),))
    return with_outputs(run, job, correction_key(job))


def _with_kept_corners(settings: CorrectSettings, row: CorrectionRow | None) -> CorrectSettings:
    """Use the corners that a person gave in an earlier run."""
    if row is None or row.geometry.get("how") != "corners":
        return settings
    corners = tuple((float(x), float(y)) for x, y in row.geometry["corners_px"])
    return replace(
        settings,
        corners_px=corners,
        corner_u_px=float(row.geometry["points_u_px"][0]),
        card_names=(str(row.geometry["card"]),),
    )


def by_point(run: ProjectRun, job: CorrectJob, loan: Loan) -> tuple[CorrectJob, str]:
    """
    Return a photo's job by a picked point, and its key; a card in it still gives the scale.

    Parameters
    ----------
    run : ProjectRun
    job : CorrectJob
        From `job_of`.
    loan : Loan
        From `dryslate.app.picked_point.lend_picked`.

    Returns
    -------
    tuple of CorrectJob and str
    """
    key = key_of_picked(job, loan)
    return replace(with_outputs(run, job, key), loan=loan, has_own_scale=True), key


def _with_kept_point(
    run: ProjectRun, job: CorrectJob, row: CorrectionRow | None
) -> tuple[CorrectJob, str]:
    """Use the point that a person picked in an earlier run; without one the card is looked for."""
    picked = None if row is None else picked_of(row)
    if row is None or picked is None or not run.keeps_by_hand:
        return job, correction_key(job)
    source = run.place.store.photo(str(row.colour["loan"].get("from_sha256") or row.photo_id))
    by = {name: picked[name] for name in ("observer", "at") if name in picked}
    try:
        first = job if source is None or source.photo_id == job.sha256 else job_of(run, source)
        others = () if first is job else (job,)
        loan = lend_picked(first, point_of(picked), others, by).loans.get(job.sha256)
    except InputError:
        loan = None
    return (job, correction_key(job)) if loan is None else by_point(run, job, loan)


def with_outputs(run: ProjectRun, job: CorrectJob, key: str) -> CorrectJob:
    """Name the job's files by a key."""
    folder = run.place.folder / DERIVED
    ending = "tif" if job.settings.is_tiff else "jpg"
    preview = folder / "preview" / f"{key}.jpg" if job.settings.has_preview else None
    return replace(
        job, corrected_path=folder / "corrected" / f"{key}.{ending}", preview_path=preview
    )


def _still_holds(run: ProjectRun, row: CorrectionRow, job: CorrectJob) -> bool:
    """Tell whether a stored result was made from just this, and its file is there."""
    if row.outcome == "unreadable":
        return False
    if search_key_of(row) != correction_key(job):
        return False
    return row.corrected_path is None or (run.place.folder / row.corrected_path).is_file()


def _is_lent(row: CorrectionRow) -> bool:
    """Tell whether another photo's colours were tried on this one, if only to be refused."""
    return "search_key" in (row.colour.get("loan") or {})


def search_key_of(row: CorrectionRow) -> str:
    """Return the key of the search behind a row; a borrowed one keeps it beside its own."""
    loan = row.colour.get("loan") or {}
    return str(loan.get("search_key") or row.key)


def keep_answer(run: ProjectRun, job: CorrectJob, answer: CorrectAnswer, key: str) -> CorrectionRow:
    """
    Store an answer with its residuals and files, all in one transaction.

    Parameters
    ----------
    run : ProjectRun
        With the store open for writing.
    job : CorrectJob
    answer : CorrectAnswer
    key : str

    Returns
    -------
    CorrectionRow
        Who set corners by hand stays with them; what says nothing of the photo is not stored.
    """
    result = {**answer.result, **_relative(run, answer.result)}
    row = CorrectionRow(
        photo_id=job.sha256,
        key=key,
        outcome=answer.outcome,
        result=result,
        geometry=_with_who(answer.geometry, run.place.store.correction(job.sha256)),
        colour=answer.colour,
        corrected_path=result["corrected"],
    )
    if any(p["slug"] in UNDONE for p in result["problems"]):
        return row
    store, steps = run.place.store, correction_steps(job)
    with store.write():
        store.save_correction(row)
        store.save_patch_residuals(replace(r, correction_key=key) for r in answer.residuals)
        for file in answer.written:
            store.save_derived_file(
                DerivedFile(
                    path=file.path.relative_to(run.place.folder).as_posix(),
                    photo_id=job.sha256,
                    key=key,
                    kind=file.kind,
                    sha256=file.sha256,
                    size_bytes=file.size_bytes,
                    steps=steps,
                )
            )
    return row


def _with_who(geometry: Mapping[str, Any], before: CorrectionRow | None) -> Mapping[str, Any]:
    """Carry on who set the corners by hand, where they are still the same."""
    if geometry.get("how") != "corners" or "by_hand" in geometry or before is None:
        return geometry
    is_same = before.geometry.get("corners_px") == geometry["corners_px"]
    if not is_same or "by_hand" not in before.geometry:
        return geometry
    return {**geometry, "by_hand": before.geometry["by_hand"]}


def _relative(run: ProjectRun, result: Any) -> dict[str, str | None]:
    """Return the paths of a document below the project's folder."""
    return {
        name: None
        if result.get(name) is None
        else Path(result[name]).relative_to(run.place.folder).as_posix()
        for name in ("corrected", "preview")
    }


def _borrow(run: ProjectRun, photos: Sequence[Photo]) -> Iterator[PhotoDone]:
    """Lend colours to the photos without a card, where the rule allows."""
    if not photos:
        return
    lenders = _lenders(run)
    jobs, keys = [], {}
    for photo in photos:
        row = run.place.store.correction(photo.photo_id)
        if row is None:  # its answer could not be stored, and was told as such
            continue
        shot = _shot(run, photo)
        lender = find_lender(shot, lenders)
        if lender is None:
            yield _left_alone(run, photo, row)
            continue
        search_key = search_key_of(row)
        loan = make_loan(shot, lender)
        key = loan_key(search_key, lender.key, loan.about)
        is_whole = row.outcome == "refused" or (
            row.corrected_path and _is_there(run, row.corrected_path)
        )
        if is_whole and (row.key == key or _is_same_loan(row, loan, search_key)):
            yield PhotoDone(row=row, was_there=True)
            continue
        loan = replace(loan, about={**loan.about, "search_key": search_key})
        job = replace(with_outputs(run, job_of(run, photo), key), loan=loan)
        jobs.append(job)
        keys[job.sha256] = key
    for job, answer in run_jobs(jobs, run.workshop):
        yield PhotoDone(row=keep_answer(run, job, answer, keys[job.sha256]), was_there=False)


def _is_same_loan(row: CorrectionRow, loan: Loan, search_key: str) -> bool:
    """Tell whether a row of an earlier version, whose key says less, is of this very loan."""
    kept = row.colour.get("loan") or {}
    is_older = row.key == loan_key(search_key, str(loan.about["lender_key"]))
    return is_older and all(kept.get(name) == said for name, said in loan.about.items())


def _not_reached(run: ProjectRun, photos: Sequence[Photo]) -> Iterator[PhotoDone]:
    """Hand out the photos without a card when a run stopped before it could lend to them."""
    for photo in photos:
        row = run.place.store.correction(photo.photo_id)
        if row is not None and row.corrected_path and _is_there(run, row.corrected_path):
            yield PhotoDone(row=row, was_there=True)
            continue
        job = job_of(run, photo)
        row = keep_answer(run, job, not_reached(job), correction_key(job))
        yield PhotoDone(row=row, was_there=False)


def _is_there(run: ProjectRun, path: str) -> bool:
    """Tell whether a derived file is there."""
    return (run.place.folder / path).is_file()


def _left_alone(run: ProjectRun, photo: Photo, row: CorrectionRow) -> PhotoDone:
    """Keep a photo as one without a card; take back a loan whose lender is gone."""
    if row.outcome == "no_card":
        return PhotoDone(row=row, was_there=True)
    job = job_of(run, photo)
    _, answer = next(iter(run_jobs([job], run.workshop)))
    return PhotoDone(row=keep_answer(run, job, answer, correction_key(job)), was_there=False)


def _lenders(run: ProjectRun) -> list[Lender]:
    """Return every photo of the project whose own card gave a usable correction."""
    photos = {photo.photo_id: photo for photo in standing_photos(run.place.store)}
    return [
        Lender(shot=_shot(run, photos[row.photo_id]), fit=fit, key=row.key)
        for row in run.place.store.corrections()
        if row.outcome == "corrected" and not row.colour.get("loan") and row.photo_id in photos
        if (fit := fit_from_dict(row.colour)).usable
    ]


def _shot(run: ProjectRun, photo: Photo) -> Shot:
    """Return a photo as the rule for borrowing sees it."""
    file = next(f for f in photo.files if f.sha256 == photo.photo_id)
    taken = _time_of(photo)
    depth = photo.depth_m if photo.depth_m is not None else photo.metadata.water_depth_m
    if depth is None and taken is not None and run.depths is not None:
        depth = run.depths.depth_at(taken)
    return Shot(
        sha256=photo.photo_id,
        name=file.original_name,
        metadata=photo.metadata,
        is_raw=file.kind == "raw",
        taken=taken,
        depth_m=depth,
        group=photo.visit_id,
    )


def _time_of(photo: Photo) -> datetime | None:
    """Return the photo's local time, clock error taken out; None where unknown."""
    text = photo.taken_corrected or photo.metadata.taken_local
    try:
        return None if text is None else datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        return None


def finish_run(run: ProjectRun, done: Sequence[PhotoDone]) -> tuple[Summary, tuple[Problem, ...]]:
    """
    Sum a run up, and name patches of a card that went bad.

    Parameters
    ----------
    run : ProjectRun
    done : sequence of PhotoDone

    Returns
    -------
    summary : Summary
    problems : tuple of Problem
        One for each patch to clean or replace.
    """
    judged = [d for d in done if not d.is_slate]
    summary = summarise([d.row.result for d in judged], [d.row.outcome for d in judged])
    n_before = sum(d.was_there for d in done)
    worn = find_worn_patches(run.place.store.patch_residuals())
    return replace(summary, n_done_before=n_before, n_slates=len(done) - len(judged)), worn
