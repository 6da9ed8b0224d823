"""
Spectral scenes for learning what a card cannot tell: waters, light, cameras, cards and reef.

Run by hand through ``tools/spectral_mismatch.py``; no part of the installed program. Everything
is drawn from a seeded generator. Band positions of pigments, the daylight table and the ranges
of camera filters are from memory of the general literature and marked so; the waters are Jerlov's
table (Marine Optics, 2nd ed. 1976, table XXVII); the colour matching functions are the analytic
fits of Wyman, Sloan & Shirley 2013 (J. Computer Graphics Techniques 2(2):1-11, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from light_beyond_card import HALF_DIAGONALS_M, reef_light
from numpy.typing import NDArray

from dryslate.core.colour.spaces import XYZ_TO_SRGB, linear_to_srgb, srgb_to_linear, xyz_to_lab

FloatArray = NDArray[np.float64]
N_PX = 900
N_REEF = 40
HALF_PX = 580.0
NM: FloatArray = np.arange(400.0, 701.0, 5.0)
WHITE = np.array([0.95047, 1.0, 1.08883])

# Relative power of CIE D65 each 10 nm from 400 nm, from memory.
D65_10NM = [
    82.75, 91.49, 93.43, 86.68, 104.86, 117.01, 117.81, 114.86, 115.92, 108.81, 109.35,
    107.80, 104.79, 107.69, 104.41, 104.05, 100.00, 96.33, 95.79, 88.69, 90.01, 89.60,
    87.70, 83.29, 83.70, 80.03, 80.21, 82.28, 78.28, 69.72, 71.61,
]  # fmt: skip
D65: FloatArray = np.interp(NM, np.arange(400.0, 701.0, 10.0), D65_10NM) / 100.0


def bell(centre: float, width: float) -> FloatArray:
    """Gaussian over the wavelengths, height 1."""
    return np.asarray(np.exp(-0.5 * ((NM - centre) / width) ** 2))


def edge(centre: float, width: float) -> FloatArray:
    """Sigmoid rising at `centre`."""
    return np.asarray(1.0 / (1.0 + np.exp(-(NM - centre) / width)))


def _lobe(centre: float, left: float, right: float) -> FloatArray:
    """Gaussian with two widths (Wyman et al. 2013, equation 4)."""
    return np.asarray(np.exp(-0.5 * ((NM - centre) / np.where(centre > NM, left, right)) ** 2))


CMF: FloatArray = np.stack(
    [
        1.056 * _lobe(599.8, 37.9, 31.0)
        + 0.362 * _lobe(442.0, 16.0, 26.7)
        - 0.065 * _lobe(501.1, 20.4, 26.2),
        0.821 * _lobe(568.8, 46.9, 40.5) + 0.286 * _lobe(530.9, 16.3, 31.1),
        1.217 * _lobe(437.0, 11.8, 36.0) + 0.681 * _lobe(459.0, 26.0, 13.8),
    ]
)
_WEIGHT = CMF * D65
TO_XYZ: FloatArray = _WEIGHT / _WEIGHT.sum(axis=1, keepdims=True) * WHITE[:, None]


def lab_of(reflectance: FloatArray) -> FloatArray:
    """Lab (D65) of reflectance spectra, shape (n, wavelengths)."""
    return xyz_to_lab(reflectance @ TO_XYZ.T)


# Absorption bands of reef pigments: (centre, width, height) each; positions from memory.
PIGMENTS: dict[str, list[tuple[float, float, float]]] = {
    "chlorophyll_a": [(418, 14, 0.7), (437, 12, 1.0), (618, 14, 0.18), (674, 10, 0.75)],
    "chlorophyll_c2": [(452, 13, 1.0), (585, 11, 0.12), (634, 10, 0.16)],
    "peridinin": [(472, 26, 0.8), (508, 28, 0.85), (540, 18, 0.35)],
    "diadinoxanthin": [(448, 14, 0.9), (478, 12, 0.85)],
    "phycoerythrin": [(497, 13, 0.75), (543, 14, 1.0), (568, 9, 1.05)],
    "phycocyanin": [(618, 22, 1.0), (580, 22, 0.4)],
    "allophycocyanin": [(652, 12, 1.0), (620, 20, 0.4)],
    "chromoprotein_purple": [(578, 20, 1.0), (540, 20, 0.45)],
    "chromoprotein_blue": [(592, 22, 1.0), (630, 16, 0.3)],
    "chromoprotein_pink": [(560, 17, 1.0), (520, 18, 0.4)],
    "carotenoid": [(430, 30, 0.8), (470, 22, 1.0), (500, 16, 0.75)],
    "fucoxanthin": [(460, 30, 0.8), (510, 28, 0.75)],
}
FLUORESCENCE: list[tuple[float, float]] = [(486, 13), (506, 12), (516, 13), (538, 12), (582, 14)]
KINDS: dict[str, dict[str, float]] = {
    "brown": {
        "chlorophyll_a": 0.5,
        "chlorophyll_c2": 0.35,
        "peridinin": 0.75,
        "diadinoxanthin": 0.3,
    },
    "green": {
        "chlorophyll_a": 0.7,
        "chlorophyll_c2": 0.3,
        "diadinoxanthin": 0.6,
        "carotenoid": 0.2,
    },
    "purple": {"chlorophyll_a": 0.3, "peridinin": 0.3, "chromoprotein_purple": 0.7},
    "blue": {"chlorophyll_a": 0.15, "peridinin": 0.1, "chromoprotein_blue": 0.9},
    "pink": {"chlorophyll_a": 0.1, "chromoprotein_pink": 0.8, "peridinin": 0.15},
    "crust": {"phycoerythrin": 0.7, "phycocyanin": 0.15, "chlorophyll_a": 0.25},
    "turf": {"chlorophyll_a": 0.9, "fucoxanthin": 0.7, "phycoerythrin": 0.35, "phycocyanin": 0.2},
    "pale": {"chlorophyll_a": 0.08, "peridinin": 0.12},
    "mat": {"chlorophyll_a": 0.6, "phycocyanin": 0.7, "phycoerythrin": 0.5, "carotenoid": 0.3},
}


def _spectrum_of(bands: list[tuple[float, float, float]], rng: np.random.Generator) -> FloatArray:
    """One pigment's absorption, each band moved and widened a little."""
    total = np.zeros_like(NM)
    for centre, width, height in bands:
        total += (
            height
            * rng.uniform(0.8, 1.2)
            * bell(centre + rng.normal(0, 3.0), width * rng.uniform(0.85, 1.3))
        )
    return total


def reef_spectrum(rng: np.random.Generator) -> FloatArray:
    """Reflectance of one thing on a reef."""
    kind = rng.choice([*KINDS, "sand", "sponge", "rock", "mixed"])
    tilt = rng.uniform(-0.1, 0.5)
    body = rng.uniform(0.25, 0.85) * (1.0 + tilt * (NM - 550.0) / 300.0)
    dim = rng.uniform(0.05, 1.2) * np.exp(-(NM - 400.0) / rng.uniform(70.0, 250.0))
    if kind in {"sand", "rock"}:
        body = body * (0.5 if kind == "rock" else 0.85)
        absorb = 0.8 * dim + rng.uniform(0, 0.3) * _spectrum_of(PIGMENTS["chlorophyll_a"], rng)
    elif kind == "sponge":
        centre = rng.uniform(480.0, 600.0)
        absorb = rng.uniform(0.8, 2.5) * (1.0 - edge(centre, rng.uniform(8.0, 25.0))) + 0.3 * dim
    else:
        parts = (
            KINDS[str(kind)]
            if kind != "mixed"
            else {
                str(name): rng.uniform(0.1, 0.7)
                for name in rng.choice(list(PIGMENTS), 3, replace=False)
            }
        )
        strength = rng.uniform(0.4, 2.6)
        absorb = 0.35 * dim
        for name, amount in parts.items():
            absorb = absorb + strength * amount * rng.uniform(0.5, 1.6) * _spectrum_of(
                PIGMENTS[name], rng
            )
    out = body * np.exp(-absorb) + rng.uniform(0.005, 0.03)
    if kind in {"green", "pale", "brown", "mixed"} and rng.random() < 0.25:
        centre, width = FLUORESCENCE[rng.integers(len(FLUORESCENCE))]
        out = out + rng.uniform(0.02, 0.18) * bell(centre, width * rng.uniform(0.9, 1.5))
    return np.asarray(np.clip(out, 0.004, 0.97))


def reef_spectra(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of `n` things on a reef, shape (n, wavelengths)."""
    return np.stack([reef_spectrum(rng) for _ in range(n)])


def ink_set(rng: np.random.Generator) -> FloatArray:
    """Absorption of the four to seven colourants a card is made of, shape (n, wavelengths)."""
    cyan = bell(625 + rng.normal(0, 12), rng.uniform(38, 60)) + 0.25 * edge(
        660 + rng.normal(0, 15), 12
    )
    magenta = bell(545 + rng.normal(0, 10), rng.uniform(22, 36)) + rng.uniform(0.1, 0.3) * bell(
        440, 30
    )
    yellow = 1.0 - edge(490 + rng.normal(0, 10), rng.uniform(8, 18))
    rows = [cyan, magenta, yellow]
    for centre, width in ((600, 25), (480, 25), (520, 40), (575, 18)):
        if rng.random() < 0.4:
            rows.append(bell(centre + rng.normal(0, 12), width * rng.uniform(0.7, 1.4)))
    return np.stack(rows)


def card_spectra(
    targets: FloatArray, greys_l: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Spectra of greys and colours near the wanted Lab, and which are greys."""
    inks = ink_set(rng)
    paper = rng.uniform(0.86, 0.95) * (1.0 - rng.uniform(0.0, 0.12) * (1.0 - edge(430, 12)))
    n = 3000
    amounts = rng.exponential(0.7, size=(n, len(inks))) * (rng.random((n, len(inks))) < 0.5)
    black = rng.exponential(0.3, size=(n, 1)) * (rng.random((n, 1)) < 0.6)
    pool = np.clip(paper * np.exp(-(amounts @ inks) - black), 0.02, 0.95) * 0.97 + 0.015
    labs = lab_of(pool)
    chosen = [int(np.argmin(((labs - t) ** 2).sum(axis=1))) for t in targets]
    greys = []
    for level in greys_l:
        y = ((level + 16.0) / 116.0) ** 3
        slope = 1.0 + rng.normal(0, 0.02) * (NM - 550.0) / 150.0
        bump = 1.0 + rng.normal(0, 0.012) * bell(rng.uniform(420, 680), rng.uniform(20, 60))
        greys.append(np.clip(y * slope * bump, 0.01, 0.95))
    spectra = np.vstack([np.stack(greys), pool[chosen]])
    return spectra, np.arange(len(spectra)) < len(greys)


@dataclass(frozen=True)
class Camera:
    """Sensitivities (3, wavelengths) and the camera's own daylight matrix."""

    sensitivity: FloatArray
    matrix: FloatArray


Lit = tuple[str, str, float, FloatArray, FloatArray]
"""Kind of light, water, depth in metres, light through the water, veil."""


@dataclass(frozen=True)
class Shot:
    """What reaches the sensor, and what is known of it: rows of card and reef, the veil."""

    camera: Camera
    raw: FloatArray
    raw_veil: FloatArray
    through: FloatArray
    veil: FloatArray
    card: slice
    reef: slice


@dataclass(frozen=True)
class Recorded:
    """What the file says, the spread of one pixel in it, and the strength of the style."""

    linear: FloatArray
    spread: FloatArray
    style: float


@dataclass(frozen=True)
class Family:
    """One way of drawing all parts of a scene; `record` takes all that the camera does."""

    name: str
    camera: Callable[[np.random.Generator], Camera]
    reef: Callable[[int, np.random.Generator], FloatArray]
    card: Callable[
        [FloatArray, FloatArray, np.random.Generator], tuple[FloatArray, NDArray[np.bool_]]
    ]
    light: Callable[[dict[str, FloatArray], np.random.Generator], Lit]
    develop: Callable[[FloatArray, np.random.Generator], tuple[FloatArray, float]] | None = None
    record: Callable[[Shot, np.random.Generator], Recorded] | None = None


def camera(rng: np.random.Generator) -> Camera:
    """Draw a camera: filters with side lobes, a cut towards infra-red, a daylight matrix."""
    red = bell(rng.uniform(590, 615), rng.uniform(24, 38)) + edge(600, 8) * rng.uniform(
        0.1, 0.45
    ) * bell(650, 35)
    red = red + rng.uniform(0.02, 0.12) * bell(440, 28) + rng.uniform(0.02, 0.12) * bell(530, 28)
    green = bell(rng.uniform(522, 542), rng.uniform(32, 44)) + rng.uniform(0.02, 0.12) * bell(
        620, 45
    )
    green = green + rng.uniform(0.02, 0.1) * bell(440, 30)
    blue = bell(rng.uniform(448, 468), rng.uniform(22, 32)) + rng.uniform(0.03, 0.14) * bell(
        525, 32
    )
    blue = blue + rng.uniform(0.0, 0.04) * bell(620, 50)
    cut = (1.0 - edge(rng.uniform(665, 700), rng.uniform(5, 12))) * edge(rng.uniform(400, 420), 6)
    rows = np.stack([red, green, blue]) * cut
    rows = rows / (rows * D65).sum(axis=1, keepdims=True)
    train = np.vstack([reef_spectra(30, rng), card_training(rng)])
    raw = train @ (rows * D65).T
    target = train @ TO_XYZ.T @ XYZ_TO_SRGB.T
    matrix = np.zeros((3, 3))
    for row in range(3):  # white kept: the row sums to one
        basis = raw[:, :2] - raw[:, 2:]
        first = np.linalg.lstsq(basis, target[:, row] - raw[:, 2], rcond=None)[0]
        matrix[row] = [first[0], first[1], 1.0 - first.sum()]
    return Camera(rows, matrix)


def card_training(rng: np.random.Generator) -> FloatArray:
    """Smooth random spectra that a camera maker would train with."""
    rows = []
    for _ in range(40):
        a, b = np.sort(rng.uniform(400, 700, 2))
        rows.append(
            0.05
            + rng.uniform(0.1, 0.8) * edge(a, rng.uniform(8, 30)) * (1 - edge(b + 60, 20))
            + 0.1
        )
    return np.clip(np.stack(rows), 0.02, 0.95)


@dataclass(frozen=True)
class Scene:
    """One made photo: what the camera file says of card and reef, and the truth."""

    card_linear: FloatArray
    card_cov: FloatArray
    card_lab: FloatArray
    is_grey: NDArray[np.bool_]
    reef_linear: FloatArray
    reef_even_linear: FloatArray
    reef_lab: FloatArray
    card_xy: FloatArray
    ground_linear: FloatArray
    ground_cov: FloatArray
    ground_xy: FloatArray
    reef_xy: FloatArray
    light: str
    water: str
    depth_m: float
    style: float
    log_shade: FloatArray


def _light_and_veil(waters: dict[str, FloatArray], rng: np.random.Generator) -> Lit:
    """Light on card and way to the camera folded into one spectrum, and the veil's spectrum."""
    water = str(rng.choice(list(waters)))
    kd = waters[water]
    depth = float(rng.uniform(1.0, 25.0))
    distance = float(rng.uniform(0.3, 1.5))
    scatter = rng.uniform(0.03, 0.35) * (550.0 / NM) ** rng.uniform(0.0, 1.0)
    beam = 0.75 * kd + scatter
    day = D65 * (1.0 + rng.normal(0, 0.1) * (NM - 550.0) / 150.0)
    down = day * np.exp(-kd * depth)
    kind = "flash" if rng.random() < 0.35 else "natural"
    if kind == "flash":
        lamp = D65 * (1.0 + rng.normal(-0.05, 0.1) * (NM - 550.0) / 150.0)
        lamp = lamp * np.exp(-beam * distance)
        ambient = down / down.max() * lamp.max() * rng.choice([0.0, 0.05, 0.2, 0.5])
        light = lamp + ambient
        back = down * rng.uniform(0.1, 0.4) / max(float(down.max()), 1e-9) * lamp.max()
    else:
        light, back = down, down * rng.uniform(0.15, 0.7)
    through = light * np.exp(-beam * distance)
    veil = back * scatter / (kd + beam) * (1.0 - np.exp(-beam * distance))
    return kind, water, depth, through, veil


def _white_balance(
    cam: Camera, through: FloatArray, veil: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Gains of the camera: fixed daylight, half automatic, or set on a white under water."""
    seen = cam.sensitivity @ (through * 0.3 + veil)
    wish = seen[1] / np.maximum(seen, 1e-12)
    wish = np.clip(wish, 0.4, rng.uniform(2.5, 8.0))
    power = rng.choice([0.0, 0.0, 0.4, 0.7, 1.0])
    return np.asarray(wish**power)


def style_curve(encoded: FloatArray, contrast: float, lift: float) -> FloatArray:
    """A camera's picture style: a sigmoid about the mid tones blended with the straight line."""
    k = 5.0
    low, high = 1 / (1 + np.exp(k * 0.5)), 1 / (1 + np.exp(-k * 0.5))
    sigmoid = (1 / (1 + np.exp(-k * (encoded - 0.5))) - low) / (high - low)
    bent = (1 - contrast) * encoded + contrast * sigmoid
    return np.asarray(np.clip(bent, 0.0, 1.0) ** lift)


def make_scene(
    waters: dict[str, FloatArray],
    targets: FloatArray,
    greys_l: FloatArray,
    rng: np.random.Generator,
    family: Family | None = None,
) -> Scene:
    """Draw one photo of a card and reef things in its plane, up to 2.5 half diagonals away."""
    family = FIRST if family is None else family
    cam = family.camera(rng)
    while True:
        kind, water, depth, through, veil = family.light(waters, rng)
        total = float((cam.sensitivity[1] * through).sum())
        if total > 2e-3:  # darker than this nobody takes a photo without a flash
            break
    spectra, is_grey = family.card(targets, greys_l, rng)
    ground = np.full((12, len(NM)), 0.25) * (1.0 + rng.normal(0, 0.02) * (NM - 550.0) / 150.0)
    reef = family.reef(N_REEF, rng)
    everything = np.vstack([spectra, ground, reef, reef])  # again, in the card's own light
    p = len(spectra)
    xy = np.vstack(
        [
            rng.uniform([-500, -330], [500, 330], size=(p + 12, 2)),
            _around(rng),
        ]
    )
    xy[[0, 7]] = [[-480, -300], [470, 310]]  # white twins far apart
    xy[[3, 4]] = [[-450, 290], [480, -310]]
    xy[[6, 8]] = [[-100, -320], [90, 315]]
    half_m = float(rng.choice(HALF_DIAGONALS_M[:2]))
    shade = reef_light(
        xy / HALF_PX * half_m + rng.uniform(-0.2, 0.2, 2), rng.uniform(0.4, 1.5), kind, rng
    )[:, None]
    shade = shade / np.exp(np.log(shade[: p + 12]).mean())
    shade = np.vstack([shade, np.ones((N_REEF, 1))])
    raw = everything @ (cam.sensitivity * through).T * shade + cam.sensitivity @ veil
    shot = Shot(
        cam, raw, cam.sensitivity @ veil, through, veil, slice(0, p), slice(p + 12, p + 12 + N_REEF)
    )
    recorded = _record(shot, family, rng) if family.record is None else family.record(shot, rng)
    seen, spread, contrast = recorded.linear, recorded.spread, recorded.style
    labs = lab_of(everything)
    cov = spread[:, :, None] ** 2 * np.eye(3)
    return Scene(
        card_linear=seen[:p],
        card_cov=cov[:p],
        card_lab=labs[:p],
        is_grey=is_grey,
        card_xy=xy[:p],
        ground_linear=seen[p : p + 12],
        ground_cov=cov[p : p + 12],
        ground_xy=xy[p : p + 12],
        reef_linear=seen[p + 12 : p + 12 + N_REEF],
        reef_even_linear=seen[p + 12 + N_REEF :],
        reef_lab=labs[p + 12 : p + 12 + N_REEF],
        reef_xy=xy[p + 12 :],
        light=kind,
        water=water,
        depth_m=depth,
        style=contrast,
        log_shade=np.log(shade[p + 12 : p + 12 + N_REEF, 0]),
    )


def _record(shot: Shot, family: Family, rng: np.random.Generator) -> Recorded:
    """Balance, matrix, style and noise of the first two families."""
    balanced = shot.raw * _white_balance(shot.camera, shot.through, shot.veil, rng)
    linear = balanced @ shot.camera.matrix.T
    white = linear[[0, 7]].max()
    linear = linear / white * rng.uniform(0.45, 0.95)
    develop = _develop if family.develop is None else family.develop
    file_linear, contrast = develop(linear, rng)
    noise = rng.uniform(0.004, 0.02)  # of one pixel, in code values of 0 to 1
    spread = noise * np.maximum(file_linear, 1e-4) ** (1 - 1 / 2.4) * 2.4 / 1.055 ** (1 / 2.4)
    seen = file_linear + rng.normal(size=file_linear.shape) * spread / np.sqrt(N_PX)
    seen = np.clip(seen + rng.normal(size=seen.shape) * 0.003 * seen, 0.0, 1.0)  # print, shading
    return Recorded(linear=seen, spread=spread, style=contrast)


def _around(rng: np.random.Generator) -> FloatArray:
    """Places of the reef things, spread evenly over a disc about the card."""
    radius = 2.5 * HALF_PX * np.sqrt(rng.random(N_REEF))
    angle = rng.uniform(0.0, 2.0 * np.pi, N_REEF)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _develop(linear: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Camera's picture style on linear sRGB: chroma, contrast, lift; back to file-linear."""
    styled = bool(rng.random() < 0.6)
    contrast = float(rng.uniform(0.05, 0.6)) if styled else 0.0
    if styled:
        chroma = rng.uniform(0.95, 1.25)
        grey = linear @ np.array([0.2126, 0.7152, 0.0722])
        linear = grey[:, None] + chroma * (linear - grey[:, None])
    encoded = linear_to_srgb(np.clip(linear, 0.0, 1.0))
    if styled:
        encoded = style_curve(encoded, contrast, rng.uniform(0.85, 1.15))
    return srgb_to_linear(encoded), contrast


FIRST = Family(
    name="first",
    camera=camera,
    reef=reef_spectra,
    card=card_spectra,
    light=_light_and_veil,
    develop=_develop,
)
