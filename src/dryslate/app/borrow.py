"""Which photo a photo without a card may borrow its colours from, and with what doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from dryslate.app.correction_records import Loan
from dryslate.app.records import PhotoMetadata
from dryslate.base.problems import Problem, has_error
from dryslate.core.colour.fit import ColourFit
from dryslate.core.colour.loan import lend_fit, water_log_gain_cov
from dryslate.core.colour.signal import check_expected

LONGEST_S = 300.0
"""Most seconds between two photos whose depths are both known."""

LONGEST_UNKNOWN_DEPTH_S = 120.0
"""Most seconds between two photos where a depth is unknown."""

MOST_DEPTH_M = 1.0
"""Most metres between the depths of two photos."""

RANGE_U_M = 0.41
"""Doubt of the difference in distance to the subject: two distances within 0.5 m, rectangular."""

UNKNOWN_DEPTH_U_M = 1.7
"""Doubt of the difference in depth within two minutes where it is unknown: 3 m, rectangular."""

UNKNOWN_EXPOSURE_U_LN = 0.35
"""Doubt of the logarithm of the light where exposures cannot be compared: half a stop."""

_ZOOM_TOLERANCE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shot:
    """
    A photo as the rule for borrowing sees it.

    Parameters
    ----------
    sha256 : str
    name : str
    metadata : PhotoMetadata
    is_raw : bool
    taken : datetime or None
        Local time with the camera's clock error taken out; None where unknown.
    depth_m : float or None
        Depth of the camera; None where unknown.
    group : str
        Only photos of one group (one visit) lend to each other.
    """

    sha256: str
    name: str
    metadata: PhotoMetadata
    is_raw: bool
    taken: datetime | None = None
    depth_m: float | None = None
    group: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lender:
    """A photo whose own card gave a usable correction."""

    shot: Shot
    fit: ColourFit
    key: str = ""


def settings_differ(a: PhotoMetadata, b: PhotoMetadata, *, both_raw: bool) -> str | None:
    """
    Say why two photos cannot share a correction, by what their files state.

    Parameters
    ----------
    a, b : PhotoMetadata
    both_raw : bool
        Raw files have no white balance of their own.

    Returns
    -------
    str or None
        The first reason in plain words; None where white balance is fixed and camera, flash,
        lens and zoom are stated and agree.

    Notes
    -----
    What a file does not state is not taken as agreeing. Cameras with a built-in lens state
    none: there the same camera model stands for the lens.
    """
    if not both_raw and not (a.white_balance_fixed is True and b.white_balance_fixed is True):
        return "white balance is not stated as fixed in both"
    if (a.camera_make, a.camera_model, a.camera_serial) != (
        b.camera_make,
        b.camera_model,
        b.camera_serial,
    ):
        return "they come from different cameras"
    if a.camera_model is None:
        return "the camera is not stated"
    if a.flash_fired is None or b.flash_fired is None:
        return "flash is not stated in both"
    if a.flash_fired != b.flash_fired:
        return "one was taken with flash, the other without"
    if a.lens_model != b.lens_model:
        return "the lens differs"
    return _zoom_differs(a, b)


def _zoom_differs(a: PhotoMetadata, b: PhotoMetadata) -> str | None:
    """Compare focal length and digital zoom."""
    if a.focal_mm is None or b.focal_mm is None:
        return "the focal length is not stated in both"
    if abs(a.focal_mm - b.focal_mm) > _ZOOM_TOLERANCE * max(a.focal_mm, b.focal_mm):
        return f"zoom differs ({a.focal_mm:g} and {b.focal_mm:g} mm)"
    if (a.zoom_ratio or 1.0) != (b.zoom_ratio or 1.0):
        return "digital zoom differs"
    return None


def find_lender(shot: Shot, lenders: Sequence[Lender]) -> Lender | None:
    """
    Find the nearest photo in time that a photo may borrow its colours from.

    Parameters
    ----------
    shot : Shot
    lenders : sequence of Lender

    Returns
    -------
    Lender or None
        The nearest in time, then in depth; None where no photo meets the rule.

    Notes
    -----
    The rule: same visit, white balance fixed (or both raw), flash, lens and zoom agree; within
    5 minutes and 1 m where both depths are known, within 2 minutes where one is unknown. A
    photo whose time is unknown borrows nothing.
    """
    fits = []
    for lender in lenders:
        near = _nearness(shot, lender.shot)
        both_raw = shot.is_raw and lender.shot.is_raw
        if near is None or shot.is_raw != lender.shot.is_raw:
            continue
        if settings_differ(shot.metadata, lender.shot.metadata, both_raw=both_raw) is None:
            fits.append((near, lender.shot.sha256, lender))
    return min(fits, key=lambda entry: entry[:2])[2] if fits else None


def _nearness(shot: Shot, other: Shot) -> tuple[float, float] | None:
    """Return seconds and metres between two photos where the rule allows them, else None."""
    if shot.taken is None or other.taken is None or shot.group != other.group:
        return None
    if shot.sha256 == other.sha256:
        return None
    if (shot.taken.tzinfo is None) != (other.taken.tzinfo is None):
        return None
    seconds = abs((shot.taken - other.taken).total_seconds())
    if shot.depth_m is None or other.depth_m is None:
        return (seconds, 0.0) if seconds <= LONGEST_UNKNOWN_DEPTH_S else None
    metres = abs(shot.depth_m - other.depth_m)
    return (seconds, metres) if seconds <= LONGEST_S and metres <= MOST_DEPTH_M else None


def exposure_of(metadata: PhotoMetadata) -> float | None:
    """
    Return time times ISO over aperture squared; None where one of the three is not stated.

    Examples
    --------
    >>> exposure_of(PhotoMetadata(exposure_s=0.01, iso=400, f_number=8.0))
    0.0625
    """
    parts = (metadata.exposure_s, metadata.iso, metadata.f_number)
    if any(p is None or not p > 0 for p in parts):
        return None
    seconds, iso, aperture = (float(p) for p in parts if p is not None)
    return seconds * iso / aperture**2


def make_loan(shot: Shot, lender: Lender) -> Loan:
    """
    Adapt a lender's correction to a photo without a card.

    Parameters
    ----------
    shot : Shot
    lender : Lender

    Returns
    -------
    Loan
        The fit with exposure and doubt adapted, and a note that says so. Where the widened
        expected difference is over the limits that a photo's own card is held to, the fit is
        for looking only (``colour-looking-only``) or refused (``colour-too-uncertain``).

    Notes
    -----
    Doubt added: the difference in depth (taken as a standard uncertainty; 1.7 m where a depth is
    unknown), the unknown difference in distance to the subject, and half a stop of light where
    exposures are not stated or flash fired, since a flash's output is not. Scale is never
    borrowed: the camera moved.
    """
    donor = lender.shot
    path_u, depth_gap = _path_doubt(shot, donor)
    ratio, lightness_u = exposure_ratio(shot.metadata, donor.metadata)
    fit = lend_fit(lender.fit, ratio, water_log_gain_cov(path_u, lightness_u))
    seconds = _seconds_between(shot, donor)
    about: Mapping[str, Any] = {
        "seconds": seconds,
        "depth_difference_m": depth_gap,
        "path_u_m": path_u,
        "exposure_ratio": ratio,
        "lightness_u_ln": lightness_u,
        "lender_off_card_de00_p95": lender.fit.off_card_de00_p95,
        "lender_key": lender.key,
    }
    expected = fit.off_card_de00_p95
    over = [] if expected is None else check_expected(expected, is_borrowed=True)
    fit = replace(fit, problems=tuple(over), usable=fit.usable and not has_error(over))
    doubt = "" if expected is None else f" Expect colours off by up to {expected:.1f} CIEDE2000."
    depth = "depth unknown" if depth_gap is None else f"{depth_gap:.1f} m apart in depth"
    problem = Problem(
        slug="correct-borrowed",
        severity="note",
        place=shot.name,
        message=f"no card in this photo; colours are borrowed from {donor.name}, taken "
        f"{seconds:.0f} s away, {depth}.{doubt} It has no scale."
        if fit.can_be_shown
        else f"no card in this photo; colours of {donor.name}, taken {seconds:.0f} s away, "
        f"{depth}, were tried and are not used. It has no scale.",
        fix="Keep a card in every frame where colour or size matters.",
    )
    return Loan(fit=fit, from_sha256=donor.sha256, about=about, problems=(problem,))


def _seconds_between(a: Shot, b: Shot) -> float:
    """Return the seconds between two photos whose times are known."""
    if a.taken is None or b.taken is None:
        raise ValueError("both photos need a time")
    return abs((a.taken - b.taken).total_seconds())


def _path_doubt(a: Shot, b: Shot) -> tuple[float, float | None]:
    """Return the doubt of the difference in water path, and the depths' difference."""
    if a.depth_m is None or b.depth_m is None:
        return (UNKNOWN_DEPTH_U_M**2 + RANGE_U_M**2) ** 0.5, None
    gap = abs(a.depth_m - b.depth_m)
    return (gap**2 + RANGE_U_M**2) ** 0.5, gap


def exposure_ratio(photo: PhotoMetadata, lender: PhotoMetadata) -> tuple[float, float]:
    """
    Return the exposure of a photo over its lender's, and the doubt of its logarithm.

    Parameters
    ----------
    photo, lender : PhotoMetadata

    Returns
    -------
    ratio : float
        1 where it cannot be known.
    ratio_u_ln : float
        0 where both exposures are stated and no flash fired.
    """
    mine, theirs = exposure_of(photo), exposure_of(lender)
    if mine is None or theirs is None or photo.flash_fired or lender.flash_fired:
        return 1.0, UNKNOWN_EXPOSURE_U_LN
    return mine / theirs, 0.0
