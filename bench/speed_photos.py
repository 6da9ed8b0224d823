"""
Made 24 MP photos for the speed benchmark: textured ground, a card of ours, the 24-patch target.

A photo is put together in linear light (ground of noise in octaves, cards warped by a
perspective), dimmed to blue-green with a gradient, veil and sensor noise, and written as a JPEG
with Exif, quality 93, 4:2:0. Cached by seed and version. No real photo is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from dryslate.core.card.rendering import render_picture
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear
from dryslate.files.reference_tables import FileReferenceTables

VERSION = 3
SIZE_24 = (6000, 4000)


@dataclass(frozen=True, kw_only=True)
class PhotoPlan:
    """What is in a photo."""

    seed: int
    size_px: tuple[int, int] = SIZE_24
    has_card: bool = True
    has_chart: bool = False
    card_frac: float = 0.28
    tilt_deg: float = 20.0

    @property
    def name(self) -> str:
        what = ("c" if self.has_card else "") + ("t" if self.has_chart else "") or "n"
        return f"photo-v{VERSION}-{self.size_px[0]}x{self.size_px[1]}-{what}-{self.seed}.jpg"


def _ground(rng: np.random.Generator, size_px: tuple[int, int]) -> NDArray[np.float32]:
    """Noise in octaves from large to fine, in colours of a seabed."""
    width, height = size_px
    field = np.zeros((height, width), np.float32)
    for cell in (800, 300, 110, 40, 14, 5):
        grid = rng.standard_normal((height // cell + 3, width // cell + 3)).astype(np.float32)
        field += cv2.resize(grid, size_px, interpolation=cv2.INTER_CUBIC) * (cell**0.35)
    field = (field - field.mean()) / field.std()
    tints = np.array([[0.10, 0.08, 0.05], [0.42, 0.36, 0.26]], np.float32)
    share = 1.0 / (1.0 + np.exp(-1.3 * field))
    return tints[0] + share[..., None] * (tints[1] - tints[0])


def _lay(
    linear: NDArray[np.float32],
    picture: NDArray[np.uint8],
    centre: tuple[float, float],
    width_px: float,
    turn_deg: float,
    tilt_deg: float,
) -> None:
    """Warp a picture of a card onto the ground, as a pinhole camera sees a tilted plane."""
    h, w = picture.shape[:2]
    turn, tilt = np.deg2rad(turn_deg), np.deg2rad(tilt_deg)
    height_px, width_frame_px = linear.shape[:2]
    middle = np.array([(width_frame_px - 1) / 2, (height_px - 1) / 2])
    focal_px = 1.0 * width_frame_px
    size = width_px / focal_px  # at distance 1
    flat = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]) * (size, size * h / w)
    cos, sin = np.cos(turn), np.sin(turn)
    flat = flat @ np.array([[cos, sin], [-sin, cos]])
    place = np.column_stack([flat[:, 0], flat[:, 1] * np.cos(tilt), flat[:, 1] * np.sin(tilt)])
    place += np.append((np.array(centre) - middle) / focal_px, 1.0)
    target = (place[:, :2] / place[:, 2:] * focal_px + middle).astype(np.float32)
    source = np.array([(0, 0), (w, 0), (w, h), (0, h)], np.float32) - 0.5
    matrix = cv2.getPerspectiveTransform(source, target)
    table = srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)
    x0, y0 = np.floor(target.min(axis=0)).astype(int) - 4
    x1, y1 = np.ceil(target.max(axis=0)).astype(int) + 4
    shift = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1]], float)
    box = (int(x1 - x0), int(y1 - y0))
    warped = cv2.warpPerspective(table[picture], shift @ matrix, box, flags=cv2.INTER_AREA)
    cover = cv2.warpPerspective(
        np.ones((h, w), np.float32), shift @ matrix, box, flags=cv2.INTER_LINEAR
    )[..., None]
    cell = linear[y0:y1, x0:x1]
    cell[:] = cell * (1.0 - cover) + warped * cover


def make_photo(plan: PhotoPlan) -> NDArray[np.uint8]:
    """Return the pixels of a photo."""
    rng = np.random.default_rng(plan.seed)
    width, height = plan.size_px
    tables = FileReferenceTables()
    linear = _ground(rng, plan.size_px)
    if plan.has_card:
        picture = render_picture(tables.card("field"), 12.0)
        at = (width * rng.uniform(0.25, 0.4), height * rng.uniform(0.35, 0.6))
        turn = rng.uniform(-25, 25)
        _lay(linear, picture, at, plan.card_frac * width, turn, plan.tilt_deg)
    if plan.has_chart:
        picture = render_picture(tables.card("target24"), 8.0)
        at = (width * 0.75, height * 0.5)
        _lay(linear, picture, at, plan.card_frac * width, 4.0, plan.tilt_deg)
    x = np.linspace(-0.5, 0.5, width, dtype=np.float32)
    y = np.linspace(-0.5, 0.5, height, dtype=np.float32)[:, None]
    light = np.exp(0.35 * x + 0.25 * y)[..., None]
    linear *= light * np.array([0.28, 0.85, 0.80], np.float32)
    linear += np.array([0.004, 0.020, 0.026], np.float32)
    noise = rng.standard_normal(linear.shape, dtype=np.float32)
    linear += noise * np.sqrt(1e-5 + 4e-4 * np.maximum(linear, 0.0)) * 0.3
    steps = np.clip(linear * 8191.0 + 0.5, 0, 8191).astype(np.uint16)
    coded = np.rint(255.0 * linear_to_srgb(np.arange(8192) / 8191.0)).astype(np.uint8)
    return coded[steps]


def exif_block(seed: int) -> bytes:
    """A small Exif block: camera, exposure, fixed white balance, time."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Made", "Made camera"
    fields = exif.get_ifd(0x8769)
    minute, second = divmod(seed % 3600, 60)
    fields[0x9003] = f"2031:05:04 10:{minute:02d}:{second:02d}"
    fields[0x829A], fields[0x829D], fields[0x8827] = 0.01, 5.6, 400
    fields[0xA403], fields[0x9209] = 1, 16
    fields[0x920A], fields[0xA405] = 18.0, 28
    return exif.tobytes()


def saved_photo(plan: PhotoPlan, folder: Path) -> Path:
    """Return the file of a photo, made where it is not there yet."""
    path = folder / plan.name
    if path.exists():
        return path
    folder.mkdir(parents=True, exist_ok=True)
    pixels = np.ascontiguousarray(make_photo(plan))
    data = simplejpeg.encode_jpeg(pixels, 93, "RGB", "420")
    exif = exif_block(plan.seed)
    segment = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
    part = path.with_suffix(".part")
    part.write_bytes(data[:2] + segment + data[2:])
    part.replace(path)
    return path
