"""Reflectance spectra of painted, printed and living things, and what wetting does to a print."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from dryslate.base.errors import InputError
from dryslate.demo.spectra import WAVELENGTHS_NM, FloatArray, lab_of


def band(centre_nm: float, width_nm: float) -> FloatArray:
    """A bell of height 1 over the wavelengths, shape (31,)."""
    return np.exp(-0.5 * ((WAVELENGTHS_NM - centre_nm) / width_nm) ** 2)


def step_up(at_nm: float, width_nm: float) -> FloatArray:
    """A smooth rise from 0 to 1 around a wavelength, shape (31,)."""
    return np.asarray(1.0 / (1.0 + np.exp(-(WAVELENGTHS_NM - at_nm) / width_nm)))


@dataclass(frozen=True, slots=True, kw_only=True)
class PigmentSet:
    """
    Three pigments on a white base, mixed by Beer's law.

    Parameters
    ----------
    centres_nm, widths_nm : tuple of float
        Absorption bands of the three.
    base_frac : float
        Reflectance of the unprinted base.
    floor_frac : float
        What even the darkest mixture reflects.
    """

    centres_nm: tuple[float, float, float] = (632.0, 541.0, 441.0)
    widths_nm: tuple[float, float, float] = (52.0, 38.0, 36.0)
    base_frac: float = 0.90
    floor_frac: float = 0.012


PRINT_PIGMENTS = PigmentSet()
PAINT_PIGMENTS = PigmentSet(
    centres_nm=(615.0, 528.0, 452.0), widths_nm=(75.0, 44.0, 48.0), base_frac=0.93
)


def _mixture(amounts: FloatArray, pigments: PigmentSet, grey: float) -> FloatArray:
    """Reflectance of a mixture; a wide second band keeps pigments from being too clean."""
    density = np.full(WAVELENGTHS_NM.size, grey)
    for amount, centre, width in zip(amounts, pigments.centres_nm, pigments.widths_nm, strict=True):
        density = density + amount * (band(centre, width) + 0.12 * band(centre, 3.0 * width))
    body = pigments.base_frac * np.exp(-density)
    return np.asarray(pigments.floor_frac + (1.0 - pigments.floor_frac) * body)


@lru_cache(maxsize=4096)
def reflectance_for_lab(
    lab_d65: tuple[float, float, float], pigments: PigmentSet = PRINT_PIGMENTS
) -> FloatArray:
    """
    A plausible reflectance spectrum that has a given colour.

    Parameters
    ----------
    lab_d65 : tuple of float
        L*, a*, b* under D65.
    pigments : PigmentSet
        What it is mixed from: two sets give a metameric pair.

    Returns
    -------
    ndarray of float, shape (31,)
        Its `lab_of` meets `lab_d65` within 0.02 in each axis; read-only.

    Raises
    ------
    InputError
        ``colour-out-of-reach`` where no such mixture reflects between 0 and 1.
    """
    target = np.array(lab_d65)
    if float(np.hypot(target[1], target[2])) < 4.0:
        spectrum = _near_grey(target)
    else:
        spectrum = _mixed(target, pigments)
    miss = float(np.abs(lab_of(spectrum) - target).max())
    if miss > 0.02 or float(spectrum.max()) > 1.0:
        raise InputError(
            "colour-out-of-reach",
            f"Lab {lab_d65}: no mixture of these pigments has this colour "
            f"(nearest is {miss:.2f} away).",
            "Take a colour nearer to grey, or other pigments.",
        )
    spectrum.setflags(write=False)
    return spectrum


def _near_grey(target: FloatArray) -> FloatArray:
    """A nearly flat spectrum: exponent of a parabola over the wavelengths."""
    x = (WAVELENGTHS_NM - 550.0) / 150.0
    shape = np.stack([np.ones_like(x), x, x * x])

    def curve(p: FloatArray) -> FloatArray:
        return np.exp(np.clip(p @ shape, -9.0, 0.5))

    start = np.array([np.log(max(((target[0] + 16.0) / 116.0) ** 3, 1e-3)), 0.0, 0.0])

    def miss(p: FloatArray) -> FloatArray:
        return lab_of(curve(p)) - target

    found = least_squares(miss, start, xtol=1e-12, ftol=1e-12)
    return curve(found.x)


def _mixed(target: FloatArray, pigments: PigmentSet) -> FloatArray:
    """Amounts of three pigments; negative amounts mean a cleaner base than assumed."""

    def miss(p: FloatArray) -> FloatArray:
        return lab_of(_mixture(p, pigments, 0.0)) - target

    best: FloatArray | None = None
    best_cost = np.inf
    for start in ((0.6, 0.6, 0.6), (0.2, 1.2, 1.2), (1.2, 0.3, 0.8), (1.4, 1.2, 0.2)):
        found = least_squares(miss, np.array(start), xtol=1e-12, ftol=1e-12, max_nfev=200)
        if found.cost < best_cost:
            best, best_cost = found.x, float(found.cost)
        if best_cost < 1e-8:
            break
    assert best is not None
    return _mixture(best, pigments, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """
    The skin between a print and what is around it.

    Parameters
    ----------
    outer_frac : float
        Diffuse light turned back on its way in (k1).
    inner_frac : float
        Diffuse light turned back on its way out (k2).
    """

    outer_frac: float
    inner_frac: float


def interface_of(index_ratio: float) -> Interface:
    r"""
    Fresnel reflection of diffuse light at a smooth skin.

    Parameters
    ----------
    index_ratio : float
        Index of the print's binder over that of what is outside (1.5 in air; about 1.12 in
        sea water, which is why prints look deeper and darker there).

    Notes
    -----
    k1 by the integral of Fresnel's reflectance over a cosine field,
    :math:`k_2 = 1 - (1 - k_1) / n^2` [1]_.

    References
    ----------
    .. [1] Saunderson 1942, J. Opt. Soc. Am. 32:727-736; Judd 1942, J. Res. Natl. Bur. Stand.
       29:329-332 (values for diffuse light).
    """
    angle = np.linspace(0.0, np.pi / 2.0, 2001)[1:-1]
    cos_in = np.cos(angle)
    cos_out = np.sqrt(1.0 - (np.sin(angle) / index_ratio) ** 2)
    across = ((cos_in - index_ratio * cos_out) / (cos_in + index_ratio * cos_out)) ** 2
    along = ((index_ratio * cos_in - cos_out) / (index_ratio * cos_in + cos_out)) ** 2
    weight = np.sin(2.0 * angle)
    outer = float((0.5 * (across + along) * weight).sum() / weight.sum())
    return Interface(outer_frac=outer, inner_frac=1.0 - (1.0 - outer) / index_ratio**2)


AIR_INTERFACE = interface_of(1.50)
WATER_INTERFACE = interface_of(1.50 / 1.34)


def reflectance_in_water(
    reflectance_air: ArrayLike, finish: Literal["matt", "sealed"] = "matt"
) -> FloatArray:
    r"""
    What a print reflects under water, from what it reflects in air.

    Parameters
    ----------
    reflectance_air : array_like of float, shape (..., 31)
    finish : {"matt", "sealed"}
        A matt surface with open pores turns darker and more saturated: water in the pores
        scatters less than air did, and the haze of the outer surface goes. A sealed one keeps
        its body but turns less light back inside its skin: all but black and white get lighter.

    Returns
    -------
    ndarray of float, shape (..., 31)

    Notes
    -----
    Matt: :math:`K/S = (1-R)^2 / 2R` (Kubelka & Munk) with scattering lowered by the factor
    0.70, a modelling choice after the reasoning of Twomey et al. [2]_. Sealed: Saunderson's
    correction [1]_, :math:`R_m = k_1 + (1-k_1)(1-k_2)R/(1-k_2 R)`, undone for air and done
    again for water.

    References
    ----------
    .. [1] Saunderson 1942, J. Opt. Soc. Am. 32:727-736.
    .. [2] Twomey, Bohren & Mergenthaler 1986, Appl. Opt. 25:431-437.
    """
    measured = np.asarray(reflectance_air, float)
    air, water = AIR_INTERFACE, WATER_INTERFACE
    # measured with the gloss let out, a skin shows about a tenth of its outer reflection
    haze_air, haze_water = 0.1 * air.outer_frac, 0.1 * water.outer_frac
    lifted = np.clip(measured - haze_air, 1e-4, 0.999)
    if finish == "matt":
        over_s = (1.0 - lifted) ** 2 / (2.0 * lifted) / 0.70
        wet = 1.0 + over_s - np.sqrt(over_s**2 + 2.0 * over_s)
    else:
        body = lifted / ((1.0 - air.outer_frac) * (1.0 - air.inner_frac) + air.inner_frac * lifted)
        through = (1.0 - water.outer_frac) * (1.0 - water.inner_frac)
        wet = through * body / (1.0 - water.inner_frac * body)
    return np.asarray(np.clip(haze_water + wet, 0.0, 1.0))


# ---------------------------------------------------------------- living things and the seabed


@dataclass(frozen=True, slots=True, kw_only=True)
class Tissue:
    """
    What colours a coral: algae in its tissue and its own pigments, over white skeleton.

    Parameters
    ----------
    algae : float
        Density of the algae in a normal coral (1 = common brown).
    purple, blue, yellow : float
        Host pigments that absorb near 580, 610 and 460 nm.
    green_glow : float
        Fluorescence near 515 nm as seen in daylight.
    """

    algae: float = 1.0
    purple: float = 0.0
    blue: float = 0.0
    yellow: float = 0.0
    green_glow: float = 0.0


def skeleton() -> FloatArray:
    """Bare coral skeleton: bright, a little warm."""
    return np.asarray(0.62 + 0.20 * (WAVELENGTHS_NM - 400.0) / 300.0 - 0.05 * band(405.0, 25.0))


def coral_reflectance(tissue: Tissue, algae_left_frac: float = 1.0) -> FloatArray:
    """
    Reflectance of living coral.

    Parameters
    ----------
    tissue : Tissue
    algae_left_frac : float
        1 normal, about 0.3 pale, under 0.05 bleached.

    Returns
    -------
    ndarray of float, shape (31,)

    Notes
    -----
    Shapes follow the published brown and blue modes: troughs at 440 to 550 and 675 nm, small
    rises near 575, 605 and 650 nm [1]_. The strengths are ours.

    References
    ----------
    .. [1] Hochberg, Atkinson, Apprill & Andréfouët 2004, Coral Reefs 23:84-95.
    """
    algal = (
        0.70 * band(438.0, 34.0)
        + 0.64 * band(492.0, 30.0)
        + 0.44 * band(540.0, 20.0)
        + 0.26 * band(588.0, 9.0)
        + 0.36 * band(628.0, 14.0)
        + 0.80 * band(675.0, 12.0)
        + 0.22 * band(610.0, 60.0)
        + 0.55
    )
    host = (
        tissue.purple * band(578.0, 26.0)
        + tissue.blue * (band(608.0, 34.0) + 0.4 * band(560.0, 25.0))
        + tissue.yellow * band(455.0, 38.0)
    )
    kept = 0.35 + 0.65 * algae_left_frac
    body = skeleton() * np.exp(-1.55 * tissue.algae * algae_left_frac * algal - kept * host)
    glow = tissue.green_glow * band(515.0, 14.0) * (0.4 + 0.6 * algae_left_frac)
    return np.asarray(np.clip(body + glow, 0.004, 0.95))


def sand() -> FloatArray:
    """Coral sand: bright, warm."""
    return np.asarray(0.26 + 0.24 * step_up(520.0, 70.0))


def turf() -> FloatArray:
    """Short algal threads on dead coral: dull olive brown."""
    return np.asarray(
        0.045 + 0.085 * step_up(545.0, 22.0) - 0.05 * band(675.0, 14.0) - 0.012 * band(620.0, 20.0)
    )


def crust() -> FloatArray:
    """Pink coralline crust: absorbs near 495, 545 and 565 nm."""
    absorbed = 0.8 * band(440.0, 30.0) + 0.9 * band(497.0, 14.0) + 0.9 * band(548.0, 17.0)
    absorbed = absorbed + 0.7 * band(568.0, 13.0) + 0.3 * band(625.0, 16.0)
    return np.asarray(0.42 * np.exp(-absorbed - 0.55 * band(675.0, 13.0) - 0.15))


def green_algae() -> FloatArray:
    """Fleshy green algae: a peak near 555 nm."""
    return np.asarray(
        0.025 + 0.15 * band(556.0, 27.0) + 0.03 * step_up(690.0, 6.0) + 0.02 * band(640.0, 18.0)
    )


def brown_algae() -> FloatArray:
    """Fleshy brown algae."""
    return np.asarray(0.02 + 0.075 * band(578.0, 26.0) + 0.065 * band(645.0, 20.0))


def rock() -> FloatArray:
    """Old reef rock with a thin film."""
    return np.asarray(0.10 + 0.12 * step_up(530.0, 50.0) - 0.035 * band(675.0, 14.0))


def sponge() -> FloatArray:
    """An orange sponge."""
    return np.asarray(0.03 + 0.50 * step_up(585.0, 13.0))


def skin() -> FloatArray:
    """A finger under water: bands of blood at 542 and 577 nm."""
    body = 0.22 + 0.36 * step_up(590.0, 16.0)
    return np.asarray(body - 0.05 * band(542.0, 11.0) - 0.05 * band(577.0, 9.0))
