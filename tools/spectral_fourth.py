"""
A fourth family of spectral scenes: free attenuation curves, halftone cards, layered tissue.

Parameterised apart from the other three: attenuation as pure water and a smooth free curve; camera
sensitivities as warped and mixed colour matching functions with crosstalk; an automatic white
balance that is bound to a range of colour temperatures and tints, or a mode for use under water
that raises red by mixing green into it; soft clipping of the gamut; cards printed in halftone
(Yule & Nielsen 1951, Neugebauer 1937); reef things as a tissue of pigments over a pale skeleton,
with free shapes. Numbers are from memory of the general literature, ranges are judgements.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray
from spectral_scenes import (
    CMF,
    D65,
    N_PX,
    NM,
    TO_XYZ,
    Camera,
    Family,
    Lit,
    Recorded,
    Shot,
    bell,
    edge,
    lab_of,
)
from spectral_third import WATER_A, uneven, wander

from dryslate.core.colour.spaces import XYZ_TO_SRGB, linear_to_srgb, srgb_to_linear

FloatArray = NDArray[np.float64]


def light_and_veil(_waters: dict[str, FloatArray], rng: np.random.Generator) -> Lit:
    """Light and veil with a free smooth attenuation beside that of pure water."""
    clear = float(np.exp(rng.uniform(np.log(0.01), np.log(0.25))))
    bend = 0.45 * wander(1, 90.0, rng)[0]
    rise = np.exp(-rng.uniform(0.2, 1.6) * (NM - 500.0) / 100.0)
    extra = clear * rise * np.exp(bend - bend.mean())
    kd = 1.08 * WATER_A + extra
    depth = float(2.0 + 28.0 * rng.beta(1.0, 1.8))
    distance = float(rng.gamma(4.0, 0.2)) + 0.15
    turbid = float(np.exp(rng.normal(np.log(0.12), 0.7)))
    beam = 0.8 * kd + turbid
    tilt = rng.normal(0.0, 0.12)
    down = D65 * np.exp(tilt * (NM - 550.0) / 150.0) * np.exp(-kd * depth)
    way = np.exp(-beam * distance)
    spread = (550.0 / NM) ** rng.uniform(-0.5, 1.0)
    path = turbid * rng.uniform(0.04, 0.5) * spread / beam * (1.0 - way)
    if rng.random() < 0.3:
        warm = rng.normal(-0.1, 0.35)
        lamp = np.exp(warm * (NM - 550.0) / 150.0) * (1.0 + rng.uniform(0, 0.8) * bell(452, 11))
        share = float(rng.choice([0.0, 0.1, 0.4])) * lamp.max() * way.max() / down.max()
        light = lamp * way + share * down
        return "flash", "free", depth, light * way, path * (share * down + 0.3 * lamp * way)
    return "natural", "free", depth, down * way, path * down


def camera(rng: np.random.Generator) -> Camera:
    """Draw a camera: matching functions warped, mixed and leaking; a matrix by their own fit."""
    stretch, shift = rng.uniform(0.92, 1.1, 3), rng.normal(0.0, 7.0, 3)
    warped = np.stack(
        [
            np.interp((NM - c) / s + c - d, NM, row)
            for row, c, s, d in zip(CMF, (595.0, 555.0, 450.0), stretch, shift, strict=True)
        ]
    )
    mixed = np.stack([warped[0] * edge(rng.uniform(500, 545), 12), warped[1], warped[2]])
    mixed[1] = mixed[1] * (1.0 - edge(rng.uniform(590, 630), rng.uniform(10, 25)) * 0.8)
    mixed = mixed / mixed.max(axis=1, keepdims=True)
    cross = rng.uniform(0.0, 0.16, (3, 3)) * (1.0 - np.eye(3))
    rows = (mixed + cross @ mixed) * np.exp(0.08 * wander(3, 25.0, rng))
    rows = rows * (1.0 - edge(rng.uniform(645, 705), rng.uniform(6, 12)))
    rows = rows / (rows * D65).sum(axis=1, keepdims=True)
    order = np.minimum(NM[:, None], NM[None, :])  # neighbouring wavelengths go together
    alike = np.exp(-np.abs(order - np.maximum(NM[:, None], NM[None, :])) / rng.uniform(40, 150))
    seen, wanted = rows * D65, XYZ_TO_SRGB @ TO_XYZ
    matrix = wanted @ alike @ seen.T @ np.linalg.inv(seen @ alike @ seen.T)
    share = rng.uniform(0.7, 1.0)
    matrix = share * matrix + (1 - share) * np.eye(3)
    return Camera(rows, matrix / matrix.sum(axis=1, keepdims=True))


def card_spectra(
    targets: FloatArray, greys_l: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Halftone prints of four to six inks; 12 to 24 colours, some wanted, some at random."""
    inks = [
        bell(640 + rng.normal(0, 8), rng.uniform(50, 65)) * 1.9 + 0.1,
        bell(540 + rng.normal(0, 8), rng.uniform(30, 40)) * 1.8 + 0.1 * bell(430, 30),
        (1.0 - edge(492 + rng.normal(0, 7), rng.uniform(9, 16))) * 1.7,
        np.full_like(NM, 2.6),
    ]
    if rng.random() < 0.5:
        inks.append((1.0 - edge(560 + rng.normal(0, 8), rng.uniform(9, 16))) * 1.8)
        inks.append((bell(640, 55) + bell(430, 35)) * 1.7)
    paper = rng.uniform(0.84, 0.93) * (1.0 - rng.uniform(0.02, 0.15) * (1.0 - edge(425, 10)))
    solid = np.array(list(product((0.0, 1.0), repeat=len(inks))))
    dot_n = rng.uniform(1.4, 2.4)
    primaries = (paper * np.exp(-solid @ np.stack(inks)) + 0.012) ** (1.0 / dot_n)
    n_pool = 2000
    cover = rng.beta(0.7, 0.8, (n_pool, len(inks)))
    keep = np.argsort(rng.random(cover[:, :].shape), axis=1) < 2
    cover = cover * keep
    cover[:, 3] = np.where(rng.random(n_pool) < 0.5, rng.beta(0.8, 2.5, n_pool), 0.0)
    share = np.ones((n_pool, len(solid)))
    for i in range(len(inks)):
        share *= np.where(solid[None, :, i] > 0, cover[:, i : i + 1], 1.0 - cover[:, i : i + 1])
    pool = np.clip((share @ primaries) ** dot_n, 0.01, 0.96)
    labs = lab_of(pool)
    n = int(rng.integers(12, 25))
    wanted = targets[rng.permutation(len(targets))[: min(n, int(rng.integers(4, 17)))]]
    chosen = [int(np.argmin(((labs - t) ** 2).sum(axis=1))) for t in wanted]
    vivid = np.flatnonzero(np.hypot(labs[:, 1], labs[:, 2]) > 12.0)
    chosen += [int(i) for i in rng.choice(vivid, n - len(chosen), replace=False)]
    y = ((greys_l[:, None] + 16.0) / 116.0) ** 3
    lift = 1.0 + rng.normal(0, 0.015, (len(y), 2)) @ np.stack([edge(500, 40), bell(600, 60)])
    return np.vstack([np.clip(y * lift, 0.01, 0.96), pool[chosen]]), np.arange(n + len(y)) < len(y)


# Pigments of tissue: (bands) and how common; host colours get free bands.
TISSUE: dict[str, list[tuple[float, float, float]]] = {
    "symbionts": [(440, 22, 0.9), (485, 40, 0.9), (535, 28, 0.25), (586, 14, 0.1), (632, 12, 0.16),
                  (676, 10, 0.6)],
    "greens": [(438, 20, 1.0), (470, 22, 0.8), (648, 12, 0.4), (677, 10, 0.8)],
    "reds": [(495, 16, 0.6), (540, 18, 0.9), (566, 10, 0.8), (675, 10, 0.3)],
    "blues": [(612, 20, 0.9), (650, 15, 0.3), (436, 18, 0.5), (677, 10, 0.5)],
    "browns": [(430, 40, 1.0), (500, 40, 0.7), (560, 50, 0.25), (676, 11, 0.6)],
}  # fmt: skip


def reef_spectra(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of `n` things: tissue over skeleton, rubble, sponges of free shape."""
    rows = []
    free, fine = wander(n, 60.0, rng), wander(n, 18.0, rng)
    names = list(TISSUE)
    for i in range(n):
        if rng.random() < 0.18:  # of free shape
            depth = rng.uniform(0.5, 1.6)
            out = 0.9 / (1.0 + np.exp(rng.uniform(0.0, 2.0) - depth * free[i] - 0.1 * fine[i]))
            rows.append(np.clip(out, 0.005, 0.97))
            continue
        ground = rng.uniform(0.2, 0.9) * (1.0 - rng.uniform(0.05, 0.5) * (1 - edge(460, 45)))
        cover = rng.dirichlet(np.full(len(names), 0.35))
        absorb = np.zeros_like(NM)
        for name, part in zip(names, cover, strict=True):
            for centre, width, height in TISSUE[name]:
                absorb += (
                    part * height * rng.uniform(0.7, 1.3)
                    * bell(centre + rng.normal(0, 3), width * rng.uniform(0.9, 1.3))
                )  # fmt: skip
        if rng.random() < 0.2:
            absorb += rng.uniform(0.3, 1.5) * bell(rng.uniform(500, 610), rng.uniform(15, 35))
        thick = float(rng.gamma(1.3, 0.6))
        through = np.exp(-2.0 * thick * absorb)
        own = rng.uniform(0.0, 0.06) * (1.0 - through)
        out = ground * through * np.exp(0.05 * fine[i] + 0.06 * free[i]) + own + 0.008
        if rng.random() < 0.15:
            glow = rng.uniform(480, 600)
            out = out + rng.uniform(0.02, 0.15) * np.where(
                glow > NM, bell(glow, 8), bell(glow, rng.uniform(15, 30))
            )
        rows.append(np.clip(out, 0.005, 0.97))
    return np.stack(rows)


def _gains(shot: Shot, rng: np.random.Generator) -> FloatArray:
    """White balance bound to a range of colour temperature (blue to red) and of tint (green)."""
    shades = shot.raw[shot.reef] ** rng.uniform(0.5, 1.5)
    grey = shades.mean(axis=0) ** (1.0 / rng.uniform(0.9, 1.1))
    grey = grey * np.exp(rng.normal(0, 0.08, 3))
    wish = np.log(grey[1] / np.maximum(grey, 1e-9))
    warm, tint = 0.5 * (wish[0] - wish[2]), 0.5 * (wish[0] + wish[2])
    reach = float(rng.choice([0.0, 0.35, 0.7, 1.2, 2.5]))
    warm = float(np.clip(warm, -reach, reach))
    tint = float(np.clip(tint, -0.6 * reach, rng.uniform(0.4, 1.0) * reach))
    return np.exp(np.array([tint + warm, 0.0, tint - warm]))


def record(shot: Shot, rng: np.random.Generator) -> Recorded:
    """Sensor, bound white balance or a mode for under water, soft clipping, tone, eight bits."""
    electrons = float(np.exp(rng.uniform(np.log(500.0), np.log(10000.0))))
    top = float(np.quantile(shot.raw.max(axis=1), 0.98))
    raw = shot.raw / top * rng.uniform(0.4, 0.95)
    spread = np.sqrt(np.maximum(raw, 0.0) / electrons + rng.uniform(0.0005, 0.004) ** 2)
    seen = raw + rng.normal(size=raw.shape) * spread / np.sqrt(N_PX / rng.uniform(1.0, 8.0))
    seen = np.maximum(seen * uneven(len(seen), rng), 0.0)
    matrix = shot.camera.matrix
    if rng.random() < 0.25:  # a mode for under water: red is raised and filled up from green
        gain = np.exp(np.array([rng.uniform(0.4, 1.6), 0.0, rng.uniform(-0.5, 0.1)]))
        fill = rng.uniform(0.0, 0.35)
        matrix = np.array([[1 - fill, fill, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]) @ matrix
    else:
        gain = _gains(shot, rng)
    full = max(float((seen * gain).max()) * rng.uniform(0.9, 1.3), 1e-3)
    linear = np.minimum(seen * gain, full) @ matrix.T
    white = float(linear[shot.card][[0, 7]].max())
    linear = linear / max(white, 0.05) * rng.uniform(0.4, 0.95)
    grey = np.maximum(linear @ np.array([0.2126, 0.7152, 0.0722]), 1e-4)[:, None]
    part = linear / grey - 1.0  # soft clipping towards grey where a channel runs out
    knee = rng.uniform(0.75, 0.95)
    low = np.minimum(part.min(axis=1, keepdims=True), -1e-6)
    held = np.where(-low > knee, knee + (1 - knee) * np.tanh((-low - knee) / (1 - knee)), -low)
    linear = np.clip(grey * (1.0 + part * held / -low * rng.uniform(0.9, 1.3)), 0.0, 1.0)
    code = linear_to_srgb(linear)
    bend = 0.0
    if rng.random() < 0.7:
        bend = float(rng.uniform(-0.1, 0.5))
        code = np.clip(code, 0.0, 1.0)
        bent = code ** np.exp(rng.normal(0.0, 0.1))
        code = (1 - bend) * bent + bend * bent * bent * (3.0 - 2.0 * bent)
    step = rng.uniform(0.0, 0.5)
    code = np.clip(code + step * rng.uniform(-0.5, 0.5, code.shape) / 255.0, 0.0, 1.0)
    scale = rng.uniform(0.4, 0.95) / max(white, 0.05)
    one_px = np.sqrt((spread * gain * scale) ** 2 @ (matrix**2).T)
    linear = srgb_to_linear(code)
    return Recorded(linear, np.maximum(one_px / np.sqrt(3.0), 0.002 * linear + 1e-4), bend)


FOURTH = Family(
    name="fourth",
    camera=camera,
    reef=reef_spectra,
    card=card_spectra,
    light=light_and_veil,
    record=record,
)
