"""Correct by one point that a person picked, and lend it to photos that share its settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from dryslate.app.borrow import exposure_ratio, settings_differ
from dryslate.app.correct_one import sha256_of
from dryslate.app.correction_json import empty_document
from dryslate.app.correction_records import Loan
from dryslate.app.ports import PhotoReader
from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.app.shots import RAW_ENDINGS, ending_of
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.loan import lend_fit, water_log_gain_cov
from dryslate.core.colour.mismatch import MismatchTable
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.point import measure_spot

RANGE_U_M = 0.41
"""Doubt of the difference in distance to the subject: two distances within 0.5 m, rectangular."""

What = Literal["white", "grey"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PickedPoint:
    """
    A point that a person says is white or mid grey.

    Parameters
    ----------
    xy_px : tuple of float
        In pixels of the upright photo.
    what : {"white", "grey"}
    """

    xy_px: tuple[float, float]
    what: What


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointLoans:
    """Corrections by photo, and the photos that may not have one, with the reason."""

    loans: dict[Path, Loan]
    refused: dict[Path, Problem]


def lend_point(
    photo: Path,
    point: PickedPoint,
    others: Sequence[Path],
    reader: PhotoReader,
    mismatch_table: MismatchTable | None = None,
) -> PointLoans:
    """
    Fit a correction to one picked point, and adapt it to other photos that share its settings.

    Parameters
    ----------
    photo : Path
        The photo with the point.
    point : PickedPoint
    others : sequence of Path
        Photos to correct by the same point.
    reader : PhotoReader
    mismatch_table : MismatchTable, optional
        What colours that were not measured cost; None for a wide fallback.

    Returns
    -------
    PointLoans
        `photo` itself is always among the loans.

    Raises
    ------
    InputError
        ``point-outside-photo``, ``point-clipped``, and what `PhotoReader.read` raises, for the
        photo with the point; ``correct-point-unusable`` where it states no colour.

    Notes
    -----
    Photos share a correction only where their files state a fixed white balance (or are raw),
    the same camera, flash, lens and zoom. Distance and depth are not in the files as a rule: the
    doubt of half a metre of water is added, and half a stop where exposures are not stated.
    """
    decoded = reader.read(photo)
    fit = fit_picked(decoded, point, str(photo), mismatch_table)
    loans = {photo: Loan(fit=fit, from_sha256=None, about={"picked": _picked(point)})}
    refused: dict[Path, Problem] = {}
    source = sha256_of(photo) if others else ""
    for other in others:
        if other.resolve() == photo.resolve():
            continue
        try:
            metadata = _settings_of(other, reader)
        except DryslateError as error:
            refused[other] = problem_of(error, str(other))
            continue
        reason = _reason_against(decoded, other, metadata)
        if reason is not None:
            refused[other] = _refusal(other, photo, reason)
            continue
        ratio, lightness_u = exposure_ratio(metadata, decoded.metadata)
        lent = lend_fit(fit, ratio, water_log_gain_cov(RANGE_U_M, lightness_u))
        about = {
            "picked": _picked(point),
            "exposure_ratio": ratio,
            "lightness_u_ln": lightness_u,
            "path_u_m": RANGE_U_M,
        }
        lent = replace(lent, problems=fit.problems)
        loans[other] = Loan(
            fit=lent, from_sha256=source, about=about, problems=(_note(other, photo),)
        )
    return PointLoans(loans=loans, refused=refused)


def refuse_all(photo: Path, others: Sequence[Path], error: DryslateError) -> PointLoans:
    """
    Refuse every photo that was to be corrected by a point that cannot be used.

    Parameters
    ----------
    photo : Path
        The photo with the point.
    others : sequence of Path
        Photos to correct by the same point.
    error : DryslateError
        Why the point cannot be used.

    Returns
    -------
    PointLoans
        No loan; a refusal for each photo.
    """
    message = error.message.removeprefix(f"{photo}: ")
    said = replace(problem_of(error, str(photo)), message=message)
    reason = "the point in that photo cannot be used"
    refused = {o: _refusal(o, photo, reason) for o in others if o.resolve() != photo.resolve()}
    return PointLoans(loans={}, refused={photo: said, **refused})


def refused_document(photo: Path, problem: Problem) -> dict[str, Any]:
    """
    Return the document of a photo that no point corrects.

    Parameters
    ----------
    photo : Path
    problem : Problem

    Returns
    -------
    dict
        As scripts rely on it.
    """
    try:
        sha256: str | None = sha256_of(photo)
    except OSError:
        sha256 = None
    document = empty_document(str(photo), sha256)
    document["problems"] = [problem.as_dict()]
    return document


def _picked(point: PickedPoint) -> dict[str, object]:
    """Return the point as plain values."""
    return {"xy_px": list(point.xy_px), "what": point.what}


def fit_picked(
    decoded: DecodedPhoto, point: PickedPoint, photo: str, table: MismatchTable | None
) -> ColourFit:
    """
    Measure a picked point and fit the gains to it.

    Parameters
    ----------
    decoded : DecodedPhoto
    point : PickedPoint
    photo : str
        What to call the photo.
    table : MismatchTable or None

    Returns
    -------
    ColourFit

    Raises
    ------
    InputError
        ``point-outside-photo``, ``point-clipped``, ``correct-point-unusable``.
    """
    upright = upright_view(decoded.pixels, decoded.metadata.orientation)
    radius = max(4, round(0.002 * max(upright.shape[:2])))
    try:
        spot = measure_spot(upright, point.xy_px, decoded.linear_lut, radius)
    except InputError as error:
        raise InputError(error.slug, f"{photo}: {error.message}", error.fix) from error
    fit = fit_one_point(
        spot.mean_linear, point.what, spot.cov_linear, spot.n_px, decoded.to_srgb, table
    )
    if not fit.usable:
        said = fit.problems[0].message if fit.problems else "the point states no colour"
        raise InputError(
            "correct-point-unusable",
            f"{photo}: the point cannot be used: {said}",
            "Pick a brighter spot that is really white or grey, or photograph a card.",
        )
    return fit


def _reason_against(decoded: DecodedPhoto, other: Path, metadata: PhotoMetadata) -> str | None:
    """Say why another photo may not share the point's correction; None where it may."""
    other_is_raw = ending_of(other.name) in RAW_ENDINGS
    if other_is_raw != (decoded.kind == "raw"):
        return "one is a raw file, the other is not"
    return settings_differ(metadata, decoded.metadata, both_raw=other_is_raw)


def _settings_of(other: Path, reader: PhotoReader) -> PhotoMetadata:
    """Read what a photo says of itself; what is no photo raises its own fault."""
    metadata = reader.read_metadata(other)
    try:
        reader.size_px(other)
    except OSError:
        reader.read(other)
    return metadata


def _refusal(other: Path, photo: Path, reason: str) -> Problem:
    """Say that a photo does not share the point's correction."""
    return Problem(
        slug="correct-not-shared",
        severity="error",
        place=str(other),
        message=f"not corrected by the point picked in {photo.name}: {reason}.",
        fix="A point serves only photos with the same fixed white balance, flash, lens and zoom, "
        "as their files state them. Pick a point in this photo itself.",
    )


def _note(other: Path, photo: Path) -> Problem:
    """Say where the correction comes from."""
    return Problem(
        slug="correct-shared-point",
        severity="note",
        place=str(other),
        message=f"corrected by the point picked in {photo.name}; its doubt is wider.",
    )
