"""Patches of a card that went dirty, scratched or faded, by their residuals over many photos."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from statistics import median

from dryslate.app.project_records import PatchResidual
from dryslate.base.problems import Problem

N_BAD_PHOTOS = 10
"""After this many bad photos a patch is named."""

BAD_DE00 = 6.0
"""A patch is bad in a photo when it is off by more than this, and by more than three times the
median of the photo's patches."""

BAD_RATIO = 3.0
BAD_SHARE = 0.5
"""This share of a patch's photos must be bad: a long trip names no patch by chance."""


def find_worn_patches(residuals: Iterable[PatchResidual]) -> tuple[Problem, ...]:
    """
    Find the patches that are off in ten photos or more.

    Parameters
    ----------
    residuals : iterable of PatchResidual
        The latest of each photo and patch counts.

    Returns
    -------
    tuple of Problem
        One a patch, with slug ``card-patch-worn``.

    Notes
    -----
    A photo in which all patches fit badly names none: a patch must stand out from the others of
    its photo. Dropped patches (covered, shaded, clipped) are not counted as bad, since that is
    about the photo rather than the card.
    """
    latest = {(r.card_key, r.photo_id, r.patch_id): r for r in residuals}
    photos: dict[tuple[str, str], list[PatchResidual]] = defaultdict(list)
    for row in latest.values():
        if row.residual_de00 is not None:
            photos[row.card_key, row.photo_id].append(row)
    seen: dict[tuple[str, str, str], list[tuple[bool, float]]] = defaultdict(list)
    for (card_key, _), rows in photos.items():
        values = {r.patch_id: r.residual_de00 or 0.0 for r in rows}
        limit = max(BAD_DE00, BAD_RATIO * median(values.values()))
        for row in rows:
            value = values[row.patch_id]
            seen[card_key, row.card, row.patch_id].append((value > limit, value))
    return tuple(
        _worn(card, patch_id, [value for is_bad, value in entries if is_bad], len(entries))
        for (_, card, patch_id), entries in sorted(seen.items())
        if sum(bad for bad, _ in entries) >= max(N_BAD_PHOTOS, BAD_SHARE * len(entries))
    )


def _worn(card: str, patch_id: str, bad: list[float], n_photos: int) -> Problem:
    """Name one patch."""
    return Problem(
        slug="card-patch-worn",
        severity="warning",
        place=f"card {card}, patch {patch_id}",
        message=f"off by {median(bad):.1f} CIEDE2000 (median) in {len(bad)} of {n_photos} photos, "
        "where the card's other patches fit.",
        fix=f"Clean or replace patch {patch_id}; if it stays, compare the card with its dry twin "
        "(dryslate card compare).",
    )
