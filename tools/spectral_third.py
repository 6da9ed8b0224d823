"""
A third family of spectral scenes: bio-optical waters, full automatic white balance, real paints.

Parameterised apart from the first two: water from chlorophyll, dissolved and mineral matter;
sensitivities that wander about typical shapes as a Gaussian process; white balance found on the
raw scene and applied before the camera's matrix, clipping at both ends, shot noise before it;
chroma, hue twists and a free tone curve as picture style; cards of 12 to 24 colours drawn at random
from paints with titanium white and black; reef spectra from smooth shapes of the log reflectance
with narrow pigment features on them. Numbers are from memory of the general literature: pure water
Pope & Fry 1997 (Applied Optics 36(33):8710-8723); scattering by chlorophyll Gordon & Morel 1983;
diffuse attenuation Kirk 1984 (Limnology & Oceanography 29(2):350-356); paints Kubelka & Munk 1931
with Saunderson 1942; peaks of brown corals after Hochberg, Atkinson & Andrefouet 2003 (Remote
Sensing of Environment 85:159-173). Ranges are judgements.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from spectral_scenes import (
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

from dryslate.core.colour.spaces import XYZ_TO_SRGB, linear_to_srgb, srgb_to_linear

FloatArray = NDArray[np.float64]

# Absorption of pure water per metre each 10 nm from 400 nm.
WATER_10NM = [
    0.0066, 0.0047, 0.0045, 0.0050, 0.0064, 0.0092, 0.0098, 0.0106, 0.0127, 0.0150, 0.0204,
    0.0325, 0.0409, 0.0434, 0.0474, 0.0565, 0.0619, 0.0695, 0.0896, 0.1351, 0.2224, 0.2644,
    0.2755, 0.2916, 0.3108, 0.3400, 0.4100, 0.4390, 0.4650, 0.5160, 0.6240,
]  # fmt: skip
WATER_A: FloatArray = np.interp(NM, np.arange(400.0, 701.0, 10.0), WATER_10NM)
WATER_B: FloatArray = 0.0019 * (550.0 / NM) ** 4.3


def wander(n: int, length_nm: float, rng: np.random.Generator) -> FloatArray:
    """Draw smooth curves of unit variance over the wavelengths, shape (n, wavelengths)."""
    away = (NM[:, None] - NM[None, :]) / length_nm
    root = np.linalg.cholesky(np.exp(-0.5 * away * away) + 1e-6 * np.eye(len(NM)))
    return np.asarray(rng.normal(size=(n, len(NM))) @ root.T)


def light_and_veil(_waters: dict[str, FloatArray], rng: np.random.Generator) -> Lit:
    """Light and veil from chlorophyll, dissolved and mineral matter."""
    chlorophyll = float(np.exp(rng.uniform(np.log(0.05), np.log(3.0))))
    dissolved = float(np.exp(rng.uniform(np.log(0.005), np.log(0.25))))
    mineral = float(np.exp(rng.uniform(np.log(0.02), np.log(2.0))))
    absorbed = 0.05 * chlorophyll**0.65 * (bell(440, 32) + 0.3 * bell(490, 25))
    absorbed += 0.05 * chlorophyll**0.65 * rng.uniform(0.25, 0.5) * bell(676, 11)
    absorbed += dissolved * np.exp(-rng.uniform(0.012, 0.019) * (NM - 440.0))
    absorbed += 0.03 * mineral * np.exp(-0.011 * (NM - 440.0)) + WATER_A
    by_cells = 0.30 * chlorophyll**0.62 * (550.0 / NM) ** rng.uniform(0.3, 1.2)
    by_mineral = 0.4 * mineral * (550.0 / NM) ** rng.uniform(0.0, 0.8)
    scattered = WATER_B + by_cells + by_mineral
    back = 0.5 * WATER_B + rng.uniform(0.005, 0.015) * by_cells + 0.018 * by_mineral
    mu = rng.uniform(0.75, 0.95)
    kd = np.sqrt(absorbed**2 + (0.425 * mu - 0.19) * absorbed * scattered) / mu
    depth = float(np.exp(rng.uniform(np.log(2.0), np.log(30.0))))
    distance = float(np.exp(rng.uniform(np.log(0.3), np.log(1.6))))
    beam = absorbed + rng.uniform(0.1, 0.5) * scattered  # most scattering is nearly straight on
    sky = D65 * np.exp(rng.normal(0.0, 0.15) * (550.0 - NM) / 150.0)
    down = sky * np.exp(-kd * depth)
    way = np.exp(-beam * distance)
    path = back * rng.uniform(1.0, 6.0) / beam * (1.0 - way)
    if rng.random() < 0.3:
        lamp = np.exp(wander(1, 90.0, rng)[0] * 0.25) * (1.0 - rng.uniform(0, 0.4) * bell(478, 16))
        lamp = lamp * way / lamp.mean()
        share = float(rng.choice([0.0, 0.05, 0.2, 0.6])) / float(down.max())
        light = lamp + share * down
        veil = path * (share * down + rng.uniform(0.05, 0.3) * lamp)
        return "flash", "bio-optical", depth, light * way, veil
    return "natural", "bio-optical", depth, down * way, path * down


def training(n: int, rng: np.random.Generator) -> FloatArray:
    """Smooth random reflectances that a maker trains a matrix with."""
    depth = rng.uniform(0.5, 2.2, (n, 1))
    return np.asarray(0.02 + 0.93 / (1.0 + np.exp(-depth * wander(n, 55.0, rng) + 0.6)))


def camera(rng: np.random.Generator) -> Camera:
    """Draw a camera: typical shapes with smooth wanderings, leaks and an infra-red cut."""
    shapes = np.stack(
        [
            np.exp(-(np.abs((NM - rng.normal(600, 7)) / rng.uniform(38, 50)) ** 2.4))
            + rng.uniform(0.0, 0.2) * bell(540, 25),
            np.exp(-(np.abs((NM - rng.normal(534, 6)) / rng.uniform(46, 58)) ** 2.2)),
            np.exp(-(np.abs((NM - rng.normal(458, 6)) / rng.uniform(32, 44)) ** 2.2)),
        ]
    )
    shapes = shapes * np.exp(0.18 * wander(3, 30.0, rng))
    shapes = shapes + 0.03 * np.exp(0.7 * wander(3, 45.0, rng))
    cut = 1.0 - edge(rng.uniform(635, 695), rng.uniform(5, 16))
    rows = shapes * cut * edge(rng.uniform(395, 425), rng.uniform(4, 9))
    rows = rows / (rows * D65).sum(axis=1, keepdims=True)
    train = training(int(rng.integers(24, 120)), rng)
    raw, target = train @ (rows * D65).T, train @ TO_XYZ.T @ XYZ_TO_SRGB.T
    weight = 1.0 / (0.1 + raw[:, 1:2]) ** rng.uniform(0.0, 1.0)
    basis, rest = raw[:, :2] - raw[:, 2:], target - raw[:, 2:]
    first = np.linalg.lstsq(basis * weight, rest * weight, rcond=None)[0].T
    matrix = np.column_stack([first, 1.0 - first.sum(axis=1)])
    return Camera(rows, matrix)


# Absorption of paints: (bands, edge that absorbs below it or 0, its softness, scattering).
PAINTS: list[tuple[list[tuple[float, float, float]], float, float, float]] = [
    ([(620, 45, 8.0), (690, 40, 7.0)], 0, 1, 0.05),  # green-blue, strong
    ([(640, 50, 8.0), (440, 30, 5.0), (400, 40, 4.0)], 0, 1, 0.05),  # green, strong
    ([(595, 38, 6.0), (550, 30, 2.0)], 0, 1, 0.2),  # deep blue
    ([(540, 28, 2.5), (600, 35, 3.0), (645, 25, 2.0)], 0, 1, 0.4),  # mid blue
    ([(525, 24, 6.0), (562, 14, 5.0)], 0, 1, 0.05),  # rose
    ([], 585, 9, 0.3),  # red with a sharp edge
    ([(480, 60, 2.0), (860, 110, 0.6)], 555, 16, 0.5),  # red earth
    ([(660, 60, 0.5)], 510, 17, 0.5),  # yellow earth
    ([], 495, 7, 0.5),  # bright yellow
    ([], 545, 8, 0.4),  # orange
    ([(460, 35, 2.0), (600, 45, 1.6)], 0, 1, 0.6),  # dull green
    ([(500, 120, 2.0)], 560, 40, 0.4),  # brown earth
    ([(570, 35, 6.0), (620, 30, 3.0)], 0, 1, 0.05),  # violet
]


def _paint_pool(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of mixtures of one to three paints with white and black."""
    absorb, scatter = [], []
    for bands, limit, softness, own in PAINTS:
        total = np.full_like(NM, 0.03)
        for centre, width, height in bands:
            total += height * bell(centre + rng.normal(0, 5), width * rng.uniform(0.85, 1.2))
        if limit:
            where = limit + rng.normal(0, 6)
            total += rng.uniform(5, 9) * (1.0 - edge(where, softness * rng.uniform(0.8, 1.3)))
        absorb.append(total)
        scatter.append(np.full_like(NM, own))
    white = 0.004 + 0.8 * (1.0 - edge(404, 4))
    part = rng.exponential(1.0, (n, len(PAINTS)))
    for row in part:
        row[rng.permutation(len(PAINTS))[int(rng.integers(1, 4)) :]] = 0.0
    part = part / part.sum(axis=1, keepdims=True)
    whites = rng.beta(0.8, 0.7, (n, 1))
    blacks = np.where(rng.random((n, 1)) < 0.5, rng.beta(0.6, 12.0, (n, 1)), 0.0)
    tint = (1.0 - whites) * part * rng.uniform(0.15, 1.0, (n, 1))
    k = tint @ np.stack(absorb) + whites * white + 12.0 * blacks
    s = tint @ np.stack(scatter) + whites * 1.0 + 0.02
    ratio = k / s
    inner = 1.0 + ratio - np.sqrt(ratio * ratio + 2.0 * ratio)
    skin, back = rng.uniform(0.0, 0.03), 0.45
    return np.asarray(np.clip(skin + (1 - skin) * (1 - back) * inner / (1 - back * inner), 0.01, 1))


def card_spectra(
    targets: FloatArray, greys_l: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Greys, and 12 to 24 paints: half near the wanted Lab, half at random and well apart."""
    pool = _paint_pool(2500, rng)
    labs = lab_of(pool)
    n = int(rng.integers(12, 25))
    n_wanted = min(int(rng.integers(0, n)), len(targets))
    wanted = targets[rng.permutation(len(targets))[:n_wanted]]
    chosen = [int(np.argmin(((labs - t) ** 2).sum(axis=1))) for t in wanted]
    while len(chosen) < n:
        some = rng.integers(len(pool), size=12)
        if not chosen or rng.random() < 0.15:  # a pair that matches in colour, not in spectrum
            near = int(rng.choice(chosen)) if chosen else int(some[0])
            apart = ((labs - labs[near]) ** 2).sum(axis=1)
            alike = np.argsort(apart)[1:15]
            gap = ((pool[alike] - pool[near]) ** 2).sum(axis=1)
            chosen.append(int(alike[np.argmax(gap)]))
            continue
        far = ((labs[some, None] - labs[chosen][None]) ** 2).sum(axis=2).min(axis=1)
        chosen.append(int(some[np.argmax(far)]))
    y = ((greys_l[:, None] + 16.0) / 116.0) ** 3
    uneven = 1.0 + 0.015 * wander(len(y), 70.0, rng) - 0.08 * (1.0 - edge(410, 6))
    return np.vstack([np.clip(y * uneven, 0.01, 0.97), pool[chosen]]), np.arange(n + len(y)) < len(
        y
    )


# Dips in the log reflectance: (centre, width, depth); shapes of whole groups with their share.
DIPS: dict[str, list[tuple[float, float, float]]] = {
    "brown": [(440, 40, 0.7), (495, 35, 0.8), (540, 22, 0.25), (588, 8, 0.1), (630, 14, 0.22),
              (674, 11, 0.75)],
    "green": [(435, 30, 1.1), (475, 25, 1.0), (600, 40, 0.25), (650, 13, 0.4), (676, 12, 0.9)],
    "red": [(440, 35, 0.7), (496, 15, 0.7), (543, 17, 0.9), (567, 10, 0.85), (620, 16, 0.2),
            (676, 12, 0.5)],
    "purple": [(440, 30, 0.3), (560, 40, 0.9), (590, 18, 0.4), (675, 12, 0.4)],
    "blue": [(590, 32, 1.0), (620, 25, 0.5), (674, 11, 0.3)],
    "mat": [(435, 30, 0.9), (490, 30, 0.4), (565, 15, 0.5), (622, 18, 0.8), (677, 11, 0.8)],
    "white": [(430, 50, 0.12), (490, 40, 0.08), (675, 11, 0.08)],
    "sand": [(420, 60, 0.3), (675, 10, 0.1)],
}  # fmt: skip
SHARES = {"brown": 0.26, "green": 0.12, "red": 0.14, "purple": 0.07, "blue": 0.05, "mat": 0.06,
          "white": 0.1, "sand": 0.08, "sponge": 0.12}  # fmt: skip


def reef_spectra(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of `n` things on a reef."""
    rows = []
    shapes = wander(n, 80.0, rng)
    for i, kind in enumerate(rng.choice(list(SHARES), n, p=list(SHARES.values()))):
        slope = rng.normal(0.15, 0.15)
        level = np.log(
            rng.uniform(0.45, 0.85) if kind in {"white", "sand"} else rng.uniform(0.12, 0.6)
        )
        log_r = level + slope * (NM - 560.0) / 150.0 + rng.uniform(0.03, 0.18) * shapes[i]
        if kind == "sponge":
            ends = rng.uniform(470, 610)
            log_r -= rng.uniform(0.8, 2.8) * (1.0 - edge(ends, rng.uniform(9, 28)))
            if rng.random() < 0.3:  # blue and violet ones: the other way round
                log_r -= rng.uniform(0.5, 1.5) * edge(rng.uniform(500, 560), 20) * bell(590, 60)
        else:
            strength = np.exp(rng.normal(0.0, 0.45))
            for centre, width, height in DIPS[str(kind)]:
                log_r -= (
                    strength * height * rng.uniform(0.6, 1.4)
                    * bell(centre + rng.normal(0, 4), width * rng.uniform(0.8, 1.25))
                )  # fmt: skip
        if kind == "brown" and rng.random() < 0.6:
            for centre in (575.0, 605.0, 650.0):
                log_r += rng.uniform(0.03, 0.25) * bell(centre, 9)
        out = np.exp(log_r)
        if kind in {"brown", "green", "white", "purple"} and rng.random() < 0.2:
            glow = rng.choice([487.0, 505.0, 518.0, 540.0, 582.0, 610.0]) + rng.normal(0, 3)
            out = out + rng.uniform(0.03, 0.2) * (bell(glow, 10) + 0.35 * bell(glow + 22, 16))
        rows.append(np.clip(out, 0.005, 0.97))
    return np.stack(rows)


def _tone(code: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Apply a free rising tone curve from (0, 0) to (1, 1) to code values; how far it bends."""
    at = np.linspace(0.0, 1.0, 41)
    slope = 0.35 * np.sin(np.pi * at) * rng.uniform(-0.2, 1.0)
    slope = (
        slope
        + rng.normal(0, 0.12) * np.cos(np.pi * at)
        + rng.normal(0, 0.08) * np.cos(2 * np.pi * at)
    )
    steps = np.exp(slope)
    curve = np.concatenate([[0.0], np.cumsum(0.5 * (steps[1:] + steps[:-1]))])
    return np.interp(code, at, curve / curve[-1]), float(np.abs(curve / curve[-1] - at).max())


def _style(linear: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Picture style on clipped linear sRGB: tone, chroma and twists by hue; code values."""
    code = linear_to_srgb(np.clip(linear, 0.0, 1.0))
    if rng.random() < 0.25:
        return code, 0.0
    code, bend = _tone(code, rng)
    luma = code @ np.array([0.299, 0.587, 0.114])
    cb, cr = (code[:, 2] - luma) / 1.772, (code[:, 0] - luma) / 1.402
    hue, size = np.arctan2(cr, cb), np.hypot(cb, cr)
    phases = rng.uniform(0, 2 * np.pi, 3)
    turn = np.deg2rad(rng.uniform(0, 6)) * np.sin(hue + phases[0])
    turn = turn + np.deg2rad(rng.uniform(0, 4)) * np.sin(2 * hue + phases[1])
    size = size * rng.uniform(0.95, 1.35) * (1.0 + rng.uniform(0, 0.12) * np.sin(hue + phases[2]))
    cb, cr = size * np.cos(hue + turn), size * np.sin(hue + turn)
    red, blue = luma + 1.402 * cr, luma + 1.772 * cb
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    return np.clip(np.stack([red, green, blue], axis=1), 0.0, 1.0), bend


def _gains(shot: Shot, rng: np.random.Generator) -> FloatArray:
    """Gains of the white balance on the raw scene: grey world, white patch, both, or daylight."""
    kind = rng.random()
    if kind < 0.15:
        return np.ones(3)
    n_water = int(rng.integers(0, 80))
    water = shot.raw_veil * rng.uniform(1.0, 5.0)
    frame = np.vstack([shot.raw[shot.reef], shot.raw[shot.card], np.tile(water, (n_water, 1))])
    world, patch = frame.mean(axis=0), np.quantile(frame, 0.95, axis=0)
    share = float(rng.choice([0.0, 0.5, 1.0]))
    grey = np.exp(share * np.log(world) + (1 - share) * np.log(patch))
    if kind > 0.8:  # set by hand on something white
        grey = shot.raw[shot.card][0]
    gain = (grey[1] / np.maximum(grey, 1e-9)) ** (1.0 if kind > 0.4 else rng.uniform(0.5, 1.0))
    most = float(np.exp(rng.uniform(np.log(2.5), np.log(20.0))))
    return np.asarray(np.clip(gain, 1.0 / most, most))


def uneven(n: int, rng: np.random.Generator) -> FloatArray:
    """Small unevenness of print and shading: mostly the same in all channels."""
    return 1.0 + 0.003 * rng.normal(size=(n, 1)) + 0.001 * rng.normal(size=(n, 3))


def record(shot: Shot, rng: np.random.Generator) -> Recorded:
    """Sensor, white balance, matrix, clipping, picture style and eight bits of a camera."""
    top = np.quantile(shot.raw[:, 1], 0.97) / rng.uniform(0.35, 0.9)
    raw = shot.raw / top
    electrons = float(np.exp(rng.uniform(np.log(800.0), np.log(20000.0))))
    read = rng.uniform(0.0005, 0.003)
    spread = np.sqrt(np.maximum(raw, 0.0) / electrons + read**2)
    n_free = N_PX / rng.uniform(2.0, 12.0)  # neighbours share noise after denoising
    seen = raw + rng.normal(size=raw.shape) * spread / np.sqrt(n_free)
    seen = seen * uneven(len(seen), rng)
    gain = _gains(shot, rng)
    seen = np.minimum(np.maximum(seen, 0.0) * gain, 1.0)
    linear = seen @ shot.camera.matrix.T
    expose = float(np.exp(rng.normal(0.0, 0.15)))
    expose = min(expose, rng.uniform(0.9, 1.05) / max(float(linear[shot.card][[0, 7]].max()), 0.2))
    code, bend = _style(linear * expose, rng)
    step = rng.uniform(0.0, 0.6)  # what is left of rounding where there is little noise
    code = np.clip(code + step * rng.uniform(-0.5, 0.5, code.shape) / 255.0, 0.0, 1.0)
    file_linear = srgb_to_linear(code)
    one_px = np.sqrt((spread * gain * expose) ** 2 @ (shot.camera.matrix**2).T)
    one_px = np.maximum(one_px / np.sqrt(3.0), 0.002 * file_linear + 1e-4)
    return Recorded(linear=file_linear, spread=one_px, style=bend)


THIRD = Family(
    name="third",
    camera=camera,
    reef=reef_spectra,
    card=card_spectra,
    light=light_and_veil,
    record=record,
)
