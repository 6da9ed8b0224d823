"""Growth forms: the relief and pattern of corals at true scale."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from dryslate.demo.corals import Colony, Form, Plot, Surface, centres_within, dome, nearest
from dryslate.demo.noise import Field, band_field, fractal_field
from dryslate.demo.spectra import FloatArray


def grow(colony: Colony, plot: Plot) -> Surface:
    """Relief, pattern and measurable lines of a colony in its plot."""
    return _FORMS[colony.form](colony, plot, np.random.default_rng([colony.seed, 5]))


def _fitted(rng: np.random.Generator, plot: Plot, size_mm: float) -> Field:
    """A smooth random field over the plot with lumps of about a size, deviation 1."""
    n = plot.x_mm.shape[0]
    waves = max(n / plot.px_per_mm / size_mm, 1.0)
    small = band_field(rng, 256, min(waves, 100.0), 0.35)
    return np.asarray(cv2.resize(small, (n, n), interpolation=cv2.INTER_CUBIC))


def _grain(rng: np.random.Generator, plot: Plot, size_mm: float) -> Field:
    """Fine grain, deviation 1."""
    n = plot.x_mm.shape[0]
    noise = rng.standard_normal((n, n), dtype=np.float32)
    sigma = max(size_mm * plot.px_per_mm / 2.5, 0.4)
    soft = cv2.GaussianBlur(noise, (0, 0), sigma)
    return np.asarray(soft / max(float(soft.std()), 1e-6))


def _ramp(values: Field, low: float, high: float) -> Field:
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = np.clip((values - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), dtype=np.float32)


def _plocoid(colony: Colony, plot: Plot, rng: np.random.Generator) -> Surface:
    """Corallites with walls of their own, standing apart."""
    d = colony.corallite_mm
    centres = centres_within(colony, plot, 1.18 * d, rng)
    radius = 0.5 * d * np.clip(rng.normal(1.0, 0.08, len(centres)), 0.8, 1.2)
    which, dx, dy = nearest(plot, centres)
    r = np.hypot(dx, dy)
    t = (r / radius[which].astype(np.float32)).astype(np.float32)
    turn = rng.uniform(0, 6.28, len(centres)).astype(np.float32)[which]
    n_septa = 24 if d > 4 else 12
    septa = 0.5 + 0.5 * np.cos(n_septa * np.arctan2(dy, dx) + turn)
    wall = np.exp(-(((t - 0.86) / 0.15) ** 2))
    bowl = _ramp(1.0 - t, 0.12, 0.75)
    core = np.exp(-((t / 0.2) ** 2))
    spokes = septa * _ramp(1.15 - t, 0.0, 0.4) * _ramp(t, 0.12, 0.4)
    body = dome(plot, colony.rise_mm, _fitted(rng, plot, 45.0))
    height = body + d * (0.17 * wall - 0.13 * bowl + 0.05 * core + 0.05 * spokes)
    height = height + 0.012 * d * _grain(rng, plot, 0.5) * (t > 1.0)
    calice = np.clip(0.95 * bowl - 0.30 * spokes - 0.15 * core, 0.0, 1.0)
    lines = _across(centres, radius, plot, rng)
    return Surface(
        height_mm=height.astype(np.float32),
        mask=plot.edge < 1.0,
        calice=calice.astype(np.float32),
        pale=(0.28 * wall * (0.5 + 0.5 * septa)).astype(np.float32),
        lines_mm=lines,
        level_mm=np.asarray(body + 0.12 * d, dtype=np.float32),
    )


def _across(
    centres: FloatArray, radius: FloatArray, plot: Plot, rng: np.random.Generator
) -> FloatArray:
    """Ends of a line across each corallite, well inside the colony, shape (k, 2, 2)."""
    corner = np.array([plot.x_mm[0, 0], plot.y_mm[0, 0]], dtype=float)
    at = np.round((centres - corner) * plot.px_per_mm).astype(int)
    inner = plot.edge[at[:, 1], at[:, 0]] < 0.62
    angle = rng.uniform(0.0, np.pi, len(centres))
    half = radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.asarray(np.stack([centres - half, centres + half], axis=1)[inner])


def _cerioid(colony: Colony, plot: Plot, rng: np.random.Generator) -> Surface:
    """Corallites that share their walls."""
    d = colony.corallite_mm
    centres = centres_within(colony, plot, 1.02 * d, rng)
    which, dx, dy = nearest(plot, centres)
    border = np.zeros(which.shape, bool)
    border[:, 1:] |= which[:, 1:] != which[:, :-1]
    border[1:, :] |= which[1:, :] != which[:-1, :]
    to_wall = cv2.distanceTransform((~border).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    b = np.maximum(to_wall - 0.5, 0.0) / plot.px_per_mm / d
    wall = np.exp(-((b / 0.085) ** 2))
    bowl = _ramp(b, 0.06, 0.38)
    septa = 0.5 + 0.5 * np.cos((30 if d > 3 else 12) * np.arctan2(dy, dx))
    spokes = septa * _ramp(b, 0.02, 0.12) * (1.0 - _ramp(b, 0.26, 0.42))
    core = np.exp(-((np.hypot(dx, dy) / (0.13 * d)) ** 2))
    body = dome(plot, colony.rise_mm, _fitted(rng, plot, 50.0))
    height = body + d * (0.20 * wall - 0.13 * bowl + 0.05 * spokes + 0.04 * core)
    height = height + 0.01 * d * _grain(rng, plot, 0.4)
    calice = np.clip(0.95 * bowl - 0.3 * spokes - 0.2 * core, 0.0, 1.0)
    return Surface(
        height_mm=height.astype(np.float32),
        mask=plot.edge < 1.0,
        calice=calice.astype(np.float32),
        pale=(0.32 * wall).astype(np.float32),
        lines_mm=_between_walls(colony, plot, centres, rng),
        level_mm=np.asarray(body + 0.18 * d, dtype=np.float32),
    )


def _between_walls(
    colony: Colony, plot: Plot, centres: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """From wall to wall through each centre, by the exact bisectors of neighbouring centres."""
    away = centres - np.array(colony.centre_mm)
    limit = colony.radius_at(np.arctan2(away[:, 1], away[:, 0]))
    lines = []
    for k in np.flatnonzero(np.hypot(away[:, 0], away[:, 1]) < 0.62 * limit):
        angle = rng.uniform(0.0, np.pi)
        u = np.array([np.cos(angle), np.sin(angle)])
        gap = np.delete(centres, k, axis=0) - centres[k]
        ends = []
        for sign in (-1.0, 1.0):
            along = gap @ (sign * u)
            reach = np.where(along > 1e-9, (gap**2).sum(axis=1) / (2.0 * along + 1e-30), np.inf)
            ends.append(centres[k] + sign * u * float(reach.min()))
        lines.append(ends)
    return np.array(lines).reshape(-1, 2, 2)


def _meandroid(colony: Colony, plot: Plot, rng: np.random.Generator) -> Surface:
    """Long winding valleys between shared ridges."""
    width = colony.corallite_mm
    n = plot.x_mm.shape[0]
    side = 512
    small = band_field(rng, side, n / plot.px_per_mm / (2.0 * width), 0.10)
    f = np.asarray(cv2.resize(small, (n, n), interpolation=cv2.INTER_CUBIC), dtype=np.float32)
    gx = cv2.Sobel(f, cv2.CV_32F, 1, 0, scale=plot.px_per_mm / 8.0)
    gy = cv2.Sobel(f, cv2.CV_32F, 0, 1, scale=plot.px_per_mm / 8.0)
    steep = np.sqrt(gx * gx + gy * gy + (0.25 * np.pi / width) ** 2).astype(np.float32)
    b = (np.abs(f) / steep / np.float32(width)).astype(np.float32)
    wall = np.exp(-((b / 0.13) ** 2))
    bowl = _ramp(b, 0.10, 0.42)
    septa = _strokes(rng, plot, np.asarray(gx / steep), np.asarray(gy / steep))
    spokes = septa * (1.0 - _ramp(b, 0.28, 0.45))
    body = dome(plot, colony.rise_mm, _fitted(rng, plot, 60.0))
    height = body + width * (0.24 * wall - 0.17 * bowl + 0.075 * spokes)
    calice = np.clip(0.95 * bowl - 0.18 * spokes, 0.0, 1.0)
    return Surface(
        height_mm=height.astype(np.float32),
        mask=plot.edge < 1.0,
        calice=calice.astype(np.float32),
        pale=(0.40 * wall * (0.6 + 0.4 * septa)).astype(np.float32),
        lines_mm=_across_valleys(colony, plot, f, rng),
        level_mm=np.asarray(body + 0.22 * width, dtype=np.float32),
    )


def _strokes(rng: np.random.Generator, plot: Plot, ux: Field, uy: Field) -> Field:
    """Thin strokes along a direction field, 0 to 1: septa that cross the ridges."""
    n = plot.x_mm.shape[0]
    step_px = max(0.22 * plot.px_per_mm, 0.7)
    spacing = max(0.75 * plot.px_per_mm, 1.6)
    size = max(int(n / spacing), 8)
    coarse = rng.standard_normal((size, size), dtype=np.float32)
    noise = np.asarray(cv2.resize(coarse, (n, n), interpolation=cv2.INTER_CUBIC), np.float32)
    columns, rows = np.meshgrid(np.arange(n, dtype=np.float32), np.arange(n, dtype=np.float32))
    total = noise.copy()
    for k in range(1, 6):
        for sign in (-1.0, 1.0):
            move = np.float32(sign * k * step_px)
            moved = cv2.remap(noise, columns + move * ux, rows + move * uy, cv2.INTER_LINEAR)
            total = np.asarray(total + moved, dtype=np.float32)
    scale = np.float32(0.42 / max(float(total.std()), 1e-6))
    return np.asarray(np.clip(0.5 + scale * total, 0.0, 1.0), dtype=np.float32)


def _across_valleys(colony: Colony, plot: Plot, f: Field, rng: np.random.Generator) -> FloatArray:
    """From ridge to ridge across valleys at their deepest places, shape (k, 2, 2)."""
    s = plot.px_per_mm
    peak = np.abs(f)
    size = max(int(0.8 * colony.corallite_mm * s) | 1, 3)
    best = cv2.dilate(peak, np.ones((size, size), np.uint8))
    rows, columns = np.nonzero((peak == best) & (plot.edge < 0.6) & (peak > 0.7))
    lines = []
    limit = 0.95 * colony.corallite_mm * s
    for i, j in zip(rows, columns, strict=True):
        best_line, best_length = None, np.inf
        for angle in np.linspace(0.0, np.pi, 24, endpoint=False):
            u = np.array([np.cos(angle), np.sin(angle)])
            ends = [_to_zero(f, (int(j), int(i)), sign * u, limit) for sign in (-1.0, 1.0)]
            if ends[0] is None or ends[1] is None:
                continue
            length = ends[0] + ends[1]
            if length < best_length:
                best_length = length
                best_line = (np.array([j, i]) - ends[0] * u, np.array([j, i]) + ends[1] * u)
        if best_line is not None:
            lines.append(best_line)
    corner = np.array([plot.x_mm[0, 0], plot.y_mm[0, 0]], dtype=float)
    return np.asarray(np.array(lines).reshape(-1, 2, 2) / s + corner)


def _to_zero(f: Field, start: tuple[int, int], u: FloatArray, limit_px: float) -> float | None:
    """Distance in cells to where the field changes its sign."""
    steps = np.arange(0.0, limit_px, 0.5)
    x = np.clip(start[0] + steps * u[0], 0, f.shape[1] - 1.001)
    y = np.clip(start[1] + steps * u[1], 0, f.shape[0] - 1.001)
    i, j = y.astype(int), x.astype(int)
    v, w = y - i, x - j
    values = (f[i, j] * (1 - w) + f[i, j + 1] * w) * (1 - v)
    values = values + (f[i + 1, j] * (1 - w) + f[i + 1, j + 1] * w) * v
    crossed = np.flatnonzero(np.sign(values) != np.sign(values[0]))
    if crossed.size == 0:
        return None
    k = int(crossed[0])
    return float(steps[k] - 0.5 * values[k] / (values[k] - values[k - 1]))


def _branching(colony: Colony, plot: Plot, rng: np.random.Generator) -> Surface:
    """Fingers that lean outwards, with pale tips and small corallites on their sides."""
    d = colony.corallite_mm
    s = plot.px_per_mm
    n = plot.x_mm.shape[0]
    height = np.full((n, n), -1e3, np.float32)
    pale = np.zeros((n, n), np.float32)
    bases = centres_within(colony, plot, 1.45 * d, rng)
    tips = []
    corner = np.array([plot.x_mm[0, 0], plot.y_mm[0, 0]], dtype=float)
    for base in bases:
        out = (base - np.array(colony.centre_mm)) / colony.radius_mm
        lean = out * d * 1.2 + rng.normal(0.0, 0.25 * d, 2)
        top = colony.rise_mm * float(np.clip(1.0 - 0.35 * (out @ out), 0.3, 1.0))
        top *= float(rng.uniform(0.8, 1.1))
        thick = 0.5 * d * float(rng.uniform(0.88, 1.12))
        for t in np.linspace(0.0, 1.0, 44):
            at = (base + lean * (t - 0.6) - corner) * s
            r = thick * (1.0 - 0.30 * t**2) * s
            _press(height, pale, at, (r, top * t, float(t)), s)
        tip = base + lean * 0.4
        tips.append((tip, thick * 0.70))
    grain = _fitted(rng, plot, 2.4) + 0.35 * _grain(rng, plot, 0.7)
    mask = height > -100.0
    height = np.where(mask, height + 0.085 * d * np.clip(grain, -0.6, 2.0), 0.0).astype(np.float32)
    calice = np.clip(0.5 - 0.3 * grain, 0.0, 1.0) * (1.0 - pale)
    angle = rng.uniform(0.0, np.pi, len(tips))
    lines = []
    for (tip, r), a in zip(tips, angle, strict=True):
        half = r * np.array([np.cos(a), np.sin(a)])
        lines.append((tip - half, tip + half))
    return Surface(
        height_mm=height,
        mask=mask,
        calice=calice.astype(np.float32),
        pale=(0.8 * np.clip(pale, 0, 1) ** 12).astype(np.float32),
        lines_mm=np.array(lines).reshape(-1, 2, 2),
        level_mm=_tips(height, plot, d),
    )


def _tips(height: Field, plot: Plot, thick_mm: float) -> Field:
    """Height of the highest point within most of a branch's thickness."""
    n = max(int(0.8 * thick_mm * plot.px_per_mm) | 1, 3)
    return np.asarray(cv2.dilate(height, np.ones((n, n), np.uint8)), dtype=np.float32)


def _press(
    height: Field, pale: Field, at: FloatArray, ball: tuple[float, float, float], s: float
) -> None:
    """Press one ball (radius in cells, height in mm, share of the branch) into a relief."""
    r, z, t = ball
    n = height.shape[0]
    x0, y0 = np.maximum(np.floor(at - r).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(at + r).astype(int) + 1, n)
    if x1 <= x0 or y1 <= y0:
        return
    dx = np.arange(x0, x1, dtype=np.float32) - np.float32(at[0])
    dy = np.arange(y0, y1, dtype=np.float32)[:, None] - np.float32(at[1])
    q = r * r - dx * dx - dy * dy
    cap = np.where(q > 0, z + 0.8 * np.sqrt(np.maximum(q, 0.0)) / s, -1e3)
    window = height[y0:y1, x0:x1]
    higher = cap > window
    window[higher] = cap[higher]
    pale[y0:y1, x0:x1][higher] = (t * (0.55 + 0.45 * np.clip(q / (0.5 * r * r), 0, 1)))[higher]


def _plating(colony: Colony, plot: Plot, rng: np.random.Generator) -> Surface:
    """Thin plates, one over the other, with growth rings and pale rims."""
    n = plot.x_mm.shape[0]
    ring = colony.corallite_mm
    height = np.zeros((n, n), np.float32)
    mask = np.zeros((n, n), bool)
    pale = np.zeros((n, n), np.float32)
    wobble = _fitted(rng, plot, 30.0)
    fine = _fitted(rng, plot, 3.2)
    n_plates = 4
    for k in range(n_plates):
        size = 1.0 - 0.23 * k
        centre = np.array(colony.centre_mm) + rng.normal(0, 0.07 * k * colony.radius_mm, 2)
        dx, dy = plot.x_mm - centre[0], plot.y_mm - centre[1]
        if k == 0:
            e = plot.edge * (1.0 + 0.0 * wobble)
        else:
            e = np.hypot(dx, dy) / (colony.radius_mm * size) * (1.0 + 0.10 * wobble)
        gap = rng.uniform(0, 6.28)
        if k > 0:
            e = e + 0.55 * _ramp(np.cos(np.arctan2(dy, dx) - gap), 0.2, 0.95)
        here = e < 1.0
        level = colony.rise_mm * (0.12 + 0.26 * k)
        tilt = level + 0.22 * colony.rise_mm * (e - 0.4)
        rings = np.cos(2.0 * np.pi * e * colony.radius_mm * size / ring + 1.5 * wobble)
        plate = tilt + 0.07 * ring * rings + 0.05 * ring * fine
        height[here] = plate[here]
        mask |= here
        pale[here] = (0.75 * _ramp(e, 0.93, 0.985) + 0.10 * np.clip(rings, 0, 1))[here]
    calice = np.clip(0.35 + 0.3 * fine, 0.0, 1.0)
    return Surface(
        height_mm=height,
        mask=mask,
        calice=calice.astype(np.float32),
        pale=pale,
        lines_mm=np.zeros((0, 2, 2)),
        level_mm=height,
    )


def patches_field(colony: Colony, plot: Plot) -> Field:
    """The field whose ranks decide where stress shows first: tops before sides."""
    rng = np.random.default_rng([colony.seed, 7])
    blotches = fractal_field(rng, 256, 1.9, 1.0)
    n = plot.x_mm.shape[0]
    field = cv2.resize(blotches, (n, n), interpolation=cv2.INTER_CUBIC)
    return np.asarray(field + 1.1 * plot.edge)


_FORMS: dict[Form, Callable[[Colony, Plot, np.random.Generator], Surface]] = {
    "plocoid": _plocoid,
    "cerioid": _cerioid,
    "meandroid": _meandroid,
    "branching": _branching,
    "plating": _plating,
}
