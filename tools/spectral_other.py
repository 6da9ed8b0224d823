"""
A second family of spectral scenes, parameterised otherwise, to test what is learnt from the first.

Tables that are fitted to one made world hold too well in that world. Here cameras have flat-topped
filters and a noisy matrix of their own, picture styles are powers with a sine on them, waters
carry extra dissolved matter and chlorophyll, and pigments and inks mix by Kubelka and Munk instead
of by Beer and Lambert. Band positions and ranges are from memory of the general literature.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from spectral_scenes import (
    D65,
    NM,
    TO_XYZ,
    Camera,
    Family,
    Lit,
    bell,
    card_training,
    edge,
    lab_of,
)

from dryslate.core.colour.spaces import XYZ_TO_SRGB, linear_to_srgb, srgb_to_linear

FloatArray = NDArray[np.float64]

# Scaled absorption bands of whole tissues: (centre, width, height).
TISSUES: list[list[tuple[float, float, float]]] = [
    [(440, 24, 1.0), (490, 36, 0.9), (545, 22, 0.25), (632, 16, 0.2), (675, 11, 0.7)],  # brown
    [(436, 20, 1.0), (468, 24, 0.7), (650, 14, 0.25), (676, 11, 0.8)],  # green
    [(500, 18, 0.7), (548, 20, 1.0), (570, 11, 0.8), (440, 20, 0.4), (675, 10, 0.2)],  # red crust
    [(575, 27, 1.0), (440, 22, 0.2)],  # violet
    [(600, 30, 1.0), (445, 18, 0.1), (675, 10, 0.1)],  # blue
    [(555, 24, 1.0), (520, 25, 0.5)],  # pink
    [(440, 45, 1.0), (485, 22, 0.9)],  # yellow
    [(435, 25, 0.4), (600, 90, 0.15)],  # sand, rock
]


def mix(absorbing: FloatArray, scattering: FloatArray | float) -> FloatArray:
    """Reflectance of an infinitely thick layer (Kubelka & Munk 1931)."""
    ratio = absorbing / scattering
    return np.asarray(1.0 + ratio - np.sqrt(ratio * ratio + 2.0 * ratio))


def reef_spectra(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of `n` things on a reef."""
    rows = []
    for _ in range(n):
        total = np.full_like(NM, rng.uniform(0.005, 0.12))
        n_tissues = int(rng.integers(1, 3))
        for kind in rng.choice(len(TISSUES), n_tissues, replace=False):
            strength = np.exp(rng.normal(-0.6, 0.9))
            for centre, width, height in TISSUES[kind]:
                total = total + strength * height * rng.uniform(0.6, 1.5) * bell(
                    centre + rng.normal(0, 4), width * rng.uniform(0.8, 1.3)
                )
        total = total + rng.uniform(0, 0.4) * np.exp(-(NM - 400) / rng.uniform(40, 120))
        out = mix(total, 1.0) * rng.uniform(0.6, 1.0) * (1.0 + 0.25 * edge(690, 6))
        if rng.random() < 0.12:
            glow = bell(rng.choice([490.0, 515.0, 575.0]), rng.uniform(11, 20))
            out = out + rng.uniform(0.02, 0.15) * glow
        rows.append(np.clip(out, 0.004, 0.97))
    return np.stack(rows)


def card_spectra(
    targets: FloatArray, greys_l: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Greys and colours near the wanted Lab from pigments that scatter too."""
    bands = [(430, 40), (480, 35), (530, 28), (560, 30), (590, 30), (630, 45), (665, 30)]
    colourants = np.stack(
        [bell(c + rng.normal(0, 10), w * rng.uniform(0.7, 1.3)) for c, w in bands]
        + [1.0 - edge(500 + rng.normal(0, 12), rng.uniform(6, 15))]
    )
    n = 3000
    amounts = rng.exponential(0.5, (n, len(colourants))) * (rng.random((n, len(colourants))) < 0.4)
    black = rng.exponential(0.15, (n, 1)) * (rng.random((n, 1)) < 0.6)
    base = rng.uniform(0.002, 0.01) * (1.0 + rng.uniform(0, 4) * (1 - edge(420, 10)))
    pool = np.clip(mix(amounts @ colourants + black + base, rng.uniform(0.5, 1.0)), 0.02, 0.95)
    labs = lab_of(pool)
    chosen = [int(np.argmin(((labs - t) ** 2).sum(axis=1))) for t in targets]
    y = ((greys_l[:, None] + 16.0) / 116.0) ** 3
    bend = 1.0 + 0.015 * rng.normal(size=(len(y), 3)) @ np.stack(
        [np.sin((NM - 400) / 300 * np.pi * k) for k in (1, 2, 3)]
    )
    spectra = np.vstack([np.clip(y * bend, 0.01, 0.95), pool[chosen]])
    return spectra, np.arange(len(spectra)) < len(y)


def _filter(centre: float, half: float, softness: float) -> FloatArray:
    """A flat-topped pass band."""
    return np.asarray(edge(centre - half, softness) * (1.0 - edge(centre + half, softness)))


def camera(rng: np.random.Generator) -> Camera:
    """Draw a camera with flat-topped filters over a silicon slope, and a noisy matrix."""
    red = _filter(rng.uniform(608, 632), rng.uniform(30, 48), rng.uniform(7, 13))
    green = _filter(rng.uniform(526, 544), rng.uniform(32, 46), rng.uniform(9, 15))
    blue = _filter(rng.uniform(452, 470), rng.uniform(24, 36), rng.uniform(8, 14))
    rows = np.stack([red, green, blue])
    leak = rng.uniform(0.0, 0.12, (3, 3)) * (1 - np.eye(3))
    rows = (rows + leak @ rows) * (0.6 + 0.4 * (NM - 400) / 300)
    rows = rows * (1.0 - edge(rng.uniform(660, 690), 8)) * edge(rng.uniform(405, 425), 5)
    rows = rows / (rows * D65).sum(axis=1, keepdims=True)
    train = card_training(rng)
    raw, target = train @ (rows * D65).T, train @ TO_XYZ.T @ XYZ_TO_SRGB.T
    normal = raw.T @ raw + 0.02 * np.eye(3)
    matrix = np.linalg.solve(normal, raw.T @ target + 0.02 * np.eye(3)).T
    matrix = matrix + rng.normal(0, 0.04, (3, 3))
    return Camera(rows, matrix / matrix.sum(axis=1, keepdims=True))


def light_and_veil(waters: dict[str, FloatArray], rng: np.random.Generator) -> Lit:
    """Light and veil in a mixture of two waters with dissolved matter and chlorophyll added."""
    names = list(rng.choice(list(waters), 2, replace=False))
    share = rng.uniform()
    kd = waters[names[0]] ** share * waters[names[1]] ** (1 - share)
    kd = kd + rng.exponential(0.03) * np.exp(-0.016 * (NM - 440))
    kd = kd + rng.exponential(0.02) * (bell(440, 25) + 0.5 * bell(675, 12))
    depth = float(rng.gamma(2.5, 4.0)) + 0.5
    distance = float(rng.uniform(0.3, 1.5))
    scatter = rng.uniform(0.02, 0.3) * (550.0 / NM) ** rng.uniform(-0.3, 1.5)
    beam = 0.7 * kd + scatter
    day = D65 * (NM / 550.0) ** rng.normal(0, 0.4)
    down = day * np.exp(-kd * depth * rng.uniform(1.0, 1.2))
    kind = "flash" if rng.random() < 0.35 else "natural"
    light, back = down, down * rng.uniform(0.1, 0.6)
    if kind == "flash":
        lamp = (NM / 550.0) ** rng.normal(-0.2, 0.6) * np.exp(-beam * distance)
        lamp = lamp * (1.0 - rng.uniform(0, 0.35) * bell(480, 15))  # the gap of white diodes
        own = rng.choice([0.0, 0.1, 0.3])
        light = lamp + own * down / down.max() * lamp.max()
        back = (own * down / down.max() + 0.15 * lamp) * rng.uniform(0.1, 0.4) * lamp.max()
    through = light * np.exp(-beam * distance)
    veil = back * scatter / (scatter + beam + kd) * (1.0 - np.exp(-(beam + kd) * distance))
    return kind, str(names[0]), depth, through, veil


def develop(linear: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Picture style: chroma about the green-weighted grey, a power, and a sine on the code."""
    if rng.random() < 0.35:
        return srgb_to_linear(linear_to_srgb(np.clip(linear, 0.0, 1.0))), 0.0
    grey = linear @ np.array([0.25, 0.6, 0.15])
    linear = grey[:, None] + rng.uniform(0.9, 1.3) * (linear - grey[:, None])
    y = np.clip(linear_to_srgb(np.clip(linear, 0.0, 1.0)), 0.0, 1.0)
    contrast = float(rng.uniform(0.0, 0.09))
    y = np.clip(y ** rng.uniform(0.85, 1.15), 0.0, 1.0)
    y = y - contrast * np.sin(2.0 * np.pi * y)
    return srgb_to_linear(np.clip(y, 0.0, 1.0)), contrast


OTHER = Family(
    name="other",
    camera=camera,
    reef=reef_spectra,
    card=card_spectra,
    light=light_and_veil,
    develop=develop,
)
