"""The photos of a project, by the names that people know them by."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dryslate.app.ports import SurveyStore
from dryslate.app.records import Photo
from dryslate.base.errors import InputError


def choose_photos(store: SurveyStore, names: Sequence[Path]) -> tuple[Photo, ...]:
    """
    Find the photos of a project that were named; all of them where none was.

    Parameters
    ----------
    store : SurveyStore
    names : sequence of Path
        Names on the memory card, or the first eight or more digits of a hash.

    Returns
    -------
    tuple of Photo

    Raises
    ------
    InputError
        ``photo-not-in-project`` for a name that no photo has.
    """
    photos = store.photos()
    if not names:
        return photos
    chosen: dict[str, Photo] = {}
    for name in names:
        found = [p for p in photos if _is_called(p, name)]
        if not found:
            raise InputError(
                "photo-not-in-project",
                f"{name}: the project has no photo of that name.",
                "Take it in first (dryslate take), or give its name as it was on the card.",
            )
        chosen.update({p.photo_id: p for p in found})
    return tuple(chosen.values())


def _is_called(photo: Photo, name: Path) -> bool:
    """Tell whether a name or the beginning of a hash means this photo."""
    stem = name.name.split(".")[0].lower()
    is_hash = len(stem) >= 8 and set(stem) <= set("0123456789abcdef")
    return any(
        f.original_name == name.name or (is_hash and f.sha256.startswith(stem)) for f in photo.files
    )
