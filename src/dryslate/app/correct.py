"""Correct photos that belong to no project: from files to files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.correct_one import correct_one, failed, with_problem
from dryslate.app.correct_stop import Stop, not_reached
from dryslate.app.correction_records import CorrectAnswer, CorrectJob, CorrectSettings, Loan
from dryslate.app.output_names import corrected_names, preview_name
from dryslate.app.ports import PhotoReader, Progress, ReferenceTables, Runner
from dryslate.base.errors import DryslateError, InputError, SettingsError, StoreError
from dryslate.base.problems import Problem
from dryslate.core.card.definition import CardDefinition
from dryslate.core.colour.mismatch import parse_mismatch_table
from dryslate.core.colour.outcome import ColourSettings
from dryslate.core.colour.prior import parse_matrix_prior
from dryslate.core.scale.lens import Lens

BYTES_PER_PIXEL_TIFF = 6
"""Three channels of 16 bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Workshop:
    """
    What every correction works with.

    Parameters
    ----------
    reader : PhotoReader
    tables : ReferenceTables
    runner : Runner
    progress : Progress
    lens : Lens or None
        Calibration for all photos of the run.
    """

    reader: PhotoReader
    tables: ReferenceTables
    runner: Runner
    progress: Progress
    lens: Lens | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardsWanted:
    """Cards to look for by markers, and those without, each with its picture."""

    marked: tuple[CardDefinition, ...]
    plain: tuple[tuple[CardDefinition, Any | None], ...]


def cards_wanted(tables: ReferenceTables, settings: CorrectSettings) -> CardsWanted:
    """
    Choose the cards to look for.

    Parameters
    ----------
    tables : ReferenceTables
    settings : CorrectSettings

    Returns
    -------
    CardsWanted
        Those named; else every known card with markers, and every one that has a picture.

    Raises
    ------
    InputError
        ``card-unknown`` for a name that no card has.
    """
    if settings.card_names:
        chosen = [tables.card(name) for name in dict.fromkeys(settings.card_names)]
    else:
        chosen = [c for c in tables.cards() if c.markers or c.picture]
    return CardsWanted(
        marked=tuple(c for c in chosen if c.markers),
        plain=tuple((c, tables.picture(c)) for c in chosen if not c.markers),
    )


def colour_settings(tables: ReferenceTables, settings: CorrectSettings) -> ColourSettings:
    """
    Gather what the colour fit is told.

    Parameters
    ----------
    tables : ReferenceTables
    settings : CorrectSettings

    Returns
    -------
    ColourSettings
        With the tables of simulated spectra; where one is missing the fit states a wide fallback.
    """
    mismatch = _rows(tables, "spectral_mismatch")
    prior = _rows(tables, "spectral_prior")
    return ColourSettings(
        nominal_as_measured=settings.nominal_as_measured,
        under_water=settings.under_water,
        matrix_prior=parse_matrix_prior(prior) if prior else None,
        mismatch_table=parse_mismatch_table(mismatch) if mismatch else None,
    )


def _rows(tables: ReferenceTables, name: str) -> list[dict[str, str]]:
    """Return the rows of a table; none where there is no such table."""
    try:
        return tables.table(name)
    except InputError:
        return []


def require_settings(settings: CorrectSettings, n_photos: int) -> None:
    """
    Refuse settings that contradict each other.

    Parameters
    ----------
    settings : CorrectSettings
    n_photos : int

    Raises
    ------
    SettingsError
        ``correct-corners-need-card`` where corners are given without saying of which card;
        ``correct-one-photo`` where they are given for several photos.
    """
    if settings.corners_px is None:
        return
    if len(settings.card_names) != 1:
        raise SettingsError(
            "correct-corners-need-card",
            "--corners needs the name of the one card whose corners they are.",
            "Add --card NAME; see the names with: dryslate card list",
        )
    if n_photos != 1:
        raise SettingsError(
            "correct-one-photo",
            f"--corners belong to one photo, but {n_photos} were given.",
            "Give one photo at a time.",
        )


def correct_photos(
    photos: Sequence[Path],
    out: Path,
    settings: CorrectSettings,
    workshop: Workshop,
    loans: dict[Path, Loan] | None = None,
) -> Iterator[CorrectAnswer]:
    """
    Correct photos into a folder.

    Parameters
    ----------
    photos : sequence of Path
        A photo given twice is done once.
    out : Path
        Folder for the corrected files; made where it is not there.
    settings : CorrectSettings
    workshop : Workshop
    loans : dict, optional
        Corrections to use instead of looking for a card.

    Yields
    ------
    CorrectAnswer
        One a photo, in the order given.

    Raises
    ------
    SettingsError
        As `require_settings`.
    InputError
        As `cards_wanted`.
    """
    distinct = _distinct(photos)
    require_settings(settings, len(distinct))
    wanted, colour = (
        cards_wanted(workshop.tables, settings),
        colour_settings(workshop.tables, settings),
    )
    ending = ".tif" if settings.is_tiff else ".jpg"
    names = corrected_names(distinct, out, ending)
    jobs = [
        CorrectJob(
            path=photo,
            name=str(photo),
            reader=workshop.reader,
            settings=settings,
            cards=wanted.marked,
            plain_cards=wanted.plain,
            corrected_path=names[photo],
            preview_path=preview_name(names[photo]) if settings.has_preview else None,
            lens=workshop.lens,
            loan=(loans or {}).get(photo),
            colour=colour,
        )
        for photo in distinct
    ]
    counts = {photo: sum(_same(photo, other) for other in photos) for photo in distinct}
    for answer in in_order(run_jobs(jobs, workshop), jobs):
        n = counts[Path(answer.result["photo"])]
        yield answer if n == 1 else with_problem(answer, _given_twice(answer, n))


def run_jobs(
    jobs: Sequence[CorrectJob], workshop: Workshop
) -> Iterator[tuple[CorrectJob, CorrectAnswer]]:
    """
    Run jobs and turn whatever one of them raises into its answer.

    Parameters
    ----------
    jobs : sequence of CorrectJob
    workshop : Workshop

    Yields
    ------
    tuple
        Job and answer, as they finish; last those that were not reached.

    Notes
    -----
    A bad photo never stops the rest. A full disk or a closed folder does: the next photo would
    meet it too. What is under way then is still finished.
    """
    if not jobs:
        return
    stop = Stop(jobs)
    workshop.progress.start("Correcting", len(jobs))
    try:
        for job, answer in workshop.runner.run(correct_one, stop.handed_out()):
            workshop.progress.step(1, Path(job.name).name)
            if isinstance(answer, CorrectAnswer):
                stop.look_at(answer)
                yield job, answer
            elif isinstance(answer, Exception):
                yield job, failed(job, _unexpected(job, answer))
            else:
                raise answer
    finally:
        workshop.progress.done()
    yield from ((job, not_reached(job)) for job in stop.left_over())


def in_order(
    answers: Iterator[tuple[CorrectJob, CorrectAnswer]], jobs: Sequence[CorrectJob]
) -> Iterator[CorrectAnswer]:
    """
    Hand answers on in the order of the jobs, each as soon as those before it are there.

    Parameters
    ----------
    answers : iterator
    jobs : sequence of CorrectJob

    Yields
    ------
    CorrectAnswer
    """
    waiting: dict[int, CorrectAnswer] = {}
    place = {id(job): i for i, job in enumerate(jobs)}
    following = 0
    for job, answer in answers:
        waiting[place[id(job)]] = answer
        while following in waiting:
            yield waiting.pop(following)
            following += 1


def tiff_bytes(photos: Sequence[Path], reader: PhotoReader) -> int:
    """
    Say how much disk 16-bit files of these photos take.

    Parameters
    ----------
    photos : sequence of Path
    reader : PhotoReader

    Returns
    -------
    int
        Bytes; photos whose size cannot be read count nothing.
    """
    total = 0
    for photo in photos:
        try:
            width, height = reader.size_px(photo)
        except (DryslateError, OSError):
            continue
        total += width * height * BYTES_PER_PIXEL_TIFF
    return total


def require_room(needed_bytes: int, free_bytes: int) -> None:
    """
    Refuse to begin what cannot fit the disk.

    Parameters
    ----------
    needed_bytes, free_bytes : int

    Raises
    ------
    StoreError
        ``correct-no-room``.
    """
    if needed_bytes > free_bytes:
        raise StoreError(
            "correct-no-room",
            f"The corrected photos need {needed_bytes / 1e9:.2f} GB, but only "
            f"{free_bytes / 1e9:.2f} GB are free.",
            "Make room, choose another disk, or leave out --tiff: a JPEG takes about a tenth.",
        )


def _same(a: Path, b: Path) -> bool:
    """Tell whether two paths are one file."""
    return a == b or a.resolve() == b.resolve()


def _distinct(photos: Sequence[Path]) -> list[Path]:
    """Return each photo once, in the order given."""
    seen: dict[Path, Path] = {}
    for photo in photos:
        seen.setdefault(photo.resolve(), photo)
    return list(seen.values())


def _given_twice(answer: CorrectAnswer, n: int) -> Problem:
    """Say that a photo was given more than once."""
    return Problem(
        slug="correct-given-twice",
        severity="note",
        place=str(answer.result["photo"]),
        message=f"this photo was given {n} times; it was corrected once.",
    )


def _unexpected(job: CorrectJob, error: Exception) -> Problem:
    """Say that the program failed on a photo, so that the rest can go on."""
    if isinstance(error, DryslateError):
        return Problem(
            slug=error.slug, severity="error", place=job.name, message=error.message, fix=error.fix
        )
    return Problem(
        slug="correct-unexpected",
        severity="error",
        place=job.name,
        message=f"the program failed on this photo ({type(error).__name__}: {error}).",
        fix="Please report this with the photo; the others are not affected.",
    )
