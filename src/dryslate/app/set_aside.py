"""Photos set aside with a reason: kept, but neither worked on nor in results; and taken back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dryslate.app.records import Photo
from dryslate.app.unit_edits import Edit, Wish, save_wish
from dryslate.app.unit_records import REASONS, Reason, SetAside
from dryslate.app.units import photos_by_id
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def set_aside(
    store: SurveyStore, photo_ids: Sequence[str], why: tuple[str, str], who: tuple[str, str]
) -> Edit:
    """
    Set photos aside; nothing of them is deleted.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    photo_ids : sequence of str
    why : tuple of str
        One of `REASONS`, and words that may be empty where it is not ``other``.
    who : tuple of str
        Observer and time.

    Returns
    -------
    Edit

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``aside-reason``, ``name-empty``, ``name-nearly``.
    """
    reason, note = require_reason(*why)
    observer = require_observer(store, who[0])
    there = {one.photo_id: one for one in store.photos_set_aside()}
    wished: dict[str, SetAside | None] = {}
    for photo in photos_by_id(store, photo_ids):
        old = there.get(photo.photo_id)
        if old is None or (old.reason, old.note) != (reason, note):
            wished[photo.photo_id] = SetAside(
                photo_id=photo.photo_id, reason=reason, note=note, observer=observer, set_at=who[1]
            )
    return save_wish(store, Wish(asides=wished))


def take_back(store: SurveyStore, photo_ids: Sequence[str]) -> Edit:
    """
    Take photos back that were set aside.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photos = photos_by_id(store, photo_ids)
    return save_wish(store, Wish(asides={photo.photo_id: None for photo in photos}))


def require_reason(reason: str, note: str) -> tuple[Reason, str]:
    """
    Return why photos are set aside.

    Raises
    ------
    InputError
        ``aside-reason``.

    Examples
    --------
    >>> require_reason("blurred", "")
    ('blurred', '')
    """
    words = " ".join(note.split())
    wanted = "_".join(reason.lower().replace("_", " ").replace("-", " ").split())
    for known in REASONS:
        if known == wanted and (known != "other" or words) and len(words) <= 500:
            return known, words
    known_ones = ", ".join(one.replace("_", " ") for one in REASONS)
    raise InputError(
        "aside-reason",
        "Another reason needs a few words, 500 signs at most."
        if wanted in REASONS
        else f"{reason!r} is no reason to set a photo aside (known: {known_ones}).",
        "Say why: a reason that nobody can check is none.",
    )


def standing_photos(store: SurveyStore, visit_id: str | None = None) -> tuple[Photo, ...]:
    """Return the photos of one visit, or all, but for those set aside: what results rest on."""
    aside = {one.photo_id for one in store.photos_set_aside(visit_id)}
    return tuple(photo for photo in store.photos(visit_id) if photo.photo_id not in aside)
