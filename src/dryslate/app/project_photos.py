"""The photos of a project, by the names that people know them by."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from dryslate.app.records import Photo
from dryslate.app.set_aside import standing_photos
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def choose_photos(store: SurveyStore, names: Sequence[Path]) -> tuple[Photo, ...]:
    """
    Find the photos of a project that were named; all but those set aside where none was.

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
    if not names:
        return standing_photos(store)
    photos = store.photos()
    chosen: dict[str, Photo] = {}
    for name in names:
        found = photos_called(photos, str(name))
        if not found:
            raise InputError(
                "photo-not-in-project",
                f"{name}: the project has no photo of that name.",
                "Take it in first (dryslate take), or give its name as it was on the card.",
            )
        chosen.update({p.photo_id: p for p in found})
    return tuple(chosen.values())


def photos_called(photos: Sequence[Photo], name: str) -> list[Photo]:
    """
    Find photos by what people call them.

    Parameters
    ----------
    photos : sequence of Photo
    name : str
        The name of one of its files on the memory card, in any case and with or without folders
        before it; or the first eight or more digits of a hash, with or without an ending.

    Returns
    -------
    list of Photo
        Several where two cards used one name.
    """
    wanted = _bare(name)
    digits = wanted.split(".")[0]
    is_hash = len(digits) >= 8 and set(digits) <= set("0123456789abcdef")
    return [
        photo
        for photo in photos
        if any(
            _bare(file.original_name) == wanted or (is_hash and file.sha256.startswith(digits))
            for file in photo.files
        )
    ]


def _bare(name: str) -> str:
    """Return a file name without folders, in one case."""
    return name.strip().replace("\\", "/").rsplit("/", 1)[-1].casefold()
