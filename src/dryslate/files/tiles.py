"""Pyramids of tiles and small copies on the disk, one file each, whole or not there."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.app.tiles import TILE_PX, TilePlace, TileSet
from dryslate.files.photo_preview import encode_jpeg
from dryslate.files.safe_write import save_whole

TILES: Final = "tiles"
"""Name of the folder below ``derived``."""

QUALITY: Final = 85
_MAGIC: Final = b"dryslate tiles 1\n"
_ENDINGS: Final = (".tiles", ".jpg")


class FolderTiles:
    """
    Keeps pictures below ``derived/tiles/``; implements `dryslate.app.tiles.PictureTiles`.

    Parameters
    ----------
    project : Path

    Notes
    -----
    A pyramid is one file: a line of text, the length of its index (4 bytes, little-endian), the
    index (JSON: sizes, columns and rows of each level, where each tile begins), and the tiles as
    JPEG, level after level, row after row. One file is flushed and named at once, so that no
    reader meets half a pyramid, whatever ends the program; and a folder of ten thousand photos
    has ten thousand files, not millions.
    """

    def __init__(self, project: Path) -> None:
        self._root = project / "derived" / TILES

    def find(self, place: TilePlace) -> TileSet | None:
        """Return what a kept pyramid holds, None where there is none."""
        try:
            with self._path(place, ".tiles").open("rb") as file:
                return _read_index(file)[0]
        except FileNotFoundError:
            return None

    def tile(self, place: TilePlace, level: int, column: int, row: int) -> bytes | None:
        """Return one tile as JPEG, None where pyramid or tile are not there."""
        try:
            with self._path(place, ".tiles").open("rb") as file:
                held, begins, start = _read_index(file)
                if not 0 <= level < len(held.grids):
                    return None
                columns, rows = held.grids[level]
                if not (0 <= column < columns and 0 <= row < rows):
                    return None
                number = sum(c * r for c, r in held.grids[:level]) + row * columns + column
                file.seek(start + begins[number])
                return file.read(begins[number + 1] - begins[number])
        except FileNotFoundError:
            return None

    def save(self, place: TilePlace, img_srgb: NDArray[np.uint8]) -> TileSet:
        """
        Make the pyramid of an upright picture and keep it.

        Parameters
        ----------
        place : TilePlace
        img_srgb : ndarray of uint8, shape (height, width, 3)

        Returns
        -------
        TileSet

        Raises
        ------
        StoreError
            ``disk-full``, ``folder-read-only`` or ``write-failed``.
        """
        tiles: list[bytes] = []
        grids: list[tuple[int, int]] = []
        for img in _levels(img_srgb):
            height, width = img.shape[:2]
            grids.append((-(-width // TILE_PX), -(-height // TILE_PX)))
            tiles += [encode_jpeg(part, QUALITY) for part in _parts(img)]
        held = TileSet(
            width_px=int(img_srgb.shape[1]),
            height_px=int(img_srgb.shape[0]),
            tile_px=TILE_PX,
            grids=tuple(grids),
        )
        begins = np.concatenate([[0], np.cumsum([len(tile) for tile in tiles])])
        index = json.dumps(
            {
                "width_px": held.width_px,
                "height_px": held.height_px,
                "tile_px": held.tile_px,
                "grids": held.grids,
                "begins": [int(n) for n in begins],
            }
        ).encode()
        head = _MAGIC + struct.pack("<I", len(index)) + index
        save_whole(self._path(place, ".tiles"), (head, *tiles))
        return held

    def thumb(self, place: TilePlace) -> bytes | None:
        """Return the small copy as JPEG, None where there is none."""
        try:
            return self._path(place, ".jpg").read_bytes()
        except FileNotFoundError:
            return None

    def save_thumb(self, place: TilePlace, img_srgb: NDArray[np.uint8]) -> bytes:
        """Keep the small copy; returns it as JPEG."""
        data = encode_jpeg(img_srgb, QUALITY)
        save_whole(self._path(place, ".jpg"), (data,))
        return data

    def remove_older(self, place: TilePlace) -> int:
        """Remove the photo's pictures of that variant under other keys; returns how many."""
        n_removed = 0
        folder = self._path(place, "").parent
        for ending in _ENDINGS:
            kept = self._path(place, ending).name
            for old in folder.glob(f"{place.variant}-*{ending}"):
                if old.name != kept:
                    old.unlink(missing_ok=True)
                    n_removed += 1
        return n_removed

    def _path(self, place: TilePlace, ending: str) -> Path:
        """Return where a picture is kept; ids and keys from outside name no other place."""
        for part in (place.photo_id, place.variant, place.key):
            if not part.replace("-", "").isalnum():
                raise ValueError(f"no part of a file name: {part[:40]!r}")
        folder = self._root / place.photo_id[:2] / place.photo_id
        return folder / f"{place.variant}-{place.key}{ending}"


def _read_index(file: IO[bytes]) -> tuple[TileSet, list[int], int]:
    """Read what a pyramid holds, where each tile begins, and where the first one lies."""
    if file.read(len(_MAGIC)) != _MAGIC:
        raise FileNotFoundError  # not ours, or of another version: made again
    (length,) = struct.unpack("<I", file.read(4))
    index: dict[str, Any] = json.loads(file.read(length))
    held = TileSet(
        width_px=index["width_px"],
        height_px=index["height_px"],
        tile_px=index["tile_px"],
        grids=tuple((columns, rows) for columns, rows in index["grids"]),
    )
    return held, index["begins"], len(_MAGIC) + 4 + length


def _levels(img: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    """Yield a picture, then each time the half of it, until one tile holds it all."""
    img = np.ascontiguousarray(img)
    yield img
    while max(img.shape[:2]) > TILE_PX:
        height, width = img.shape[:2]
        if height % 2 or width % 2:  # an odd last row or column counts double
            img = np.pad(img, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
        size = (img.shape[1] // 2, img.shape[0] // 2)
        img = np.asarray(cv2.resize(img, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        yield img


def _parts(img: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    """Yield the tiles of one level, row after row."""
    height, width = img.shape[:2]
    for top in range(0, height, TILE_PX):
        for left in range(0, width, TILE_PX):
            yield img[top : top + TILE_PX, left : left + TILE_PX]
