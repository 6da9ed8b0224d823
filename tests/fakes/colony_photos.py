"""Made photos of one colony on two visits: the ground, colour and view of each are known."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import cv2
import numpy as np
from PIL import Image

from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb, srgb_to_linear

OUTLINE = [(1130.0, 90.0), (1290.0, 80.0), (1310.0, 230.0), (1140.0, 250.0)]
HEALTHY, PALE = (46.0, 9.0, 24.0), (80.0, 3.0, 9.0)
"""L*, a*, b* of the colony's area on the two visits."""


def view(turn_deg: float) -> np.ndarray:
    """The photo seen from a little elsewhere: a homography of its pixels."""
    matrix = np.vstack([cv2.getRotationMatrix2D((750.0, 500.0), turn_deg, 0.97), [0, 0, 1.0]])
    matrix[2, 0] = 1e-5
    return matrix


def save_frame(
    cards: ModuleType, path: Path, lab: tuple[float, float, float], *, light: float, turn: float
) -> None:
    """
    Write one frame.

    The ground is the same in all; the colony is an area of one colour; the light is a factor.
    """
    pixels, _ = cards.card_pixels(cards.Plan(seed=1, card="field"))
    linear = srgb_to_linear(pixels / 255.0)
    area = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(area, [np.rint(np.array(OUTLINE)).astype(np.int32)], 1)
    area = cv2.dilate(area, np.ones((25, 25), np.uint8))
    colour = lab_to_linear_srgb(np.array(lab)) * cards.CAST + cards.VEIL
    linear[area > 0] = colour
    rng = np.random.default_rng(len(path.stem) + int(1000 * light))
    linear = linear * light + rng.normal(0, 0.002, linear.shape)
    codes = np.rint(255 * linear_to_srgb(np.clip(linear, 0, 1))).astype(np.uint8)
    codes = cv2.warpPerspective(codes, view(turn), codes.shape[1::-1], borderValue=(60, 80, 80))
    Image.fromarray(codes).save(path, "JPEG", quality=95, subsampling=0)
