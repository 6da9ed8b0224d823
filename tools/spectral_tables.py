"""
Tabulate errors of things off the card, and what to expect of one more family of worlds.

Each family of scenes gives its own spreads by left-out difference, chroma and hue. Real waters,
cameras and corals are of none of them, so the table holds what four of five further families would
stay within, were they drawn as these were: mean of the logarithms and 0.8 quantile of Student's t
for the prediction of one more value (JCGM 100:2008, G.3 for the distribution), times their spread
between families, pooled over a table. Families are compared by their whole errors: what is left
once the fit and the noise are taken off can be next to nothing in one of them, and its logarithm
would then tell of that remainder rather than of the family. The known part is taken off last.
Flash, natural light down to 6 m and deeper count alike within a family, whatever their number of
photos: the table is not to suit one and leave another short.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.ndimage import map_coordinates

from dryslate.core.colour.mismatch import STRAIN_CALM, STRAIN_FULL

FloatArray = NDArray[np.float64]

SHORT_SOURCE = "tools/spectral_mismatch.py"
LEFT_KNOTS = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0)
GREY_LEFT_KNOTS = (0.35, 0.6, 1.0, 2.0)
CHROMA_KNOTS = (0.0, 15.0, 30.0, 50.0)
FLAT_LIGHT_KNOTS = (20.0, 35.0, 50.0, 70.0, 90.0)
"""Lightness of flat greys, which have no chroma of their own; dark ones come out less exact."""
HUE_KNOTS = (0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0)
STRAIN_KNOTS = (STRAIN_CALM, STRAIN_FULL)
FULL_HUE_CHROMA = 15.0
"""From this chroma the doubt depends on hue in full; at no chroma there is no hue."""
FACTORS: FloatArray = np.geomspace(0.4, 2.4, 60)
COVERAGE = 0.95
FAMILIES_HELD = 0.8
"""Share of further families that the stated spread is to be wide enough for."""
STRAINED_HELD = 0.9
"""The same where red is strained: with the former a left-out family held too few there."""
_LEFT_WIDTH, _VALUE_WIDTH, _HUE_WIDTH = 0.25, 10.0, 25.0
HEADER = [
    "fit", "left_out_de00", "chroma", "hue_deg", "lightness_u", "a_u", "b_u", "de00_p95", "source",
]  # fmt: skip


@dataclass(frozen=True)
class Errors:
    """Errors of things off the card, one row each."""

    left_out: FloatArray
    strain: FloatArray
    lab: FloatArray
    gap: FloatArray
    known: FloatArray
    de00: FloatArray
    stratum: FloatArray

    @property
    def chroma(self) -> FloatArray:
        """Corrected chroma."""
        return np.hypot(self.lab[:, 1], self.lab[:, 2])

    @property
    def hue_deg(self) -> FloatArray:
        """Corrected hue."""
        return np.rad2deg(np.arctan2(self.lab[:, 2], self.lab[:, 1])) % 360.0

    @property
    def even_strata(self) -> FloatArray:
        """Weight of each row that lets all strata count alike; its mean is 1."""
        _, row, n = np.unique(self.stratum, return_inverse=True, return_counts=True)
        return np.asarray(len(self.stratum) / len(n) / n[row])

    def near_strain(self, knot: float | None) -> FloatArray:
        """Weight of each row in a knot's grid: what it reads from there; 1 without a knot."""
        if knot is None:
            return np.ones(len(self.de00))
        strained = np.interp(self.strain, STRAIN_KNOTS, (0.0, 1.0))
        return np.asarray((strained if knot == STRAIN_FULL else 1.0 - strained) + 1e-4)


def weighted_quantile(values: FloatArray, weights: FloatArray, q: float) -> float:
    """Quantile of weighted values."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, q * total[-1])])


def by_knots(
    errors: Errors,
    left_knots: tuple[float, ...],
    value: FloatArray,
    knots: tuple[float, ...],
    weight: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Find spread, what fit and noise state, and the 95th of all, by left-out difference and a value.

    The value is chroma, or lightness for flat greys. The spread is the one whose 1.96-fold holds
    the wanted share of errors; what is known already is taken off in squares, down to a third.
    """
    u = np.zeros((len(left_knots), len(knots), 3))
    known = np.zeros_like(u)
    p95 = np.zeros(len(left_knots))
    by_left = np.log(errors.left_out)
    for i, left in enumerate(left_knots):
        near_left = np.exp(-0.5 * ((by_left - np.log(left)) / _LEFT_WIDTH) ** 2) + 1e-6
        near_left = near_left * weight
        p95[i] = weighted_quantile(errors.de00, near_left, COVERAGE)
        for j, knot in enumerate(knots):
            away = (value - knot) / _VALUE_WIDTH
            near = near_left * (np.exp(-0.5 * away**2) + 1e-4)
            for axis in range(3):
                whole = weighted_quantile(np.abs(errors.gap[:, axis]), near, COVERAGE) / 1.96
                known[i, j, axis] = np.sqrt(np.average(errors.known[:, axis] ** 2, weights=near))
                u[i, j, axis] = unknown_part(whole, known[i, j, axis])
    return u, known, p95


def unknown_part(whole: ArrayLike, known: ArrayLike) -> FloatArray:
    """What a whole spread leaves when the known part is taken off in squares; a third at least."""
    squared = np.square(whole)
    return np.asarray(np.sqrt(np.maximum(squared - np.square(known), squared / 9.0)))


def by_hue(
    errors: Errors, left_knots: tuple[float, ...], u: FloatArray, weight: FloatArray
) -> FloatArray:
    """Factor on the spreads at each knot of hue: the least that holds the wanted share."""
    left = np.clip(errors.left_out, left_knots[0], left_knots[-1])
    row = np.interp(np.log(left), np.log(left_knots), np.arange(len(left_knots)))
    column = np.interp(errors.chroma, CHROMA_KNOTS, np.arange(len(CHROMA_KNOTS)))
    here = np.stack(
        [
            map_coordinates(u[..., axis], [row, column], order=1, mode="nearest")
            for axis in range(3)
        ],
        axis=1,
    )
    full = np.minimum(errors.chroma / FULL_HUE_CHROMA, 1.0)
    factors = np.ones((len(HUE_KNOTS), 3))
    for i, hue in enumerate(HUE_KNOTS):
        away = (errors.hue_deg - hue + 180.0) % 360.0 - 180.0
        near = np.exp(-0.5 * (away / _HUE_WIDTH) ** 2) * full * weight
        for axis in range(3):
            gap, known = np.abs(errors.gap[:, axis]), errors.known[:, axis]
            held = np.array(
                [
                    near @ (gap <= 1.96 * np.hypot(f * here[:, axis], known)) / near.sum()
                    for f in FACTORS
                ]
            )
            factors[i, axis] = FACTORS[np.argmax(held >= COVERAGE)] if held[-1] >= COVERAGE else 2.4
    return factors


def joined(errors: list[Errors]) -> Errors:
    """Errors of several families as of one."""
    return Errors(*(np.concatenate([getattr(e, f.name) for e in errors]) for f in fields(Errors)))


@dataclass(frozen=True)
class Spreads:
    """
    Spreads (left-out, chroma, hue, axis), 95th percentiles and number of errors (left-out).

    `known` is what fit and noise state on top, with one hue for all.
    """

    u: FloatArray
    known: FloatArray
    p95: FloatArray
    n: FloatArray


def count_near(errors: Errors, left_knots: tuple[float, ...], weight: FloatArray) -> FloatArray:
    """How many errors, by weight, lie near each knot of left-out difference."""
    away = (np.log(errors.left_out) - np.log(left_knots)[:, None]) / _LEFT_WIDTH
    return np.asarray((np.exp(-0.5 * away**2) * weight).sum(axis=1) + 1e-9)


def spreads_of(
    errors: Errors, left_knots: tuple[float, ...], strain: float | None = None
) -> Spreads:
    """Spreads of one family at all knots, of fits near one strain or of all."""
    weight = errors.near_strain(strain) * errors.even_strata
    u, known, p95 = by_knots(errors, left_knots, errors.chroma, CHROMA_KNOTS, weight)
    factors = by_hue(errors, left_knots, u, weight)
    share = np.minimum(np.array(CHROMA_KNOTS) / FULL_HUE_CHROMA, 1.0)[:, None, None]
    n = count_near(errors, left_knots, weight)
    return Spreads(u[:, :, None] * (1.0 + share * (factors - 1.0)), known[:, :, None], p95, n)


def flat_spreads_of(errors: Errors, left_knots: tuple[float, ...]) -> Spreads:
    """Spreads of things known to be flat greys, by lightness in the place of chroma."""
    weight = np.ones(len(errors.de00))
    u, known, p95 = by_knots(errors, left_knots, errors.lab[:, 0], FLAT_LIGHT_KNOTS, weight)
    n = count_near(errors, left_knots, weight)
    return Spreads(u[:, :, None], known[:, :, None], p95, n)


def expect_another(
    found: list[Spreads], like: list[Spreads] | None = None, held: float = FAMILIES_HELD
) -> Spreads:
    """
    What one more family will stay within in most cases (see the head of this module).

    Kinds of fit too rare to tell the families apart come as one, of all families together; their
    spread between families is taken to be that of another kind, `like`.
    """
    like = found if like is None else like
    n = len(like)
    times = float(stats.t.ppf(held, n - 1)) * np.sqrt(1.0 + 1.0 / n)
    weight = np.min([s.n for s in like], axis=0)  # where one family has little, chance differs most
    wholes = np.log([np.hypot(s.u, s.known) for s in like])
    u_var = wholes.var(axis=0, ddof=1).mean(axis=(1, 2))
    p95_var = np.log([s.p95 for s in like]).var(axis=0, ddof=1)
    u_between = np.sqrt(np.average(u_var, axis=0, weights=weight))
    p95_between = np.sqrt(np.average(p95_var, weights=weight))
    found_wholes = np.log([np.hypot(s.u, s.known) for s in found])
    whole = np.exp(found_wholes.mean(axis=0) + times * u_between)
    known = np.sqrt(np.mean([s.known**2 for s in found], axis=0))
    p95 = np.log([s.p95 for s in found]).mean(axis=0) + times * p95_between
    n_all = np.sum([s.n for s in found], axis=0)
    return Spreads(unknown_part(whole, known), known, np.exp(p95), n_all)


def rows_of(name: str, left_knots: tuple[float, ...], spreads: Spreads) -> list[list[str]]:
    """Rows of the table of one kind of fit; of flat greys with lightness in place of chroma."""
    rows, p95 = [], np.maximum.accumulate(spreads.p95)
    values = FLAT_LIGHT_KNOTS if name.startswith("flat:") else CHROMA_KNOTS
    for i, j, k in np.ndindex(*spreads.u.shape[:3]):
        knots = (left_knots[i], values[j], HUE_KNOTS[k])
        rows.append(
            [
                name,
                *(f"{v:g}" for v in knots),
                *(f"{v:.2f}" for v in spreads.u[i, j, k]),
                f"{p95[i]:.2f}",
                SHORT_SOURCE,
            ]
        )
    return rows
