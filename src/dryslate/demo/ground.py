"""The ground of a station: rock, sand, rubble and weed as a map, before corals grow on it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.demo.corals import Colony
from dryslate.demo.marching import Relief
from dryslate.demo.noise import Field, fractal_field
from dryslate.demo.seabed import (
    BROWN,
    CRUST,
    DARK,
    GREEN,
    ROCK,
    RUBBLE,
    SAND,
    TURF,
    lit,
    relief,
)
from dryslate.demo.spectra import FloatArray

_TILE = 1024
_TILE_PX_PER_MM = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """
    A piece of reef.

    Parameters
    ----------
    name : str
    seed : int
        Decides the seabed.
    size_mm : tuple of float
        Width and height of the piece that is drawn finely; its middle is the world's origin.
    px_per_mm : float
        Fineness of that piece.
    colonies : tuple of Colony
    sandy_frac, rubble_frac : float
        How much of the seabed is sand, and how many loose pieces lie about.
    cleared_mm : tuple of (x, y, half width, half height, turn)
        Boxes kept low and slightly shaded, where cards and bars will lie.
    """

    name: str
    seed: int
    colonies: tuple[Colony, ...]
    size_mm: tuple[float, float] = (460.0, 350.0)
    px_per_mm: float = 5.0
    sandy_frac: float = 0.3
    rubble_frac: float = 0.4
    cleared_mm: tuple[tuple[float, float, float, float, float], ...] = ()


@dataclass(slots=True)
class Canvas:
    """The map while it is being built: filled in place, seen by nobody else."""

    x0_mm: float
    y0_mm: float
    px_per_mm: float
    height: Field
    first: NDArray[np.uint8]
    second: NDArray[np.uint8]
    share: Field


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundFields:
    """What decides the seabed, as periodic fields on the coarse tile."""

    height: Field
    sandy: Field
    growth: Field
    mottle: Field


def ground_fields(station: Station, rng: np.random.Generator) -> GroundFields:
    """Draw the fields of a station."""
    n = _TILE
    ground = fractal_field(rng, n, 1.9, 3.0)
    mottle = fractal_field(rng, n, 1.0, 12.0)
    growth = fractal_field(rng, n, 1.5, 5.0)
    height = 7.0 * ground + 1.2 * mottle
    for _ in range(46):
        _lump(height, rng.integers(0, n, 2), rng.uniform(18, 70), rng.uniform(12, 55))
    low = np.quantile(height, station.sandy_frac)
    sandy = low - height
    height = np.where(sandy > 0, low - 0.25 * sandy, height)
    # settle it so that the highest ground near the origin stays just under the cards' plane
    height = np.minimum(height - np.quantile(height, 0.80) - 5.0, 32.0)
    return GroundFields(
        height=height.astype(np.float32),
        sandy=sandy.astype(np.float32),
        growth=growth,
        mottle=mottle,
    )


def _layers(fields: GroundFields) -> tuple[NDArray[np.uint8], NDArray[np.uint8], Field]:
    """Materials (first, second, share of the second) that the fields ask for."""
    sandy = fields.sandy > 0
    first = np.where(sandy, SAND, ROCK).astype(np.uint8)
    second = np.full(sandy.shape, TURF, np.uint8)
    second[fields.growth > 0.95] = CRUST
    second[fields.growth < -1.15] = BROWN
    second[sandy] = RUBBLE
    share = np.where(sandy, 0.25 + 0.25 * fields.mottle, 0.62 + 0.30 * fields.mottle)
    return first, second, np.clip(share, 0.0, 1.0).astype(np.float32)


def far_tile(fields: GroundFields) -> Relief:
    """The coarse reef that goes on for ever: rock, sand pockets, weed, far heads."""
    corner = -_TILE / 2 / _TILE_PX_PER_MM
    return relief(fields.height, _layers(fields), (corner, corner), _TILE_PX_PER_MM, True)


def _lump(
    height: NDArray[np.floating], at: NDArray[np.int64], radius_mm: float, rise: float
) -> None:
    """Add a rounded head to a wrapping map."""
    n = height.shape[0]
    r = int(radius_mm * _TILE_PX_PER_MM)
    dx = np.arange(-r, r + 1)
    bump = np.clip(1.0 - (dx[:, None] ** 2 + dx[None, :] ** 2) / max(r * r, 1), 0, 1)
    rows, columns = (at[0] + dx) % n, (at[1] + dx) % n
    window = height[np.ix_(rows, columns)]
    height[np.ix_(rows, columns)] = window + rise * bump**0.7


def base_map(station: Station, fields: GroundFields, rng: np.random.Generator) -> Canvas:
    """The fine map before anything grows on it: the coarse fields with detail added."""
    s = station.px_per_mm
    columns, rows = (round(side * s) for side in station.size_mm)
    x0, y0 = -station.size_mm[0] / 2, -station.size_mm[1] / 2
    detail = _tiled(fractal_field(rng, 1024, 1.35, 8.0), (rows, columns))
    grain = _tiled(fractal_field(rng, 1024, 0.6, 120.0), (rows, columns))
    sharp = detail + 0.5 * grain
    inner = _inwards((rows, columns), 45.0 * s)

    def fine(field: Field) -> Field:
        return _resampled(field, (x0, y0, s), (rows, columns))

    ground = GroundFields(
        height=fine(fields.height),
        sandy=fine(fields.sandy) + 0.7 * inner * sharp,
        growth=fine(fields.growth) + 0.16 * inner * np.roll(sharp, 311, axis=1),
        mottle=fine(fields.mottle) + 0.5 * inner * sharp,
    )
    first, second, share = _layers(ground)
    rough = np.clip(0.5 - ground.sandy / 3.0, 0.0, 1.0)
    height = ground.height + inner * ((0.25 + 1.5 * rough) * detail + (0.1 + 0.35 * rough) * grain)
    pits = (sharp < -1.9) & (first == ROCK)
    second[pits] = DARK
    share[pits] = 0.8
    level = np.minimum(height, -2.0 + 0.12 * (height + 2.0))
    return Canvas(
        x0_mm=x0,
        y0_mm=y0,
        px_per_mm=s,
        height=(inner * level + (1.0 - inner) * height).astype(np.float32),
        first=first,
        second=second,
        share=share,
    )


def _inwards(shape: tuple[int, int], width_px: float) -> Field:
    """0 on the border of a map, 1 further in than a width."""
    rows = np.minimum(np.arange(shape[0]), np.arange(shape[0])[::-1])[:, None]
    columns = np.minimum(np.arange(shape[1]), np.arange(shape[1])[::-1])[None, :]
    t = np.clip(np.minimum(rows, columns) / width_px, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), dtype=np.float32)


def _resampled(field: Field, grid: tuple[float, float, float], shape: tuple[int, int]) -> Field:
    """A coarse periodic field on a fine grid (corner x, y and cells per mm)."""
    x = (grid[0] + np.arange(shape[1]) / grid[2]) * _TILE_PX_PER_MM + _TILE / 2
    y = (grid[1] + np.arange(shape[0]) / grid[2]) * _TILE_PX_PER_MM + _TILE / 2
    x0, y0 = int(np.floor(x[0])) - 2, int(np.floor(y[0])) - 2
    size = int(max(x[-1] - x0, y[-1] - y0)) + 5
    piece = field[np.ix_((y0 + np.arange(size)) % _TILE, (x0 + np.arange(size)) % _TILE)]
    map_x, map_y = np.meshgrid((x - x0).astype(np.float32), (y - y0).astype(np.float32))
    return np.asarray(cv2.remap(np.ascontiguousarray(piece), map_x, map_y, cv2.INTER_LINEAR))


def _tiled(tile: Field, shape: tuple[int, int]) -> Field:
    """Repeat a periodic field until it fills a shape."""
    rows = -(-shape[0] // tile.shape[0])
    columns = -(-shape[1] // tile.shape[1])
    return np.asarray(np.tile(tile, (rows, columns))[: shape[0], : shape[1]])


def strew_rubble(canvas: Canvas, station: Station, rng: np.random.Generator) -> None:
    """Loose broken pieces, and tufts of green algae among them."""
    area = station.size_mm[0] * station.size_mm[1]
    for _ in range(int(station.rubble_frac * area / 900.0)):
        at = rng.uniform(-0.5, 0.5, 2) * station.size_mm
        length, thick = rng.uniform(6, 26), rng.uniform(2.0, 4.2)
        material = int(rng.choice([RUBBLE, RUBBLE, TURF, CRUST, ROCK]))
        angle = rng.uniform(0, 6.28)
        bend = rng.uniform(-0.5, 0.5)
        for t in np.linspace(-0.5, 0.5, 12):
            way = angle + bend * t
            spot = at + length * t * np.array([np.cos(way), np.sin(way)])
            radius = thick * (1.0 - 0.5 * abs(t)) * rng.uniform(0.9, 1.1)
            _ball(canvas, spot, radius, (material, TURF, 0.35))
    for _ in range(int(0.5 * area / 20000.0)):
        at = rng.uniform(-0.5, 0.5, 2) * station.size_mm
        for _leaf in range(int(rng.integers(8, 26))):
            spot = at + rng.normal(0.0, 7.0, 2)
            _ball(canvas, spot, rng.uniform(1.2, 3.4), (GREEN, DARK, 0.2), lift_mm=2.0)


def _ball(
    canvas: Canvas,
    at_mm: FloatArray,
    radius_mm: float,
    material: tuple[int, int, float],
    lift_mm: float = 0.0,
) -> None:
    """Press a ball into the map, half sunk, of one material with a share of another."""
    s = canvas.px_per_mm
    u = (at_mm - np.array([canvas.x0_mm, canvas.y0_mm])) * s
    r = radius_mm * s
    rows, columns = canvas.height.shape
    x0, x1 = max(int(u[0] - r), 0), min(int(u[0] + r) + 2, columns)
    y0, y1 = max(int(u[1] - r), 0), min(int(u[1] + r) + 2, rows)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    dx = np.arange(x0, x1) - u[0]
    dy = np.arange(y0, y1)[:, None] - u[1]
    q = r * r - dx * dx - dy * dy
    window = canvas.height[y0:y1, x0:x1]
    floor = float(canvas.height[int(np.clip(u[1], y0, y1 - 1)), int(np.clip(u[0], x0, x1 - 1))])
    cap = np.minimum(floor, -1.0) + lift_mm + 0.55 * np.sqrt(np.maximum(q, 0.0)) / s
    higher = (q > 0) & (cap > window)
    window[higher] = np.minimum(cap[higher], 6.0)
    canvas.first[y0:y1, x0:x1][higher] = material[0]
    canvas.second[y0:y1, x0:x1][higher] = material[1]
    canvas.share[y0:y1, x0:x1][higher] = material[2]


def _box_mask(canvas: Canvas, box: tuple[float, float, float, float, float]) -> Field:
    """1 inside a turned box, 0 outside."""
    x, y, half_w, half_h, turn = box
    angle = np.deg2rad(turn)
    along = np.array([np.cos(angle), np.sin(angle)])
    over = np.array([-np.sin(angle), np.cos(angle)])
    corners = [
        np.array([x, y]) + a * half_w * along + b * half_h * over
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    at = (np.array(corners) - [canvas.x0_mm, canvas.y0_mm]) * canvas.px_per_mm
    mask = np.zeros(canvas.height.shape, np.float32)
    cv2.fillConvexPoly(mask, np.round(at).astype(np.int32), 1.0)
    return mask


def clear_boxes(canvas: Canvas, station: Station) -> None:
    """Keep the ground below what will lie on it."""
    for box in station.cleared_mm:
        inside = _box_mask(canvas, box)
        soft = cv2.GaussianBlur(inside, (0, 0), 4.0 * canvas.px_per_mm)
        low = np.minimum(canvas.height, -1.5)
        weight = np.clip(2.0 * soft, 0.0, 1.0)
        canvas.height[:] = weight * low + (1.0 - weight) * canvas.height


def shade_map(canvas: Canvas, station: Station, far: Relief) -> Field:
    """Light on the map, with soft shadows beside what lies on it; the far light at its border."""
    s = canvas.px_per_mm
    inner = _inwards(canvas.height.shape, 30.0 * s)
    outer = _resampled(far.shade, (canvas.x0_mm, canvas.y0_mm, s), canvas.height.shape)
    light = inner * lit(canvas.height, s) + (1.0 - inner) * outer
    for box in station.cleared_mm:
        inside = _box_mask(canvas, (box[0] + 2.5, box[1] + 3.5, box[2], box[3], box[4]))
        light *= 1.0 - 0.55 * cv2.GaussianBlur(inside, (0, 0), 2.6 * s)
    return light
