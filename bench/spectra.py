"""
Spectra for the colour benchmark: reef, card pigments, cameras and waters of its own.

Nothing here is shared with the demo's materials or with the simulation behind the program's own
tables: shapes are drawn anew from published band places (named beside each), strengths from wide
ranges. Only facts are shared: daylight, the observer, water's attenuation tables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from dryslate.demo.spectra import (
    WAVELENGTHS_NM,
    daylight,
    lab_of,
    linear_srgb_of,
    planck,
    xyz_of,
)
from dryslate.demo.water import jerlov_kd, pure_water_absorption

FloatArray = NDArray[np.float64]
NM = WAVELENGTHS_NM
VERSION = 1


def hump(centre: float, left: float, right: float | None = None) -> FloatArray:
    """A bell with two widths."""
    width = np.where(centre > NM, left, left if right is None else right)
    return np.exp(-0.5 * ((NM - centre) / width) ** 2)


def rise(at: float, width: float) -> FloatArray:
    """A smooth step from 0 to 1."""
    return 0.5 * (1.0 + np.tanh((NM - at) / (2.0 * width)))


def tilted(rng: np.random.Generator, level: float, slope: float) -> FloatArray:
    """A nearly flat spectrum with a slope and a bow."""
    x = (NM - 550.0) / 150.0
    return level * (1.0 + slope * x + rng.normal(0.0, 0.03) * (x**2 - 0.33))


# ---------------------------------------------------------------- things of the reef


def algae_in_tissue(rng: np.random.Generator) -> FloatArray:
    """
    Absorption of symbiotic algae, 1 at its highest.

    Band places: chlorophyll a 435 and 675 nm, chlorophyll c2 450, 585 and 635, peridinin 480 to
    545, diadinoxanthin 490 (Jeffrey, Mantoura & Wright 1997; from memory).
    """
    parts = (
        rng.uniform(0.7, 1.0) * hump(435.0, 26.0, 20.0)
        + rng.uniform(0.4, 0.8) * hump(455.0, 18.0)
        + rng.uniform(0.5, 1.0) * hump(485.0, 26.0, 34.0)
        + rng.uniform(0.15, 0.45) * hump(535.0, 22.0)
        + rng.uniform(0.05, 0.18) * hump(585.0, 12.0)
        + rng.uniform(0.08, 0.22) * hump(634.0, 12.0)
        + rng.uniform(0.45, 0.85) * hump(674.0, 15.0, 11.0)
    )
    return parts / parts.max()


def coral(rng: np.random.Generator) -> FloatArray:
    """Living coral, brown to colourful: algae, host pigments, glow, over skeleton."""
    skeleton = tilted(rng, rng.uniform(0.45, 0.8), rng.uniform(0.0, 0.25))
    density = rng.uniform(0.5, 2.6)
    absorbed = density * (algae_in_tissue(rng) + rng.uniform(0.1, 0.5))
    if rng.random() < 0.45:  # non-fluorescent chromoproteins, 560 to 610 nm
        absorbed += rng.uniform(0.3, 1.6) * hump(rng.uniform(558.0, 608.0), 32.0, 18.0)
    spectrum = skeleton * np.exp(-absorbed)
    if rng.random() < 0.4:  # cyan, green and red fluorescent proteins
        at = rng.choice([486.0, 508.0, 518.0, 585.0])
        spectrum = spectrum + rng.uniform(0.02, 0.18) * hump(at, 9.0, 19.0)
    return np.clip(spectrum, 0.006, 0.95)


def pale_coral(rng: np.random.Generator) -> FloatArray:
    """Bleached or pale: little algae left, sometimes the host's own colours laid bare."""
    skeleton = tilted(rng, rng.uniform(0.55, 0.85), rng.uniform(0.0, 0.2))
    absorbed = rng.uniform(0.0, 0.45) * (algae_in_tissue(rng) + 0.1)
    if rng.random() < 0.4:
        absorbed += rng.uniform(0.1, 0.9) * hump(rng.uniform(565.0, 600.0), 30.0, 18.0)
    glow = rng.uniform(0.0, 0.15) * hump(rng.choice([486.0, 510.0]), 10.0, 20.0)
    return np.clip(skeleton * np.exp(-absorbed) + glow, 0.02, 0.97)


def green_weed(rng: np.random.Generator) -> FloatArray:
    """Green algae: chlorophylls a and b leave a window near 555 nm."""
    absorbed = (
        1.4 * hump(440.0, 30.0) + 1.2 * hump(475.0, 22.0) + 0.5 * hump(600.0, 28.0)
        + 0.9 * hump(650.0, 14.0) + 1.3 * hump(676.0, 13.0) + 0.5
    )  # fmt: skip
    return np.clip(rng.uniform(0.2, 0.55) * np.exp(-rng.uniform(0.7, 1.6) * absorbed), 0.01, 0.9)


def brown_weed(rng: np.random.Generator) -> FloatArray:
    """Brown algae: fucoxanthin shoulders to 560 nm."""
    absorbed = (
        1.4 * hump(440.0, 32.0) + 1.2 * hump(490.0, 30.0) + 0.9 * hump(535.0, 22.0)
        + 0.3 * hump(590.0, 14.0) + 0.3 * hump(632.0, 13.0) + 1.1 * hump(676.0, 14.0) + 0.7
    )  # fmt: skip
    return np.clip(rng.uniform(0.2, 0.5) * np.exp(-rng.uniform(0.8, 1.6) * absorbed), 0.01, 0.9)


def pink_crust(rng: np.random.Generator) -> FloatArray:
    """Coralline algae: phycoerythrin 498, 545 and 566 nm, phycocyanin 620."""
    absorbed = (
        0.9 * hump(437.0, 28.0) + 1.0 * hump(498.0, 16.0) + 1.0 * hump(547.0, 16.0)
        + 0.8 * hump(567.0, 11.0) + 0.35 * hump(620.0, 16.0) + 0.6 * hump(676.0, 14.0) + 0.15
    )  # fmt: skip
    return np.clip(rng.uniform(0.35, 0.75) * np.exp(-rng.uniform(0.4, 1.2) * absorbed), 0.01, 0.9)


def sponge(rng: np.random.Generator) -> FloatArray:
    """Sponges and soft corals: carotenoid edges from yellow to red, or violet."""
    if rng.random() < 0.25:
        body = 0.05 + rng.uniform(0.1, 0.3) * (hump(430.0, 40.0) + 0.8 * rise(640.0, 14.0))
    else:
        edge = rng.uniform(495.0, 610.0)
        body = rng.uniform(0.02, 0.06) + rng.uniform(0.2, 0.6) * rise(edge, rng.uniform(7.0, 16.0))
    return np.clip(body, 0.01, 0.95)


def bottom(rng: np.random.Generator) -> FloatArray:
    """Sand, rubble, rock with a film of algae."""
    grain = tilted(rng, rng.uniform(0.15, 0.55), rng.uniform(0.05, 0.35))
    return np.clip(grain * np.exp(-rng.uniform(0.0, 0.7) * algae_in_tissue(rng)), 0.01, 0.9)


KINDS = (
    (coral, 0.48),
    (pale_coral, 0.14),
    (green_weed, 0.06),
    (brown_weed, 0.07),
    (pink_crust, 0.08),
    (sponge, 0.09),
    (bottom, 0.08),
)


def reef_spectrum(rng: np.random.Generator) -> FloatArray:
    """One thing that grows or lies on a reef."""
    shares = np.array([share for _, share in KINDS])
    return KINDS[int(rng.choice(len(KINDS), p=shares / shares.sum()))][0](rng)


# ---------------------------------------------------------------- the card


def card_spectrum(
    lab: tuple[float, float, float], rng: np.random.Generator, is_neutral: bool
) -> FloatArray:
    """
    A paint near a colour; its true colour is computed from it, so it need not meet the aim.

    Four absorbers (yellow, red, blue, black) in a white, Beer's law; band places differ from
    print to print. Greys: carbon in white, with a slight slope and the white's fall below 415 nm.
    """
    white = 0.97 * (1.0 - 0.5 * (1.0 - rise(402.0, 4.0)))
    if is_neutral:
        level = max(((lab[0] + 16.0) / 116.0) ** 3, 0.01)
        return np.clip(tilted(rng, level, rng.normal(0.0, 0.02)) * white / 0.97, 0.005, 0.99)
    yellow = 1.0 - rise(rng.uniform(485.0, 505.0), 9.0)
    red = hump(rng.uniform(525.0, 550.0), 40.0, 22.0)
    blue = hump(rng.uniform(610.0, 640.0), 45.0, 60.0)
    shapes = np.stack([yellow, red, blue, np.ones_like(NM)])

    def paint(amounts: FloatArray) -> FloatArray:
        return np.clip(0.008 + white * np.exp(-np.abs(amounts) @ shapes), 0.0, 0.99)

    def miss(amounts: FloatArray) -> FloatArray:
        return np.append(lab_of(paint(amounts)) - np.array(lab), 0.3 * amounts[3])

    starts = ([0.8, 0.5, 0.5, 0.2], [0.2, 1.5, 0.2, 0.2], [0.2, 0.3, 1.5, 0.2])
    found = [least_squares(miss, np.array(s), max_nfev=60) for s in starts]
    return paint(min(found, key=lambda f: f.cost).x)


# ---------------------------------------------------------------- the camera


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Sensitivities (31, 3) and the maker's matrix from balanced raw to linear sRGB."""

    sensitivities: FloatArray
    matrix: FloatArray

    def raw(self, light: FloatArray) -> FloatArray:
        """Raw values of spectra of light, any shape (..., 31)."""
        return np.asarray(light) @ self.sensitivities


def draw_camera(rng: np.random.Generator) -> Camera:
    """A camera: skewed bells with cross-talk behind an infrared cut."""
    red = hump(rng.uniform(592.0, 612.0), rng.uniform(26.0, 38.0), rng.uniform(32.0, 48.0))
    green = hump(rng.uniform(522.0, 545.0), rng.uniform(30.0, 44.0), rng.uniform(34.0, 48.0))
    blue = hump(rng.uniform(446.0, 468.0), rng.uniform(22.0, 32.0), rng.uniform(28.0, 42.0))
    leak = rng.uniform(0.02, 0.16, 4)
    curves = np.stack(
        [
            0.75 * (red + leak[0] * green + 0.5 * leak[1] * blue),
            green + leak[2] * red + leak[3] * blue,
            0.8 * (blue + leak[0] * green),
        ],
        axis=1,
    )
    cut = rise(rng.uniform(404.0, 416.0), 4.0) * (1.0 - rise(rng.uniform(655.0, 688.0), 8.0))
    sensitivities = curves * cut[:, None]
    return Camera(sensitivities=sensitivities, matrix=_maker_matrix(sensitivities))


def _maker_matrix(sensitivities: FloatArray) -> FloatArray:
    """
    The matrix a maker fits in daylight, greys kept grey, errors weighed by lightness.

    Balance in the file is the camera's business; this is what stands behind it, fitted to land
    pigments and leaves, not to the reef.
    """
    rng = np.random.default_rng(77)
    spectra = np.stack([_land_spectrum(rng) for _ in range(180)])
    light = daylight()
    raw = (spectra * light) @ sensitivities / (light @ sensitivities)
    target = linear_srgb_of(spectra)
    weights = 1.0 / (0.05 + xyz_of(spectra)[:, 1:2]) ** 0.67
    sides = (raw[:, [0, 2]] - raw[:, [1]]) * weights
    rows, *_ = np.linalg.lstsq(sides, (target - raw[:, [1]]) * weights, rcond=None)
    return np.stack([rows[0], 1.0 - rows[0] - rows[1], rows[1]], axis=1)


def _land_spectrum(rng: np.random.Generator) -> FloatArray:
    """Paints, cloth, leaves, skin: sums of steps and bells."""
    kind = rng.integers(0, 4)
    if kind == 0:
        return np.clip(tilted(rng, rng.uniform(0.05, 0.9), rng.normal(0.0, 0.1)), 0.02, 0.95)
    if kind == 1:
        step = rise(rng.uniform(470.0, 640.0), rng.uniform(8.0, 30.0))
        return np.clip(rng.uniform(0.03, 0.15) + rng.uniform(0.2, 0.7) * step, 0.02, 0.95)
    if kind == 2:
        step = 1.0 - rise(rng.uniform(480.0, 600.0), rng.uniform(15.0, 40.0))
        return np.clip(rng.uniform(0.03, 0.12) + rng.uniform(0.1, 0.5) * step, 0.02, 0.95)
    bell = hump(rng.uniform(420.0, 680.0), rng.uniform(25.0, 80.0))
    return np.clip(rng.uniform(0.03, 0.3) + rng.uniform(0.1, 0.5) * bell, 0.02, 0.95)


# ---------------------------------------------------------------- the water

TYPES = ("I", "IA", "IB", "II", "III", "1C", "3C", "5C")
WEIGHTS = np.array([0.12, 0.14, 0.2, 0.22, 0.12, 0.12, 0.05, 0.03])


@dataclass(frozen=True, kw_only=True)
class Sea:
    """Attenuation down (kd) and along the path (beam), scattering, all (31,) in 1/m; depth."""

    kd: FloatArray
    beam: FloatArray
    scattering: FloatArray
    depth_m: float
    name: str

    def light(self, surface: FloatArray) -> FloatArray:
        """Light on the card."""
        return surface * np.exp(-self.kd * self.depth_m)

    def veil(self, surface: FloatArray, strength: float) -> FloatArray:
        """Light of an endless path, in units of a matt white (Koschmieder's B)."""
        return strength * self.scattering / self.beam * self.light(surface)


def draw_sea(rng: np.random.Generator, depth_m: float) -> Sea:
    """A water between two neighbouring types of the table, a little clearer or duller."""
    first = int(rng.choice(len(TYPES), p=WEIGHTS / WEIGHTS.sum()))
    second = min(first + 1, len(TYPES) - 1)
    share = rng.uniform(0.0, 1.0)
    kd = (1.0 - share) * jerlov_kd(TYPES[first]) + share * jerlov_kd(TYPES[second])  # type: ignore[arg-type]
    pure = pure_water_absorption()
    kd = pure + np.maximum(kd - pure, 0.0) * rng.lognormal(0.0, 0.15)
    absorption = np.maximum(rng.uniform(0.7, 0.9) * kd, pure)
    scattering = rng.uniform(0.05, 0.4) * (550.0 / NM) ** rng.uniform(0.0, 1.2)
    return Sea(
        kd=kd,
        beam=absorption + scattering,
        scattering=scattering,
        depth_m=depth_m,
        name=f"{TYPES[first]}-{TYPES[second]}",
    )


def sunlight(rng: np.random.Generator) -> FloatArray:
    """Daylight at the surface, from clear noon to overcast (CCT 5000 to 7500 K)."""
    x = rng.uniform(0.300, 0.345)
    return daylight(x, -3.0 * x * x + 2.870 * x - 0.275)


def strobe(rng: np.random.Generator) -> FloatArray:
    """An underwater flash: a warm to cold full radiator with xenon's lift in the blue."""
    return 100.0 * planck(rng.uniform(4500.0, 6200.0)) * (1.0 + 0.15 * hump(465.0, 25.0))
