"""Compare a dive card with its dry twin, before and after a trip."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app.card_photos import OpenPhoto, find_one, open_photo, settings_in_air
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.card.finding import find_cards
from dryslate.core.card.found import FoundCard
from dryslate.core.colour.drift import CardDrift, compare_cards

GUESSED = (
    "The card farther left was taken as the dry twin; give a point on the twin (--dry-at X,Y) "
    "where it is the other one."
)


def compare_twins(
    tables: ReferenceTables,
    reader: PhotoReader,
    photos: tuple[Path, Path],
    card_name: str,
    dry_point_px: tuple[float, float] | None,
) -> dict[str, Any]:
    """
    Say how far each patch of the dive card has moved from its twin's.

    Parameters
    ----------
    tables, reader
        Ports.
    photos : tuple of Path
        The photo with the dry twin, then the one with the dive card; the same file twice where
        both lie side by side.
    card_name : str
    dry_point_px : tuple of float or None
        A point on the twin, where both cards lie in one photo; None: the left one is the twin.

    Returns
    -------
    dict
        ``card``, ``patches`` (id, drift_de00, drift_de00_u, drift_lab, verdict), ``replace``
        (ids), ``not_seen``, ``light_ratio``, ``light_u_frac``, ``in_one_photo``, ``problems``.

    Raises
    ------
    InputError
        ``card-not-in-photo``, ``card-twin-not-seen`` if one photo does not show two cards,
        ``card-known-unusable``, ``drift-too-few-neutrals``.
    """
    card = tables.card(card_name)
    first = open_photo(reader, photos[0])
    in_one = photos[0].resolve() == photos[1].resolve()
    if in_one:
        second = first
        twin, dive = _both(first, [f for f in find_cards(first.coded, [card]).cards], dry_point_px)
    else:
        second = open_photo(reader, photos[1])
        twin, dive = find_one(first, card, tables), find_one(second, card, tables)
    samples = first.sample(twin)
    fit = first.fit(twin, samples, settings_in_air(tables))
    if not fit.usable:
        reasons = "; ".join(p.message for p in fit.problems)
        raise InputError(
            "card-known-unusable",
            f"{photos[0].name}: the colour of the dry twin cannot be used ({reasons}).",
            "Take the photo again in even light, neither too bright nor too dark.",
        )
    drift = compare_cards(card, samples, second.sample(dive), fit.correction, in_one_photo=in_one)
    is_guessed = in_one and dry_point_px is None
    return _document(card_name, drift, in_one, is_guessed=is_guessed)


def _both(
    photo: OpenPhoto, found: list[FoundCard], dry_point: tuple[float, float] | None
) -> tuple[FoundCard, FoundCard]:
    """Tell the twin from the dive card in one photo."""
    if len(found) < 2:
        raise InputError(
            "card-twin-not-seen",
            f"{photo.path.name}: the one photo that was given for both cards shows {len(found)}, "
            "not two.",
            "Lay both flat in the frame with a hand's width between, or give a photo of each.",
        )
    centres = [f.corners_px.mean(axis=0) for f in found[:2]]
    if dry_point is not None:
        away = [float(np.hypot(*(c - np.array(dry_point)))) for c in centres]
        first = int(np.argmin(away))
    else:
        first = int(np.argmin([c[0] for c in centres]))
    return found[first], found[1 - first]


def _document(
    card_name: str, drift: CardDrift, in_one: bool, *, is_guessed: bool
) -> dict[str, Any]:
    """Build the answer."""
    moved = [p.patch_id for p in drift.patches if p.verdict == "replace"]
    problems = []
    for p in drift.patches:
        if p.verdict == "replace":
            problems.append(
                Problem(
                    slug="card-patch-moved",
                    severity="warning",
                    place=f"patch {p.patch_id}",
                    message=f"moved by {p.drift_de00:.1f} ± {p.drift_de00_u:.1f} from the twin "
                    "(more than 3).",
                    fix="Clean the card and compare again; if it stays so, replace the card.",
                )
            )
    return {
        "card": card_name,
        "in_one_photo": in_one,
        "patches": [
            {
                "id": p.patch_id,
                "drift_de00": round(p.drift_de00, 2),
                "drift_de00_u": round(p.drift_de00_u, 2),
                "drift_lab": [round(v, 2) for v in p.drift_lab],
                "verdict": p.verdict,
            }
            for p in drift.patches
        ],
        "replace": moved,
        "not_seen": list(drift.not_seen),
        "light_ratio": [round(v, 4) for v in drift.light_ratio],
        "light_u_frac": round(drift.light_u_frac, 4),
        "notes": [*([GUESSED] if is_guessed else []), *_notes(drift, in_one)],
        "problems": [p.as_dict() for p in problems],
    }


def _notes(drift: CardDrift, in_one: bool) -> list[str]:
    """Say what such a comparison cannot see."""
    taken_out = "brightness" if in_one else "brightness and colour cast"
    notes = [
        f"Light: the dive card reads {100 * (np.mean(drift.light_ratio) - 1):+.0f} % against the "
        f"twin; the {taken_out} common to all greys is taken out, so a change that all greys "
        "share is not seen."
    ]
    if drift.not_seen:
        notes.append(f"Not seen well enough on both: {', '.join(drift.not_seen)}.")
    return notes
