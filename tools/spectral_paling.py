"""
How far apart the colours of one coral are with all its pigment, with half, and bleached.

Run by hand from the root of the checkout::

    python tools/spectral_paling.py

Seeded; some seconds. Each of the four families of reef spectra (``spectral_scenes``, ``_other``,
``_third``, ``_fourth``) gives brown, symbiont-bearing tissue as it draws it; the same tissue is
drawn again with its pigment thinned. Half is where paling begins to be seen; bleached corals keep
the product of one minus 60 to 90 % of cells lost and one minus 50 to 80 % of each cell's pigment
lost: 0.2 down to 0.02 (Glynn 1996, Global Change Biology 2:495-509, from memory). Printed are
CIEDE2000 and Lab of the steps. Which strength is "all" is what the families draw, no measurement.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from spectral_fourth import TISSUE
from spectral_other import TISSUES, mix
from spectral_scenes import KINDS, NM, PIGMENTS, bell, lab_of
from spectral_third import DIPS

from dryslate.core.colour.difference import ciede2000

FloatArray = NDArray[np.float64]
N_CORALS = 1000
LEFT = (0.5, 0.2, 0.05)
BROWN_CHROMA, BROWN_LIGHT = 12.0, 65.0
"""A coral counts as brown, with all its pigment, from this chroma and up to this lightness."""


def _bands(parts: list[tuple[float, float, float]], rng: np.random.Generator) -> FloatArray:
    """Bands, each moved and widened a little and of its own height."""
    total = np.zeros_like(NM)
    for centre, width, height in parts:
        moved, wider = centre + rng.normal(0, 3), width * rng.uniform(0.85, 1.3)
        total += height * rng.uniform(0.7, 1.3) * bell(moved, wider)
    return total


def absorbed(shares: tuple[float, ...], rng: np.random.Generator) -> list[FloatArray]:
    """Light through absorbing pigment (first family): reflectance at each share."""
    body = rng.uniform(0.4, 0.85) * (1.0 + rng.uniform(-0.1, 0.5) * (NM - 550.0) / 300.0)
    dim = 0.35 * rng.uniform(0.05, 1.2) * np.exp(-(NM - 400.0) / rng.uniform(70.0, 250.0))
    pigment = sum(
        amount * rng.uniform(0.5, 1.6) * _bands(PIGMENTS[name], rng)
        for name, amount in KINDS["brown"].items()
    )
    strength = rng.uniform(0.4, 2.6)
    return [body * np.exp(-dim - share * strength * pigment) + 0.015 for share in shares]


def scattered(shares: tuple[float, ...], rng: np.random.Generator) -> list[FloatArray]:
    """Absorbing and scattering tissue (other family)."""
    base = rng.uniform(0.005, 0.12) + rng.uniform(0, 0.4) * np.exp(
        -(NM - 400) / rng.uniform(40, 120)
    )
    pigment = np.exp(rng.normal(-0.6, 0.9)) * _bands(TISSUES[0], rng)
    gain = rng.uniform(0.6, 1.0)
    return [mix(base + share * pigment, 1.0) * gain for share in shares]


def dipped(shares: tuple[float, ...], rng: np.random.Generator) -> list[FloatArray]:
    """Dips in the logarithm of reflectance (third family)."""
    level = np.log(rng.uniform(0.35, 0.7)) + rng.normal(0.15, 0.15) * (NM - 560.0) / 150.0
    pigment = np.exp(rng.normal(0.0, 0.45)) * _bands(DIPS["brown"], rng)
    return [np.exp(level - share * pigment) for share in shares]


def over_skeleton(shares: tuple[float, ...], rng: np.random.Generator) -> list[FloatArray]:
    """Tissue over a pale skeleton, light going through twice (fourth family)."""
    ground = rng.uniform(0.4, 0.9) * (
        1.0 - rng.uniform(0.05, 0.5) / (1.0 + np.exp((NM - 460.0) / 45.0))
    )
    pigment = 2.0 * rng.gamma(1.3, 0.6) * _bands(TISSUE["symbionts"], rng)
    return [ground * np.exp(-share * pigment) + 0.008 for share in shares]


MODELS: dict[str, Callable[[tuple[float, ...], np.random.Generator], list[FloatArray]]] = {
    "first": absorbed,
    "other": scattered,
    "third": dipped,
    "fourth": over_skeleton,
}


def paling_steps(name: str, n: int = N_CORALS, seed: int = 31) -> tuple[FloatArray, FloatArray]:
    """Lab with all pigment and with each share of it, and CIEDE2000 to the former."""
    rng = np.random.default_rng(seed)
    labs = np.array([lab_of(np.array(MODELS[name]((1.0, *LEFT), rng))) for _ in range(n)])
    full = labs[:, 0]
    brown = (np.hypot(full[:, 1], full[:, 2]) >= BROWN_CHROMA) & (full[:, 0] <= BROWN_LIGHT)
    brown &= full[:, 1] > 0.0
    labs = labs[brown]
    steps = [ciede2000(labs[:, 0], labs[:, i]) for i in range(1, labs.shape[1])]
    return labs, np.stack(steps, axis=1)


def main() -> None:
    """Print the steps by family."""
    for name in MODELS:
        labs, steps = paling_steps(name)
        print(f"{name}: {len(labs)} of {N_CORALS} brown; Lab, all pigment", end=" ")
        print(np.median(labs[:, 0], axis=0).round(0))
        for i, share in enumerate(LEFT):
            low, middle, high = np.quantile(steps[:, i], [0.1, 0.5, 0.9])
            print(
                f"  {share:4.2f} of it left: {np.median(labs[:, i + 1], axis=0).round(0)}, "
                f"CIEDE2000 {middle:.1f} ({low:.1f} to {high:.1f} in 80 % of corals)"
            )


if __name__ == "__main__":
    main()
