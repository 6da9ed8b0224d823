"""
Small made photos with a card in them, as files, and stand-ins for the ports of the correction.

Pixels are put together in linear light: a textured ground, the card's own picture in its plane,
a blue-green cast with some veil. What is true of them (corners, cast) is known.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from dryslate.app.correct import Workshop
from dryslate.core.card.rendering import render_picture
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear
from dryslate.files.photos import FilePhotoReader
from dryslate.files.reference_tables import FileReferenceTables

SIZE = (1500, 1000)
CAST = (0.35, 0.85, 0.80)
VEIL = (0.004, 0.020, 0.026)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is in a photo, and what its file says."""

    card: str | None = "field"
    seed: int = 1
    cast: tuple[float, float, float] = CAST
    turn_deg: float = 8.0
    width_px: float = 620.0
    orientation: int = 1
    taken: str | None = "2031:05:04 10:00:00"
    fixed_wb: bool = True
    flash: bool = False
    focal_mm: float = 18.0
    exposure_s: float = 0.01
    spoiled: dict[str, tuple[int, int, int]] = field(default_factory=dict)


def card_pixels(plan: Plan) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of the upright photo, and the card's corners in it."""
    rng = np.random.default_rng(plan.seed)
    width, height = SIZE
    linear = np.full((height, width, 3), 0.0, np.float32)
    for cell in (200, 60, 20, 7):
        grid = rng.random((height // cell + 2, width // cell + 2)).astype(np.float32)
        linear += cv2.resize(grid, SIZE, interpolation=cv2.INTER_CUBIC)[..., None]
    linear *= np.array([0.08, 0.07, 0.05], np.float32)
    corners = np.zeros((4, 2))
    if plan.card is not None:
        corners = _lay(linear, plan)
    linear = linear * np.array(plan.cast, np.float32) + np.array(VEIL, np.float32)
    linear += rng.standard_normal(linear.shape, dtype=np.float32) * 0.0008
    coded = np.rint(255.0 * np.clip(linear_to_srgb(np.clip(linear, 0, 1)), 0, 1))
    return coded.astype(np.uint8), corners


def _lay(linear: np.ndarray, plan: Plan) -> np.ndarray:
    """Warp the card's picture onto the ground, straight from the front."""
    card = FileReferenceTables().card(plan.card or "")
    px_per_mm = 8.0
    picture = render_picture(card, px_per_mm)
    for patch in card.patches:
        if patch.patch_id in plan.spoiled:
            x, y = int(patch.x_mm * px_per_mm), int(patch.y_mm * px_per_mm)
            w, h = int(patch.width_mm * px_per_mm), int(patch.height_mm * px_per_mm)
            picture = picture.copy()
            picture[y : y + h, x : x + w] = plan.spoiled[patch.patch_id]
    h, w = picture.shape[:2]
    turn, s = np.deg2rad(plan.turn_deg), plan.width_px / w
    matrix = np.array(
        [
            [s * np.cos(turn), -s * np.sin(turn), 0.0],
            [s * np.sin(turn), s * np.cos(turn), 0.0],
            [0.0, 0.0, 1.0],
        ]
    )
    edge = np.array([(-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5)])
    placed = edge @ matrix[:2, :2].T
    matrix[:2, 2] = np.array(SIZE) / 2 - placed.mean(axis=0)
    light = srgb_to_linear(np.arange(256) / 255).astype(np.float32)[picture]
    # The card is seen smaller than drawn: blur first, so that no pixel is skipped.
    light = cv2.GaussianBlur(light, (0, 0), 0.45 / s)
    warped = cv2.warpPerspective(light, matrix, SIZE, flags=cv2.INTER_LINEAR)
    cover = cv2.warpPerspective(np.ones((h, w), np.float32), matrix, SIZE)[..., None]
    linear[:] = linear * (1 - cover) + warped * cover
    return placed + matrix[:2, 2]


def save_photo(plan: Plan, path: Path) -> np.ndarray:
    """Write a JPEG with Exif; return the card's corners in the upright photo."""
    pixels, corners = card_pixels(plan)
    stored = _stored(pixels, plan.orientation)
    exif = Image.Exif()
    exif[0x0110], exif[0x0112] = "Made camera", plan.orientation
    words: dict[int, Any] = {
        0x829A: IFDRational(1, round(1 / plan.exposure_s)),
        0x829D: IFDRational(56, 10),
        0x8827: 400,
        0xA403: 1 if plan.fixed_wb else 0,
        0x9209: 0x19 if plan.flash else 0x10,
        0x920A: IFDRational(round(plan.focal_mm * 10), 10),
        0xA405: round(plan.focal_mm * 1.5),
    }
    if plan.taken is not None:
        words[0x9003] = plan.taken
    exif.get_ifd(0x8769).update(words)
    out = io.BytesIO()
    Image.fromarray(stored).save(out, "JPEG", quality=95, subsampling=0, exif=exif)
    path.write_bytes(out.getvalue())
    return corners


def _stored(pixels: np.ndarray, orientation: int) -> np.ndarray:
    """Lay an upright picture down as a camera with that orientation stores it (Exif 2.32)."""
    turned = {1: pixels, 3: pixels[::-1, ::-1], 6: np.rot90(pixels, 1), 8: np.rot90(pixels, -1)}
    return np.ascontiguousarray(turned[orientation])


class InlineRunner:
    """Runs jobs one after the other in this thread."""

    def run(self, function: Callable[[Any], Any], jobs: Sequence[Any]) -> Iterator[Any]:
        for job in jobs:
            try:
                yield job, function(job)
            except Exception as error:
                yield job, error


class SilentProgress:
    """Counts steps and shows nothing."""

    def __init__(self) -> None:
        self.n_steps = 0

    def start(self, what: str, total: int | None) -> None:
        pass

    def step(self, n: int = 1, note: str = "") -> None:
        self.n_steps += n

    def done(self) -> None:
        pass


def workshop(project: Path | None = None, **changes: Any) -> Workshop:
    """The real reader and cards, with a runner in this thread."""
    parts: dict[str, Any] = {
        "reader": FilePhotoReader(),
        "tables": FileReferenceTables(project),
        "runner": InlineRunner(),
        "progress": SilentProgress(),
    }
    return Workshop(**{**parts, **changes})
