"""A station: a piece of reef with colonies, built as a map, with the truth about each colony."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from dryslate.demo.corals import (
    MATERIALS_PER_COLONY,
    Colony,
    Surface,
    health_layers,
    plot_for,
)
from dryslate.demo.growth import grow, patches_field
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
    Seabed,
    block_for,
    ceiling,
    lit,
    relief,
    seabed_spectra,
)
from dryslate.demo.spectra import FloatArray
from dryslate.demo.tracing import Relief

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColonyTruth:
    """
    The truth about one colony, in world millimetres (z down, so heights are negative).

    Parameters
    ----------
    colony : Colony
    outline_mm : ndarray of float, shape (n, 3)
    longest_mm, across_mm : ndarray of float, shape (2, 3)
        Ends of the longest diameter and of the widest extent across it.
    corallites_mm : ndarray of float, shape (k, 2, 3)
        Ends of lines across corallites, valleys or branches.
    area_cm2, perimeter_mm : float
        Of the outline, seen from above.
    """

    colony: Colony
    outline_mm: FloatArray
    longest_mm: FloatArray
    across_mm: FloatArray
    corallites_mm: FloatArray
    area_cm2: float
    perimeter_mm: float


@dataclass(slots=True)
class _Canvas:
    """The map while it is being built; only `build_station` sees it."""

    x0_mm: float
    y0_mm: float
    px_per_mm: float
    height: Field
    first: NDArray[np.uint8]
    second: NDArray[np.uint8]
    share: Field


def build_station(station: Station) -> tuple[Seabed, tuple[ColonyTruth, ...]]:
    """
    Build the map of a station.

    Parameters
    ----------
    station : Station

    Returns
    -------
    seabed : Seabed
    truths : tuple of ColonyTruth
        In the order of the station's colonies.
    """
    fields = _fields(station, np.random.default_rng([station.seed, 1]))
    far = _far_tile(fields)
    canvas = _base(station, fields, np.random.default_rng([station.seed, 2]))
    _strew_rubble(canvas, station, np.random.default_rng([station.seed, 3]))
    _clear(canvas, station)
    spectra = [seabed_spectra()]
    truths = []
    for k, colony in enumerate(station.colonies):
        truths.append(_plant(canvas, colony, len(seabed_spectra()) + k * MATERIALS_PER_COLONY))
        spectra.append(colony.spectra())
    near = Relief(
        height_mm=canvas.height,
        first=canvas.first,
        second=canvas.second,
        share=np.clip(canvas.share * 255.0, 0, 255).astype(np.uint8),
        shade=_shade(canvas, station, far),
        x0_mm=canvas.x0_mm,
        y0_mm=canvas.y0_mm,
        px_per_mm=canvas.px_per_mm,
        wraps=False,
        ceiling_mm=ceiling(canvas.height, block_for(canvas.px_per_mm), False),
        block=block_for(canvas.px_per_mm),
    )
    return Seabed(near=near, far=far, spectra=np.concatenate(spectra)), tuple(truths)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fields:
    """What decides the seabed, as periodic fields on the coarse tile."""

    height: Field
    sandy: Field
    growth: Field
    mottle: Field


def _fields(station: Station, rng: np.random.Generator) -> _Fields:
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
    return _Fields(
        height=height.astype(np.float32),
        sandy=sandy.astype(np.float32),
        growth=growth,
        mottle=mottle,
    )


def _layers(fields: _Fields) -> tuple[NDArray[np.uint8], NDArray[np.uint8], Field]:
    """Materials (first, second, share of the second) that the fields ask for."""
    sandy = fields.sandy > 0
    first = np.where(sandy, SAND, ROCK).astype(np.uint8)
    second = np.full(sandy.shape, TURF, np.uint8)
    second[fields.growth > 0.95] = CRUST
    second[fields.growth < -1.15] = BROWN
    second[sandy] = RUBBLE
    share = np.where(sandy, 0.25 + 0.25 * fields.mottle, 0.62 + 0.30 * fields.mottle)
    return first, second, np.clip(share, 0.0, 1.0).astype(np.float32)


def _far_tile(fields: _Fields) -> Relief:
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


def _base(station: Station, fields: _Fields, rng: np.random.Generator) -> _Canvas:
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

    ground = _Fields(
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
    return _Canvas(
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


def _strew_rubble(canvas: _Canvas, station: Station, rng: np.random.Generator) -> None:
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
    canvas: _Canvas,
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


def _box_mask(canvas: _Canvas, box: tuple[float, float, float, float, float]) -> Field:
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


def _clear(canvas: _Canvas, station: Station) -> None:
    """Keep the ground below what will lie on it."""
    for box in station.cleared_mm:
        inside = _box_mask(canvas, box)
        soft = cv2.GaussianBlur(inside, (0, 0), 4.0 * canvas.px_per_mm)
        low = np.minimum(canvas.height, -1.5)
        weight = np.clip(2.0 * soft, 0.0, 1.0)
        canvas.height[:] = weight * low + (1.0 - weight) * canvas.height


def _shade(canvas: _Canvas, station: Station, far: Relief) -> Field:
    """Light on the map, with soft shadows beside what lies on it; the far light at its border."""
    s = canvas.px_per_mm
    inner = _inwards(canvas.height.shape, 30.0 * s)
    outer = _resampled(far.shade, (canvas.x0_mm, canvas.y0_mm, s), canvas.height.shape)
    light = inner * lit(canvas.height, s) + (1.0 - inner) * outer
    for box in station.cleared_mm:
        inside = _box_mask(canvas, (box[0] + 2.5, box[1] + 3.5, box[2], box[3], box[4]))
        light *= 1.0 - 0.55 * cv2.GaussianBlur(inside, (0, 0), 2.6 * s)
    return light


def _plant(canvas: _Canvas, colony: Colony, number: int) -> ColonyTruth:
    """Grow a colony into the map; its materials are numbered from `number`."""
    plot = plot_for(colony, canvas.px_per_mm)
    surface = grow(colony, plot)
    first, second, share = health_layers(colony, plot, surface, patches_field(colony, plot))
    s = canvas.px_per_mm
    x0 = round((float(plot.x_mm[0, 0]) - canvas.x0_mm) * s)
    y0 = round((float(plot.y_mm[0, 0]) - canvas.y0_mm) * s)
    rows, columns = canvas.height.shape
    n = plot.x_mm.shape[0]
    a0, a1 = max(-y0, 0), min(rows - y0, n)
    b0, b1 = max(-x0, 0), min(columns - x0, n)
    cut = (slice(a0, a1), slice(b0, b1))
    there = (slice(a0 + y0, a1 + y0), slice(b0 + x0, b1 + x0))
    mask = surface.mask[cut]
    if colony.form != "branching":
        _bank_up(canvas, there, plot.edge[cut], colony.radius_mm)
    canvas.height[there][mask] = surface.height_mm[cut][mask]
    canvas.first[there][mask] = first[cut][mask] + number
    canvas.second[there][mask] = second[cut][mask] + number
    canvas.share[there][mask] = share[cut][mask]
    return _colony_truth(colony, surface, canvas)


def _bank_up(canvas: _Canvas, there: tuple[slice, slice], edge: Field, radius_mm: float) -> None:
    """Let the ground rise to a body's edge, with old rock around its foot."""
    away_mm = np.maximum(edge - 1.0, 0.0) * radius_mm
    height = canvas.height[there]
    rough = np.clip(0.6 * canvas.share[there] + 0.1 * np.clip(height + 8.0, -4.0, 4.0), 0.0, 1.0)
    height += np.exp(-((away_mm / 7.0) ** 2)) * (np.maximum(height, -1.6) - height)
    foot = away_mm < 1.5 + 6.0 * rough
    canvas.first[there][foot] = ROCK
    canvas.second[there][foot] = TURF


def _colony_truth(colony: Colony, surface: Surface, canvas: _Canvas) -> ColonyTruth:
    """Outline, diameters and corallites with their heights."""
    flat = _seen_outline(colony, surface, canvas)
    longest = _longest(flat)
    across = _widest_across(flat, longest)
    lines = surface.lines_mm
    heights = _heights(canvas, lines.reshape(-1, 2)).reshape(-1, 2, 1)
    dx, dy = np.roll(flat, -1, axis=0).T
    area = 0.5 * abs(float((flat[:, 0] * dy - flat[:, 1] * dx).sum()))
    sides = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
    return ColonyTruth(
        colony=colony,
        outline_mm=_at_edge(colony, flat, canvas),
        longest_mm=_at_edge(colony, longest, canvas),
        across_mm=_at_edge(colony, across, canvas),
        corallites_mm=np.concatenate([lines, -heights], axis=2),
        area_cm2=area / 100.0,
        perimeter_mm=float(sides.sum()),
    )


def _seen_outline(colony: Colony, surface: Surface, canvas: _Canvas) -> FloatArray:
    """The outline seen from above: the designed one, or the hull of branch tips."""
    if colony.form != "branching":
        return colony.outline_mm()
    plot = plot_for(colony, canvas.px_per_mm)
    points = np.stack([plot.x_mm[surface.mask], plot.y_mm[surface.mask]], axis=1).astype(float)
    return np.asarray(points[ConvexHull(points).vertices])


def _at_edge(colony: Colony, xy_mm: FloatArray, canvas: _Canvas) -> FloatArray:
    """Add the height: 0 on the edge of a body, the branch's own for branching ones."""
    if colony.form == "branching":
        inward = np.array(colony.centre_mm) + 0.97 * (xy_mm - np.array(colony.centre_mm))
        z = -np.maximum(_heights(canvas, inward), 0.0)
    else:
        z = np.zeros(len(xy_mm))
    return np.column_stack([xy_mm, z])


def _heights(canvas: _Canvas, xy_mm: FloatArray) -> FloatArray:
    """Height of the map at world places."""
    if not len(xy_mm):
        return np.zeros(0)
    u = ((xy_mm - [canvas.x0_mm, canvas.y0_mm]) * canvas.px_per_mm).astype(np.float32)
    found = cv2.remap(
        canvas.height,
        np.ascontiguousarray(u[:, 0]),
        np.ascontiguousarray(u[:, 1]),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found, dtype=np.float64).ravel()


def _longest(flat: FloatArray) -> FloatArray:
    """The two outline points farthest apart."""
    gaps = np.linalg.norm(flat[:, None] - flat[None, :], axis=2)
    i, j = np.unravel_index(int(gaps.argmax()), gaps.shape)
    return flat[[i, j]]


def _widest_across(flat: FloatArray, longest: FloatArray) -> FloatArray:
    """
    The widest chord at right angles to the longest diameter, from outline to outline.

    The chord is looked for at 200 places along the diameter.
    """
    along = longest[1] - longest[0]
    length = float(np.linalg.norm(along))
    u = along / length
    v = np.array([-u[1], u[0]])
    s = (flat - longest[0]) @ u
    w = (flat - longest[0]) @ v
    s2, w2 = np.roll(s, -1), np.roll(w, -1)
    best, ends = -1.0, np.zeros((2, 2))
    for at in np.linspace(0.02, 0.98, 200) * length:
        cross = ((s <= at) & (s2 > at)) | ((s2 <= at) & (s > at))
        if int(cross.sum()) < 2:
            continue
        heights = w[cross] + (at - s[cross]) * (w2[cross] - w[cross]) / (s2[cross] - s[cross])
        width = float(heights.max() - heights.min())
        if width > best:
            best = width
            ends = longest[0] + at * u + np.array([heights.min(), heights.max()])[:, None] * v
    return ends


def points_of(truths: Sequence[ColonyTruth]) -> dict[str, FloatArray]:
    """World points by name, to hand to a scene: ``COLONY/outline`` and so on."""
    points: dict[str, FloatArray] = {}
    for truth in truths:
        name = truth.colony.name
        points[f"{name}/outline"] = truth.outline_mm
        points[f"{name}/longest"] = truth.longest_mm
        points[f"{name}/across"] = truth.across_mm
        if len(truth.corallites_mm):
            points[f"{name}/corallites"] = truth.corallites_mm.reshape(-1, 3)
    return points
