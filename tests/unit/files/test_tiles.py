"""Pyramids of tiles: what they hold, of any kind of photo, and that no half of one is ever seen."""

from __future__ import annotations

import io
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from dryslate.app.photo_page import n_levels
from dryslate.app.tiles import TilePlace, in_srgb
from dryslate.core.arrays.orientation import upright_view
from dryslate.files.photos import FilePhotoReader
from dryslate.files.tiles import FolderTiles

PHOTO = "ab" * 32


def place(variant="original", key="v1"):
    return TilePlace(photo_id=PHOTO, variant=variant, key=key)


def opened(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(float)


def ramp(width, height):
    x = np.linspace(0, 255, width)[None, :, None]
    y = np.linspace(0, 255, height)[:, None, None]
    return np.broadcast_to((x + y) / 2, (height, width, 3)).astype(np.uint8).copy()


@pytest.mark.parametrize("size", [(1300, 777), (512, 512), (513, 10), (40, 30)])
def test_each_level_is_half_of_the_one_before_and_the_last_is_one_tile(tmp_path, size):
    tiles = FolderTiles(tmp_path)
    held = tiles.save(place(), ramp(*size))
    assert tiles.find(place()) == held
    assert (held.width_px, held.height_px) == size
    assert held.grids[-1] == (1, 1)
    assert len(held.grids) == n_levels(*size)
    width, height = size
    for level, grid in enumerate(held.grids):
        assert grid == (-(-width // 512), -(-height // 512))
        rows = [
            np.concatenate(
                [opened(tiles.tile(place(), level, c, r)) for c in range(grid[0])], axis=1
            )
            for r in range(grid[1])
        ]
        whole = np.concatenate(rows)
        assert whole.shape[:2] == (height, width)
        assert abs(whole.mean() - ramp(*size).mean()) < 1.5
        width, height = (width + 1) // 2, (height + 1) // 2


def test_what_is_not_there_is_none(tmp_path):
    tiles = FolderTiles(tmp_path)
    assert tiles.find(place()) is None
    assert tiles.tile(place(), 0, 0, 0) is None
    assert tiles.thumb(place()) is None
    tiles.save(place(), ramp(600, 400))
    for address in ((0, 2, 0), (0, 0, 1), (2, 0, 0), (-1, 0, 0), (0, -1, 0)):
        assert tiles.tile(place(), *address) is None
    with pytest.raises(ValueError, match="no part of a file name"):
        tiles.find(place(key="../../else"))


def test_older_pictures_of_the_same_kind_go(tmp_path):
    tiles = FolderTiles(tmp_path)
    tiles.save(place(), ramp(40, 30))
    for key in ("v1-aa", "v1-bb"):
        tiles.save(place("corrected", key), ramp(40, 30))
        tiles.save_thumb(place("corrected", key), ramp(40, 30))
    assert tiles.remove_older(place("corrected", "v1-bb")) == 2
    assert tiles.find(place("corrected", "v1-aa")) is None
    assert tiles.find(place("corrected", "v1-bb")) is not None
    assert tiles.thumb(place("corrected", "v1-bb")) is not None
    assert tiles.find(place()) is not None


def test_photos_of_every_kind_come_out_upright_in_srgb(tmp_path, made_photos, made_heic):
    frame = made_photos.scene()
    deep = frame.astype(np.uint16) * 257
    made = {
        "a.jpg": made_photos.jpeg(frame),
        "a.png": made_photos.png(frame),
        "b.png": made_photos.png(deep),
        "a.tif": made_photos.tiff(deep),
        "a.heic": made_heic.heic(frame, exif=made_photos.exif_block()),
    }
    for name, data in made.items():
        (tmp_path / name).write_bytes(data)
        photo = FilePhotoReader().read(tmp_path / name)
        img = in_srgb(photo, upright_view(photo.pixels, photo.metadata.orientation))
        assert img.dtype == np.uint8
        turned = upright_view(frame, photo.metadata.orientation)
        assert img.shape == turned.shape
        assert np.abs(img.astype(int) - turned).mean() < 2.0, name


def test_a_raw_photo_is_shown_as_light_and_not_as_counts(tmp_path, made_photos):
    (tmp_path / "a.dng").write_bytes(made_photos.dng(np.full((64, 96), 3000), orientation=8))
    photo = FilePhotoReader().read(tmp_path / "a.dng")
    img = in_srgb(photo, upright_view(photo.pixels, photo.metadata.orientation))
    assert img.shape == (96, 64, 3)
    linear = np.array([photo.linear_lut[photo.pixels[5, 5, c], c] for c in range(3)])
    light = np.clip(photo.to_srgb @ linear, 0, 1)
    coded = np.where(light > 0.0031308, 1.055 * light ** (1 / 2.4) - 0.055, 12.92 * light)
    # IEC 61966-2-1: the curve of sRGB
    assert img[5, 5] == pytest.approx(255 * coded, abs=1)


WRITER = """
import sys, numpy as np
from pathlib import Path
from dryslate.app.tiles import TilePlace
from dryslate.files.tiles import FolderTiles
tiles, rng = FolderTiles(Path(sys.argv[1])), np.random.default_rng(1)
img = rng.integers(0, 255, (900, 1100, 3), dtype=np.uint8)
print("ready", flush=True)
for n in range(10_000):
    tiles.save(TilePlace(photo_id="ab" * 32, variant="original", key=f"v{n % 3}"), img)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_killed_at_any_moment_no_half_pyramid_is_seen(tmp_path: Path):
    chance, n_seen = random.Random(4), 0
    for _ in range(8):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(chance.uniform(0.03, 0.35))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        tiles = FolderTiles(tmp_path)
        for n in range(3):
            held = tiles.find(place(key=f"v{n}"))
            if held is None:
                continue
            n_seen += 1
            for level, (columns, rows) in enumerate(held.grids):
                last = tiles.tile(place(key=f"v{n}"), level, columns - 1, rows - 1)
                assert opened(last).size > 0
    assert n_seen > 5
