"""Correct one photo from file to file: read, find, fit, apply, preview, write."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

from dryslate import __version__
from dryslate.app.card_reading import CardReading, patch_residuals, read_cards
from dryslate.app.correct_stop import outcome_of
from dryslate.app.correction_json import (
    describe_card,
    describe_colour,
    describe_scale,
    describe_search,
    empty_document,
    problem_dicts,
)
from dryslate.app.correction_records import CorrectAnswer, CorrectJob, Outcome, Written
from dryslate.app.geometry import geometry_to_dict
from dryslate.app.preview import corrected_preview, reduced_preview
from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.card.definition import CardDefinition
from dryslate.core.colour.apply import apply_correction, apply_correction_16
from dryslate.core.colour.fit import ColourFit, fit_to_dict
from dryslate.core.scale.plane import plane_to_dict
from dryslate.formats.card_toml import format_card


def correct_one(job: CorrectJob) -> CorrectAnswer:
    """
    Correct one photo; whatever is wrong with it is in the answer, not raised.

    Parameters
    ----------
    job : CorrectJob

    Returns
    -------
    CorrectAnswer
        `result` is the document that scripts rely on.

    Notes
    -----
    The original is only read. An outcome ``corrected`` or ``borrowed`` is given only after
    the corrected file lies whole on the disk.
    """
    try:
        sha256 = job.sha256 or sha256_of(job.path)
        photo = job.reader.read(job.path)
    except DryslateError as error:
        return failed(job, _stopped(job, error))
    except (OSError, MemoryError) as error:
        return failed(job, _unreadable(job, error))
    reading: CardReading | None = None
    try:
        if job.loan is None or job.has_own_scale:
            reading = read_cards(photo, job)
        return _finish(job, sha256, photo, reading)
    except DryslateError as error:
        return _refused(job, sha256, photo, _stopped(job, error))
    except OSError as error:
        return _refused(job, sha256, photo, _unwritable(job, error))


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@lru_cache(maxsize=32)
def card_key(card: CardDefinition) -> str:
    """Hash everything a card states, its serial, medium and values too."""
    return hashlib.sha256(format_card(card).encode("utf-8")).hexdigest()


def failed(job: CorrectJob, problem: Problem) -> CorrectAnswer:
    """Return the answer for a photo that could not be worked on at all."""
    document = empty_document(job.name, job.sha256 or None)
    document["problems"] = problem_dicts([problem], job.name)
    return CorrectAnswer(outcome="unreadable", result=document)


def _stopped(job: CorrectJob, error: DryslateError) -> Problem:
    """Say what stopped the work on a photo, by the name it had on the card and not by its hash."""
    return replace(problem_of(error, str(job.path)), place=job.name)


def _unreadable(job: CorrectJob, error: BaseException) -> Problem:
    """Say why the file could not be read."""
    if isinstance(error, FileNotFoundError):
        message, fix = "there is no such file.", "Check the path."
    elif isinstance(error, IsADirectoryError):
        message, fix = "this is a folder, not a photo.", "Give the photos in it, one by one."
    elif isinstance(error, MemoryError):
        message, fix = (
            "the photo does not fit into memory.",
            "Give fewer photos at a time (--jobs).",
        )
    else:
        message, fix = f"the file cannot be read ({error}).", "Check the drive and the permissions."
    return Problem(
        slug="photo-unreadable", severity="error", place=job.name, message=message, fix=fix
    )


def _unwritable(job: CorrectJob, error: OSError) -> Problem:
    """Say why the corrected file could not be written."""
    return Problem(
        slug="write-failed",
        severity="error",
        place=job.name,
        message=f"{error.filename or job.corrected_path}: could not be written "
        f"({error.strerror or error}).",
        fix="Look at the drive, then run the same command again; what was finished is kept.",
    )


def _refused(job: CorrectJob, sha256: str, photo: DecodedPhoto, problem: Problem) -> CorrectAnswer:
    """Return the answer for a readable photo that stays as it is, or could not be written."""
    document = empty_document(job.name, sha256)
    document["problems"] = problem_dicts([problem], job.name)
    return CorrectAnswer(outcome=outcome_of(problem), result=document, metadata=photo.metadata)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Chosen:
    """The fit to apply, where it comes from and what is to be said with it."""

    fit: ColourFit | None
    outcome: Outcome
    problems: tuple[Problem, ...]


def _choose(job: CorrectJob, reading: CardReading | None) -> _Chosen:
    """Decide what this photo is corrected by, if by anything."""
    if job.loan is not None:
        fit = job.loan.fit
        outcome: Outcome = "borrowed" if job.loan.from_sha256 else "corrected"
        problems = (*job.loan.problems, *fit.problems, *_of_scale(reading))
        return _Chosen(
            fit=fit, outcome=outcome if fit.can_be_shown else "refused", problems=problems
        )
    if reading is None or reading.card is None:
        problem = Problem(
            slug="correct-no-card",
            severity="error",
            place=job.name,
            message="no card was found; the photo was left as it is.",
            fix="Give its four corners (--card NAME --corners), or one white or grey point "
            "(--white X,Y or --grey X,Y).",
        )
        found = () if reading is None else reading.problems
        return _Chosen(fit=None, outcome="no_card", problems=(*found, problem))
    is_shown = reading.fit is not None and reading.fit.can_be_shown
    return _Chosen(
        fit=reading.fit,
        outcome="corrected" if is_shown else "refused",
        problems=reading.problems,
    )


def _of_scale(reading: CardReading | None) -> tuple[Problem, ...]:
    """Return what a photo's own card says where its colours are not used."""
    if reading is None:
        return ()
    of_colour = () if reading.fit is None else reading.fit.problems
    return tuple(p for p in reading.problems if p not in of_colour)


def _finish(
    job: CorrectJob, sha256: str, photo: DecodedPhoto, reading: CardReading | None
) -> CorrectAnswer:
    """Write what there is to write and put the answer together."""
    chosen = _choose(job, reading)
    fit = chosen.fit
    document = empty_document(job.name, sha256)
    if reading is not None:
        describe_search(document, reading.search, reading.planes)
        document["card"] = describe_card(reading.card, reading.plane)
        document["scale"] = describe_scale(reading.plane)
    document["colour"] = describe_colour(fit)
    if job.loan is not None:
        document["borrowed_from"] = job.loan.from_sha256
    written: tuple[Written, ...] = ()
    if fit is not None and chosen.outcome in ("corrected", "borrowed"):
        written = _write(job, photo, fit, xmp_fields(document, chosen.outcome))
        document["corrected"] = _path_text(job.corrected_path)
        document["preview"] = _path_text(job.preview_path)
    document["problems"] = problem_dicts((*photo.notes, *chosen.problems), job.name)
    return CorrectAnswer(
        outcome=chosen.outcome,
        result=document,
        geometry=_geometry(reading),
        colour=_colour(job, fit),
        residuals=() if job.loan is not None else _residuals(sha256, reading),
        metadata=photo.metadata,
        written=written,
    )


def _path_text(path: Path | None) -> str | None:
    """Return a path as text, with forward slashes."""
    return None if path is None else path.as_posix()


def _write(
    job: CorrectJob, photo: DecodedPhoto, fit: ColourFit, description: dict[str, str]
) -> tuple[Written, ...]:
    """Write the preview, then the corrected photo: the latter's being there means all is done."""
    pixels = None if job.corrected_path is None else _corrected(job, photo, fit)
    written = []
    if job.preview_path is not None:
        is_first = not job.preview_path.exists()
        if pixels is None or pixels.dtype != np.uint8:
            small = corrected_preview(photo, fit.correction)
        else:
            small = reduced_preview(pixels, photo.metadata.orientation)
        job.reader.write_preview(job.preview_path, small)
        written.append(_written(job, job.preview_path, "preview"))
    try:
        if job.corrected_path is not None:
            job.reader.write_corrected(job.corrected_path, pixels, photo, description)
            written.append(_written(job, job.corrected_path, "corrected"))
    except BaseException:
        if job.preview_path is not None and is_first:
            job.preview_path.unlink(missing_ok=True)
        raise
    return tuple(written)


def _corrected(job: CorrectJob, photo: DecodedPhoto, fit: ColourFit) -> Any:
    """Correct the frame, in place of the decoded one where that can take the result."""
    apply = apply_correction_16 if job.settings.is_tiff else apply_correction
    return apply(
        photo.pixels,
        photo.linear_lut,
        fit.correction,
        orientation=photo.metadata.orientation,
        out=_frame_to_fill(photo, job),
    )


def _frame_to_fill(photo: DecodedPhoto, job: CorrectJob) -> Any | None:
    """Return the decoded frame itself where it can take the result: nobody else holds it."""
    pixels = photo.pixels
    is_fit = pixels.dtype == np.uint8 and pixels.flags.writeable and not job.settings.is_tiff
    return pixels if is_fit else None


def _written(job: CorrectJob, path: Path, kind: Literal["corrected", "preview"]) -> Written:
    """Describe a file that was just written."""
    return Written(
        path=path,
        kind=kind,
        sha256=sha256_of(path) if job.is_kept else "",
        size_bytes=path.stat().st_size,
    )


def xmp_fields(document: Mapping[str, Any], outcome: Outcome) -> dict[str, str]:
    """
    Say in a few words what was done to the photo, for its XMP.

    Parameters
    ----------
    document : Mapping
        The photo's document, all but the paths filled in.
    outcome : str

    Returns
    -------
    dict
        Names of fields and their text; unknown ones are left out.
    """
    card, colour, scale = document["card"], document["colour"], document["scale"]
    values = card["values"] or {}
    fields = {
        "program": f"dryslate {__version__}",
        "source_sha256": document["sha256"],
        "outcome": outcome,
        "borrowed_from": document["borrowed_from"],
        "card": card["name"],
        "card_serial": card.get("serial") or None,
        "card_values": values.get("status"),
        "card_medium": values.get("medium"),
        "fit": colour["fit"],
        "gain": " ".join(f"{g:.4g}" for g in colour["gain"] or () if g is not None) or None,
        "left_out_de00_median": colour["left_out_de00_median"],
        "left_out_de00_p95": colour["left_out_de00_p95"],
        "off_card_de00_p95": colour["off_card_de00_p95"],
        "px_per_mm": scale["px_per_mm"],
        "px_per_mm_u": scale["px_per_mm_u"],
        "colour_space": "sRGB, D65",
        "note": "Colours are true only near the card's distance."
        if colour["usable"]
        else "For looking only: no colour is to be measured in this picture.",
    }
    return {
        name: value if isinstance(value, str) else f"{value:.6g}"
        for name, value in fields.items()
        if value is not None
    }


def _geometry(reading: CardReading | None) -> dict[str, Any]:
    """Return what the store keeps to rebuild the plane."""
    if reading is None or reading.card is None:
        return {}
    others = [
        {"card": found.card.name, "plane": plane_to_dict(plane)}
        for k, (found, plane) in enumerate(zip(reading.search.cards, reading.planes, strict=True))
        if k != reading.chosen and plane is not None
    ]
    return {
        **geometry_to_dict(reading.card, reading.plane),
        "card_key": card_key(reading.card.card),
        **({"others": others} if others else {}),
    }


def _colour(job: CorrectJob, fit: ColourFit | None) -> dict[str, Any]:
    """Return what the store keeps to rebuild the colour fit with its doubt."""
    if fit is None:
        return {}
    stored = fit_to_dict(fit)
    if job.loan is not None:
        stored["loan"] = {"from_sha256": job.loan.from_sha256, **job.loan.about}
    return stored


def _residuals(sha256: str, reading: CardReading | None) -> tuple[Any, ...]:
    """Return the residual of each patch where a card gave a usable correction."""
    if reading is None or reading.card is None or reading.samples is None:
        return ()
    if reading.fit is None or not reading.fit.usable:
        return ()
    card = reading.card.card
    return patch_residuals(sha256, card, card_key(card), reading.samples, reading.fit.correction)


def with_problem(answer: CorrectAnswer, problem: Problem) -> CorrectAnswer:
    """
    Return the answer with one more problem in its document.

    Parameters
    ----------
    answer : CorrectAnswer
    problem : Problem

    Returns
    -------
    CorrectAnswer
    """
    document = dict(answer.result)
    document["problems"] = [*document["problems"], problem.as_dict()]
    return replace(answer, result=document)
