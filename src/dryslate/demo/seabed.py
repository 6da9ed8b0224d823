"""Maps of the seabed: height, what it is made of, and the light each spot gets."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.demo.marching import Relief
from dryslate.demo.noise import Field, fractal_field
from dryslate.demo.spectra import FloatArray
from dryslate.demo.surfaces import brown_algae, crust, green_algae, rock, sand, turf

SAND, RUBBLE, ROCK, TURF, CRUST, GREEN, BROWN, DARK = range(8)


def seabed_spectra() -> FloatArray:
    """Reflectance of what the seabed is made of, in the order of the names above."""
    old = 0.6 * rock() + 0.4 * sand()
    return np.stack(
        [sand(), old, rock(), turf(), crust(), green_algae(), brown_algae(), 0.25 * turf()]
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seabed:
    """
    A seabed to render.

    Parameters
    ----------
    near, far : Relief
        The station's own map, and the tile that goes on around it.
    spectra : ndarray of float, shape (n_materials, 31)
        Reflectance of the materials that the maps name.
    """

    near: Relief
    far: Relief
    spectra: FloatArray

    @property
    def span_mm(self) -> tuple[float, float]:
        """Highest and lowest point."""
        top = max(float(self.near.height_mm.max()), float(self.far.height_mm.max()))
        bottom = min(float(self.near.height_mm.min()), float(self.far.height_mm.min()))
        return top + 0.01, bottom - 0.01


def relief(
    height_mm: Field,
    layers: tuple[NDArray[np.uint8], NDArray[np.uint8], Field],
    corner_mm: tuple[float, float],
    px_per_mm: float,
    wraps: bool,
) -> Relief:
    """Put a map together; the shade comes from the height by `lit`."""
    first, second, share = layers
    return Relief(
        height_mm=np.ascontiguousarray(height_mm, dtype=np.float32),
        first=np.ascontiguousarray(first, dtype=np.uint8),
        second=np.ascontiguousarray(second, dtype=np.uint8),
        share=np.ascontiguousarray(np.clip(share * 255.0, 0, 255), dtype=np.uint8),
        shade=lit(height_mm, px_per_mm),
        x0_mm=float(corner_mm[0]),
        y0_mm=float(corner_mm[1]),
        px_per_mm=float(px_per_mm),
        wraps=wraps,
        ceiling_mm=ceiling(height_mm, block_for(px_per_mm), wraps),
        block=block_for(px_per_mm),
    )


def block_for(px_per_mm: float) -> int:
    """Cells along the side of a block of at least 8 mm, a power of two."""
    return 1 << max(int(np.ceil(np.log2(8.0 * px_per_mm))), 0)


def ceiling(height_mm: Field, block: int, wraps: bool) -> Field:
    """Highest point of each block of cells and its neighbours."""
    rows, columns = height_mm.shape
    pad = ((0, -rows % block), (0, -columns % block))
    padded = np.pad(np.asarray(height_mm, np.float32), pad, mode="edge")
    shape = (padded.shape[0] // block, block, padded.shape[1] // block, block)
    top = padded.reshape(shape).max(axis=(1, 3))
    around = np.pad(top, 1, mode="wrap" if wraps else "edge")
    return np.asarray(cv2.dilate(around, np.ones((3, 3), np.uint8))[1:-1, 1:-1], dtype=np.float32)


def lit(height_mm: Field, px_per_mm: float, sun_deg: float = 215.0) -> Field:
    """
    Light each spot gets, 1 for a level open one.

    Soft light from above, a little more from one side, and dusk in hollows: the height against
    its own surroundings at three scales stands for how much of the sky is hidden.
    """
    h = np.asarray(height_mm, dtype=np.float32)
    dx = np.asarray(cv2.Sobel(h, cv2.CV_32F, 1, 0, scale=px_per_mm / 8.0))
    dy = np.asarray(cv2.Sobel(h, cv2.CV_32F, 0, 1, scale=px_per_mm / 8.0))
    towards = np.deg2rad(sun_deg)
    steep = np.sqrt(1.0 + dx * dx + dy * dy)
    sun = (0.85 - 0.52 * (np.cos(towards) * dx + np.sin(towards) * dy)) / steep
    sky = 0.5 + 0.5 / steep
    light = 0.55 * sky + 0.45 * np.clip(sun / 0.85, 0.0, 1.7)
    for scale_mm, strength in ((1.2, 0.35), (7.0, 0.45), (30.0, 0.5)):
        sigma = scale_mm * px_per_mm
        if sigma < 0.7:
            continue
        hollow = (_blurred(h, sigma) - h) / scale_mm
        light *= np.exp(-strength * np.clip(hollow, -0.25, 2.0))
    return np.asarray(np.clip(light, 0.05, 2.2), dtype=np.float32)


def _blurred(field: Field, sigma_px: float) -> Field:
    """A blur that stays quick for wide kernels: done on a reduced picture."""
    factor = max(int(sigma_px / 3.0), 1)
    if factor == 1:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma_px))
    rows, columns = field.shape
    size = (max(columns // factor, 4), max(rows // factor, 4))
    small = cv2.resize(field, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / factor)
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC))


def plain_seabed(rng: np.random.Generator, kind: str = "sand") -> Seabed:
    """
    A quick seabed without corals, for tests and benches.

    Parameters
    ----------
    rng : numpy Generator
    kind : {"sand", "rock", "algae"}
        What most of it is.
    """
    n, px_per_mm = 512, 0.8
    bumps = fractal_field(rng, n, 1.7, 3.0)
    mottle = fractal_field(rng, n, 1.1, 6.0)
    patch = fractal_field(rng, n, 1.6, 2.0)
    main, other = {"sand": (SAND, RUBBLE), "rock": (ROCK, TURF), "algae": (TURF, BROWN)}[kind]
    first = np.full((n, n), main, np.uint8)
    second = np.where(patch > 0.7, CRUST if kind != "sand" else TURF, other).astype(np.uint8)
    share = np.clip(0.35 + 0.35 * mottle, 0.0, 1.0)
    height = np.minimum(3.0 * bumps, 9.0) - 9.5
    tile = relief(height.astype(np.float32), (first, second, share), (0.0, 0.0), px_per_mm, True)
    nothing = np.zeros((2, 2), np.float32)
    none = relief(nothing - 5.0, (first[:2, :2], first[:2, :2], nothing), (1e9, 1e9), 1.0, False)
    return Seabed(near=none, far=tile, spectra=seabed_spectra())
