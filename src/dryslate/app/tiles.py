"""Pictures for the pages: a pyramid of tiles and a small copy of each photo, made once."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from dryslate.app.ports import PhotoReader, PhotoVault, SurveyStore
from dryslate.app.preview import limit_size, reduce_photo
from dryslate.app.records import CorrectionRow, DecodedPhoto, Photo
from dryslate.base.errors import FormatError, InputError
from dryslate.base.problems import named
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear

Made = TypeVar("Made")

Variant = Literal["original", "corrected"]
TILE_PX = 512
THUMB_PX = 400
VERSION = 1
"""Counts up when the pictures would come out otherwise; older ones are then made again."""

MOST_AT_ONCE = 2
_STRIP_ROWS = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class TilePlace:
    """
    Which picture of which photo: the original, or the result of one correction.

    Parameters
    ----------
    photo_id : str
    variant : {"original", "corrected"}
    key : str
        Changes whenever the picture does.
    """

    photo_id: str
    variant: Variant
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TileSet:
    """
    A pyramid of tiles: level 0 is the full size, each further one half of it.

    Parameters
    ----------
    width_px, height_px : int
        Of the upright photo.
    tile_px : int
    grids : tuple of (int, int)
        Columns and rows of each level.
    """

    width_px: int
    height_px: int
    tile_px: int
    grids: tuple[tuple[int, int], ...]


class PictureTiles(Protocol):
    """Keeps pyramids of tiles and small copies; each is there wholly or not at all."""

    def find(self, place: TilePlace) -> TileSet | None:
        """Return what a kept pyramid holds, None where there is none."""

    def tile(self, place: TilePlace, level: int, column: int, row: int) -> bytes | None:
        """Return one tile as JPEG, None where pyramid or tile are not there."""

    def save(self, place: TilePlace, img_srgb: NDArray[np.uint8]) -> TileSet:
        """Make the pyramid of an upright picture and keep it."""

    def thumb(self, place: TilePlace) -> bytes | None:
        """Return the small copy as JPEG, None where there is none."""

    def save_thumb(self, place: TilePlace, img_srgb: NDArray[np.uint8]) -> bytes:
        """Keep the small copy; returns it as JPEG."""

    def remove_older(self, place: TilePlace) -> int:
        """Remove the photo's pictures of that variant under other keys; returns how many."""


@dataclass(slots=True, eq=False)
class Turns:
    """One maker a photo, and few photos at once; whoever waited finds it made."""

    _locks: dict[str, threading.Lock] = field(default_factory=dict)
    _guard: threading.Lock = field(default_factory=threading.Lock)
    _room: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(MOST_AT_ONCE))

    @contextlib.contextmanager
    def of(self, photo_id: str) -> Iterator[None]:
        """Hold a photo's turn."""
        with self._guard:
            lock = self._locks.setdefault(photo_id, threading.Lock())
        with lock, self._room:
            yield


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileBench:
    """What making pictures for the pages works with; keep one a project while it is open."""

    folder: Path
    vault: PhotoVault
    reader: PhotoReader
    tiles: PictureTiles
    turns: Turns = field(default_factory=Turns)


def key_of_original() -> str:
    """Return the key of an original's pictures; the photo's own hash is its content."""
    return f"v{VERSION}"


def key_of_corrected(row: CorrectionRow | None) -> str | None:
    """Return the key of the corrected photo's pictures, None where it was not corrected."""
    if row is None or row.corrected_path is None:
        return None
    return f"v{VERSION}-{row.key[:32]}"


def place_of(store: SurveyStore, photo_id: str, variant: Variant) -> TilePlace:
    """
    Say which picture is the latest of its kind.

    Parameters
    ----------
    store : SurveyStore
    photo_id : str
    variant : {"original", "corrected"}

    Returns
    -------
    TilePlace

    Raises
    ------
    InputError
        ``photo-not-in-project``, ``picture-not-corrected``.
    """
    photo = require_photo(store, photo_id)
    if variant == "original":
        return TilePlace(photo_id=photo.photo_id, variant=variant, key=key_of_original())
    key = key_of_corrected(store.correction(photo.photo_id))
    if key is None:
        raise InputError(
            "picture-not-corrected",
            f"{photo.files[0].original_name}: there is no corrected photo of it.",
            "Correct it first; look at the original meanwhile.",
        )
    return TilePlace(photo_id=photo.photo_id, variant=variant, key=key)


def require_photo(store: SurveyStore, photo_id: str) -> Photo:
    """
    Return a photo of the project.

    Raises
    ------
    InputError
        ``photo-not-in-project``.
    """
    photo = store.photo(photo_id)
    if photo is None:
        raise InputError(
            "photo-not-in-project",
            f"The project has no photo {photo_id[:12]!r}.",
            "Go back to the photos of the visit.",
        )
    return photo


def picture_thumb(bench: TileBench, store: SurveyStore, place: TilePlace) -> bytes:
    """
    Return a small copy of a photo as JPEG, longest side 400 px; made at the first call.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    place : TilePlace

    Returns
    -------
    bytes

    Raises
    ------
    InputError, FormatError, StoreError
        When the photo cannot be read, or the copy not be written.
    """

    def make() -> bytes:
        return _save_thumb(
            bench, place, _read(bench, store, place, _small_source(bench, store, place))
        )

    return _made_once(bench, place, bench.tiles.thumb, make)


def _read(bench: TileBench, store: SurveyStore, place: TilePlace, path: Path) -> DecodedPhoto:
    """Decode what a picture is made from; what is wrong with it is told by the photo's name."""
    try:
        return bench.reader.read(path)
    except (InputError, FormatError) as error:
        name = require_photo(store, place.photo_id).files[0].original_name
        raise named(error, path.name, name) from error


def _save_thumb(bench: TileBench, place: TilePlace, decoded: DecodedPhoto) -> bytes:
    """Keep the small copy of a decoded photo."""
    upright = upright_view(decoded.pixels, decoded.metadata.orientation)
    small = limit_size(np.ascontiguousarray(reduce_photo(upright, THUMB_PX)[0]), THUMB_PX)
    return bench.tiles.save_thumb(place, in_srgb(decoded, small))


def plain_picture(bench: TileBench, store: SurveyStore, place: TilePlace) -> NDArray[np.uint8]:
    """
    Return a photo upright and small enough for a page, longest side about 1500 px.

    Raises
    ------
    InputError, FormatError
        When the photo cannot be read.
    """
    decoded = _read(bench, store, place, _small_source(bench, store, place))
    upright = upright_view(decoded.pixels, decoded.metadata.orientation)
    small = limit_size(np.ascontiguousarray(reduce_photo(upright)[0]))
    return np.ascontiguousarray(in_srgb(decoded, small))


def picture_tiles(bench: TileBench, store: SurveyStore, place: TilePlace) -> TileSet:
    """
    Return what the pyramid of a photo holds; it is made at the first call.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    place : TilePlace

    Returns
    -------
    TileSet

    Raises
    ------
    InputError, FormatError, StoreError
        When the photo cannot be read, or the tiles not be written.
    """

    def make() -> TileSet:
        decoded = _read(bench, store, place, picture_source(bench, store, place))
        upright = upright_view(decoded.pixels, decoded.metadata.orientation)
        if bench.tiles.thumb(place) is None:  # while the photo is decoded anyway
            _save_thumb(bench, place, decoded)
        return bench.tiles.save(place, in_srgb(decoded, upright))

    return _made_once(bench, place, bench.tiles.find, make)


def _made_once(
    bench: TileBench,
    place: TilePlace,
    find: Callable[[TilePlace], Made | None],
    make: Callable[[], Made],
) -> Made:
    """Return what is kept for a place; else make it, one maker a photo, and let older ones go."""
    kept = find(place)
    if kept is not None:
        return kept
    with bench.turns.of(place.photo_id):
        kept = find(place)
        if kept is None:
            kept = make()
            bench.tiles.remove_older(place)
        return kept


def one_tile(
    bench: TileBench, store: SurveyStore, place: TilePlace, address: tuple[int, int, int]
) -> bytes:
    """
    Return one tile as JPEG.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    place : TilePlace
    address : tuple of int
        Level, column and row.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        ``picture-no-tile`` for one outside the picture; else as `picture_tiles`.
    """
    data = bench.tiles.tile(place, *address)
    if data is None:
        picture_tiles(bench, store, place)
        data = bench.tiles.tile(place, *address)
    if data is None:
        raise InputError(
            "picture-no-tile",
            f"The picture has no tile {address[1]}, {address[2]} on level {address[0]}.",
            "Load the page again.",
        )
    return data


def in_srgb(photo: DecodedPhoto, pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """
    Bring pixels of a photo to 8-bit sRGB; those of most cameras are that already.

    Parameters
    ----------
    photo : DecodedPhoto
        Says how its code values are read.
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        Of the photo, or of a reduced or turned copy.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Colours outside sRGB are clipped.
    """
    codes = srgb_to_linear(np.arange(256) / 255.0)
    is_srgb = np.array_equal(photo.to_srgb, np.eye(3)) and pixels.dtype == np.uint8
    if is_srgb and np.allclose(photo.linear_lut, codes[:, None], atol=1e-4):
        return pixels.astype(np.uint8, copy=False)
    steps = np.arange(65536) / 65535.0
    table = np.rint(255.0 * np.clip(linear_to_srgb(steps), 0.0, 1.0)).astype(np.uint8)
    matrix = (65535.0 * photo.to_srgb.T).astype(np.float32)
    out = np.empty(pixels.shape, dtype=np.uint8)
    for top in range(0, pixels.shape[0], _STRIP_ROWS):
        strip = pixels[top : top + _STRIP_ROWS]
        linear = np.stack([photo.linear_lut[:, c][strip[..., c]] for c in range(3)], axis=-1)
        mixed = np.clip(linear.astype(np.float32, copy=False) @ matrix, 0.0, 65535.0)
        out[top : top + _STRIP_ROWS] = table[np.rint(mixed).astype(np.uint16)]
    return out


def picture_source(bench: TileBench, store: SurveyStore, place: TilePlace) -> Path:
    """Return the file that a picture is made from: the original, or the corrected photo."""
    photo = require_photo(store, place.photo_id)
    row = store.correction(place.photo_id)
    if place.variant == "corrected" and row is not None and row.corrected_path is not None:
        return bench.folder / row.corrected_path
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    return bench.vault.path_of(file.sha256, file.original_name)


def _small_source(bench: TileBench, store: SurveyStore, place: TilePlace) -> Path:
    """Return the file that a small copy is made from: the preview does, where there is one."""
    row = store.correction(place.photo_id)
    if place.variant == "corrected" and row is not None:
        preview = row.result.get("preview")
        if preview and (bench.folder / str(preview)).is_file():
            return bench.folder / str(preview)
    return picture_source(bench, store, place)
