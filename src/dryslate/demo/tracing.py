"""The inner loops: what each pixel sees of the seabed and of flat things lying on it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dryslate.demo.marching import Eye, Relief, compiled, height_at, march


class LightTables(NamedTuple):
    """
    Raw camera colour by material and distance.

    `ambient` and `flash` (n_materials, n_distances, 3), `veil` (n_distances, 3); distances run
    evenly in their logarithm from `near_mm`. `pattern` is the play of light on the ground
    (mean 1), tiled with a side of a power of two, `pattern_px_per_mm` its
    scale; the flash falls off from `flash_x`, `flash_y` (normalised picture place) with
    `flash_width`.
    """

    ambient: NDArray[np.float32]
    flash: NDArray[np.float32]
    veil: NDArray[np.float32]
    near_mm: float
    log_step: float
    pattern: NDArray[np.float32]
    pattern_px_per_mm: float
    flash_x: float
    flash_y: float
    flash_width: float
    gradient: NDArray[np.float64]


class FlatThing(NamedTuple):
    """
    Something flat that lies in the scene.

    `to_camera` (3, 3) takes its millimetres (x, y, 1) to camera space; `labels` holds the
    material of each cell, negative where there is nothing; `shade` is the light it gets;
    `n_sub` samples are taken along each side of a pixel.
    """

    to_camera: NDArray[np.float64]
    labels: NDArray[np.int16]
    cells_per_mm: float
    shade: float
    n_sub: int


@compiled
def _pattern_at(light: LightTables, x: float, y: float) -> float:
    """Light pattern at a world place: bilinear, wrapped, with the slow gradient."""
    n = light.pattern.shape[0]
    u = x * light.pattern_px_per_mm
    v = y * light.pattern_px_per_mm
    iu = math.floor(u)
    iv = math.floor(v)
    fu = u - iu
    fv = v - iv
    a = int(iu) & (n - 1)
    b = (a + 1) & (n - 1)
    c = int(iv) & (n - 1)
    d = (c + 1) & (n - 1)
    p = light.pattern
    value = (p[c, a] * (1 - fu) + p[c, b] * fu) * (1 - fv) + (
        p[d, a] * (1 - fu) + p[d, b] * fu
    ) * fv
    if light.gradient[0] == 0.0 and light.gradient[1] == 0.0:
        return float(value)
    slope = x * light.gradient[0] + y * light.gradient[1]
    return float(value * math.exp(min(max(slope, -1.2), 1.2)))


@compiled
def _set_distance(light: LightTables, hit: NDArray[np.float64], distance: float) -> None:
    """Note a distance and its place between the rows of the tables."""
    hit[2] = distance
    f = math.log(max(distance, light.near_mm) / light.near_mm) / light.log_step
    f = min(f, light.veil.shape[0] - 1.001)
    hit[4] = math.floor(f)
    hit[5] = f - hit[4]


@compiled
def _add_seen(
    m: Relief, light: LightTables, hit: NDArray[np.float64], weight: float, out: NDArray[np.float64]
) -> None:
    """Add the colour at a hit (x, y, distance, flash, row, part of a row) to `out`."""
    rows, cols = m.first.shape
    u = (hit[0] - m.x0_mm) * m.px_per_mm
    v = (hit[1] - m.y0_mm) * m.px_per_mm
    pattern = _pattern_at(light, hit[0], hit[1])
    if m.wraps:
        a = math.floor(u)
        c = math.floor(v)
        fu = u - a
        fv = v - c
        a0 = a & (cols - 1)
        a1 = (a + 1) & (cols - 1)
        c0 = c & (rows - 1)
        c1 = (c + 1) & (rows - 1)
        if _is_one_stuff(m, (c0, c1), (a0, a1)):
            s = _smooth(m.share[c0, a0], m.share[c0, a1], fu) * (1 - fv)
            s += _smooth(m.share[c1, a0], m.share[c1, a1], fu) * fv
            shade = _smooth(m.shade[c0, a0], m.shade[c0, a1], fu) * (1 - fv)
            shade += _smooth(m.shade[c1, a0], m.shade[c1, a1], fu) * fv
            stuff = (m.first[c0, a0], m.second[c0, a0])
            _add_mixture(light, hit, stuff, (weight, s / 255.0, shade * pattern), out)
        else:
            for row in range(2):
                for col in range(2):
                    part = (fu if col == 1 else 1.0 - fu) * (fv if row == 1 else 1.0 - fv)
                    cell = (c1 if row == 1 else c0, a1 if col == 1 else a0)
                    _add_cell(m, light, hit, cell, (weight * part, pattern), out)
    else:
        a = min(max(math.floor(u + 0.5), 0), cols - 1)
        c = min(max(math.floor(v + 0.5), 0), rows - 1)
        _add_cell(m, light, hit, (c, a), (weight, pattern), out)
    _add_veil(light, hit, weight, out)


@compiled
def _add_cell(
    m: Relief,
    light: LightTables,
    hit: NDArray[np.float64],
    cell: tuple[int, int],
    strength: tuple[float, float],
    out: NDArray[np.float64],
) -> None:
    """Add one cell of a map; `strength` is its weight and the light pattern there."""
    stuff = (m.first[cell], m.second[cell])
    mix = (strength[0], m.share[cell] / 255.0, m.shade[cell] * strength[1])
    _add_mixture(light, hit, stuff, mix, out)


@compiled
def _smooth(a: float, b: float, f: float) -> float:
    """Straight line from `a` to `b`."""
    return a * (1.0 - f) + b * f


@compiled
def _is_one_stuff(m: Relief, rows: tuple[int, int], cols: tuple[int, int]) -> bool:
    """Whether four neighbouring cells are of the same two materials."""
    p = m.first[rows[0], cols[0]]
    q = m.second[rows[0], cols[0]]
    for r in rows:
        for c in cols:
            if m.first[r, c] != p or m.second[r, c] != q:
                return False
    return True


@compiled
def _add_mixture(
    light: LightTables,
    hit: NDArray[np.float64],
    stuff: tuple[int, int],
    mix: tuple[float, float, float],
    out: NDArray[np.float64],
) -> None:
    """Add light from two materials; `mix` is the weight, the share of the second, the light."""
    k = int(hit[4])
    far = hit[5]
    near = 1.0 - far
    weight, share, shade = mix
    day = weight * shade
    flash = weight * hit[3] * (0.4 + 0.6 * min(shade, 1.5))
    for part in range(2):
        p = share if part == 1 else 1.0 - share
        if p == 0.0:
            continue
        m = stuff[1] if part == 1 else stuff[0]
        for ch in range(3):
            value = light.ambient[m, k, ch] * near + light.ambient[m, k + 1, ch] * far
            out[ch] += p * day * value
        if flash > 0.0:
            for ch in range(3):
                value = light.flash[m, k, ch] * near + light.flash[m, k + 1, ch] * far
                out[ch] += p * flash * value


@compiled
def _add_veil(
    light: LightTables, hit: NDArray[np.float64], weight: float, out: NDArray[np.float64]
) -> None:
    """Add the haze of the path."""
    k = int(hit[4])
    f = hit[5]
    for ch in range(3):
        out[ch] += weight * (light.veil[k, ch] * (1 - f) + light.veil[k + 1, ch] * f)


@compiled
def _flash_at(light: LightTables, xn: float, yn: float) -> float:
    """How much of the flash goes in a direction; none where there is no flash."""
    if light.flash_width <= 0.0:
        return 0.0
    r2 = (xn - light.flash_x) ** 2 + (yn - light.flash_y) ** 2
    return math.exp(-r2 / (2.0 * light.flash_width**2))


@compiled
def trace_ground(
    eye: Eye,
    near: Relief,
    far: Relief,
    span: tuple[float, float],
    light: LightTables,
    ray: NDArray[np.float32],
) -> NDArray[np.float32]:
    """
    Raw colour of the seabed for every pixel.

    Parameters
    ----------
    eye : Eye
    near, far : Relief
        The station's own map, and the tile that goes on for ever around it.
    span : tuple of float
        Highest and lowest point of both, in millimetres.
    light : LightTables
    ray : ndarray of float32, shape (height, width, 2)

    Returns
    -------
    ndarray of float32, shape (height, width, 3)
    """
    rows, cols = ray.shape[:2]
    img = np.empty((rows, cols, 3), np.float32)
    hit = np.zeros(6, np.float64)
    colour = np.zeros(3, np.float64)
    r = eye.turn
    last = light.veil.shape[0] - 1
    for i in range(rows):
        n_sub = 1
        for j in range(cols):
            colour[:] = 0.0
            n_next = 1
            for sub in range(n_sub):
                xn = float(ray[i, j, 0])
                yn = float(ray[i, j, 1]) + ((sub + 0.5) / n_sub - 0.5) / eye.focal_px
                dx = r[0, 0] * xn + r[1, 0] * yn + r[2, 0]
                dy = r[0, 1] * xn + r[1, 1] * yn + r[2, 1]
                dz = r[0, 2] * xn + r[1, 2] * yn + r[2, 2]
                w = 1.0 / n_sub
                if not march(eye, near, far, span, hit, (dx, dy, dz)):
                    for ch in range(3):
                        colour[ch] += w * light.veil[last, ch]
                    continue
                _set_distance(light, hit, hit[2])
                hit[3] = _flash_at(light, xn, yn)
                if height_at(near, hit[0], hit[1]) < -1e8:
                    _add_seen(far, light, hit, w, colour)
                else:
                    _add_seen(near, light, hit, w, colour)
                slant = math.sqrt(dx * dx + dy * dy + dz * dz) / max(dz, 0.02)
                foot = hit[2] / eye.focal_px * slant
                n_next = min(max(int(foot * far.px_per_mm / 1.2), 1), 4)
            n_sub = n_next
            for ch in range(3):
                img[i, j, ch] = colour[ch]
    return img


@compiled
def trace_flat(
    eye: Eye,
    flat: FlatThing,
    light: LightTables,
    ray: NDArray[np.float32],
    img: NDArray[np.float32],
) -> None:
    """
    Lay a flat thing over the picture, area-sampled.

    Parameters
    ----------
    eye : Eye
    flat : FlatThing
    light : LightTables
    ray : ndarray of float32, shape (height, width, 2)
        A window of the rays of the picture.
    img : ndarray of float32, shape (height, width, 3)
        The same window of the picture, changed in place.
    """
    inv = np.linalg.inv(flat.to_camera)
    rows, cols = img.shape[:2]
    n_v, n_u = flat.labels.shape
    n_sub = flat.n_sub
    hit = np.zeros(6, np.float64)
    colour = np.zeros(3, np.float64)
    w = 1.0 / (n_sub * n_sub)
    t = eye.turn
    for i in range(rows):
        i2 = min(i, rows - 2)
        for j in range(cols):
            j2 = min(j, cols - 2)
            gx_x = ray[i2, j2 + 1, 0] - ray[i2, j2, 0]
            gx_y = ray[i2, j2 + 1, 1] - ray[i2, j2, 1]
            gy_x = ray[i2 + 1, j2, 0] - ray[i2, j2, 0]
            gy_y = ray[i2 + 1, j2, 1] - ray[i2, j2, 1]
            colour[:] = 0.0
            covered = 0
            for a in range(n_sub):
                fy = (a + 0.5) / n_sub - 0.5
                for b in range(n_sub):
                    fx = (b + 0.5) / n_sub - 0.5
                    xn = ray[i, j, 0] + fx * gx_x + fy * gy_x
                    yn = ray[i, j, 1] + fx * gx_y + fy * gy_y
                    q = inv[2, 0] * xn + inv[2, 1] * yn + inv[2, 2]
                    if q <= 0.0:
                        continue
                    u = (inv[0, 0] * xn + inv[0, 1] * yn + inv[0, 2]) / q
                    v = (inv[1, 0] * xn + inv[1, 1] * yn + inv[1, 2]) / q
                    iu = math.floor(u * flat.cells_per_mm)
                    iv = math.floor(v * flat.cells_per_mm)
                    if iu < 0 or iv < 0 or iu >= n_u or iv >= n_v:
                        continue
                    label = flat.labels[iv, iu]
                    if label < 0:
                        continue
                    depth = 1.0 / q
                    _set_distance(light, hit, depth * math.sqrt(xn * xn + yn * yn + 1.0))
                    # back to the world for the pattern of light
                    hit[0] = eye.place_mm[0] + depth * (t[0, 0] * xn + t[1, 0] * yn + t[2, 0])
                    hit[1] = eye.place_mm[1] + depth * (t[0, 1] * xn + t[1, 1] * yn + t[2, 1])
                    hit[3] = _flash_at(light, xn, yn)
                    shade = flat.shade * _pattern_at(light, hit[0], hit[1])
                    _add_mixture(light, hit, (label, label), (w, 0.0, shade), colour)
                    _add_veil(light, hit, w, colour)
                    covered += 1
            if covered > 0:
                rest = 1.0 - covered * w
                for ch in range(3):
                    img[i, j, ch] = rest * img[i, j, ch] + colour[ch]
