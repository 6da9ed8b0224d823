"""Pictures for the pages made ahead, while nothing else needs the machine."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

from dryslate.app.ports import Progress, SurveyStore
from dryslate.app.records import CorrectionRow, Photo
from dryslate.app.tiles import (
    TileBench,
    TilePlace,
    key_of_corrected,
    key_of_original,
    picture_thumb,
    picture_tiles,
    place_of,
)
from dryslate.base.errors import DryslateError, InputError


def make_pictures_ahead(
    bench: TileBench,
    reading: Callable[[], AbstractContextManager[SurveyStore]],
    progress: Progress,
    wait: Callable[[], None],
) -> int:
    """
    Make every tile and small copy that a page of the project would have to wait for.

    Parameters
    ----------
    bench : TileBench
    reading : callable
        Opens the project's records for reading, for a moment each.
    progress : Progress
    wait : callable
        Returns once nothing else needs the machine; asked before each picture.

    Returns
    -------
    int
        How many pictures could not be made; the pages of their photos say why.

    Notes
    -----
    What is there stays, so that it goes on where it was stopped; photos that came meanwhile are
    seen to before it ends.
    """
    tried: set[TilePlace] = set()
    n_bad = 0
    while True:
        with reading() as store:
            wanted = [place for place in missing_pictures(bench, store) if place not in tried]
        if not wanted:
            return n_bad
        progress.start("pictures for the pages", len(wanted))
        for place in wanted:
            wait()
            tried.add(place)
            n_bad += not _made(bench, reading, place)
            progress.step()
        progress.done()


def missing_pictures(bench: TileBench, store: SurveyStore) -> list[TilePlace]:
    """Return the pictures that are not made yet, in the order the photos were taken."""
    rows = {row.photo_id: row for row in store.corrections()}
    places = [p for photo in store.photos() for p in _places(photo, rows.get(photo.photo_id))]
    return [
        place
        for place in places
        if bench.tiles.find(place) is None or bench.tiles.thumb(place) is None
    ]


def _places(photo: Photo, row: CorrectionRow | None) -> list[TilePlace]:
    """The pictures of a photo: of the original, and of its latest correction."""
    keys = {"original": key_of_original(), "corrected": key_of_corrected(row)}
    return [
        TilePlace(photo_id=photo.photo_id, variant=variant, key=key)  # type: ignore[arg-type]
        for variant, key in keys.items()
        if key is not None
    ]


def _made(
    bench: TileBench, reading: Callable[[], AbstractContextManager[SurveyStore]], place: TilePlace
) -> bool:
    """Make one picture, unless the photo was corrected anew meanwhile; False where it cannot be."""
    try:
        with reading() as store:
            if place_of(store, place.photo_id, place.variant) == place:
                picture_tiles(bench, store, place)
                picture_thumb(bench, store, place)
    except InputError as error:
        return error.slug in ("photo-not-in-project", "picture-not-corrected")
    except DryslateError:
        return False
    return True
