"""
Made surveys of change, many at once: two visits to the same units, or to units drawn anew.

Cover and prevalence: unit means of a beta distribution with an intra-unit correlation; the same
units lose or gain alike, and each changes by a part of its own, which is beta with a correlation of
`own` times theirs. Density: negative binomial counts; the same units change in proportion, each
times a gamma factor of squared coefficient of variation `own`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from bench.survey_coverage import TAPE, unit_shares

from dryslate.core.survey.change_interval import Scale, Seen, anew_parts, paired_parts

SEED = 7_301


@dataclass(frozen=True, slots=True)
class Cell:
    """What is simulated: `level` is the larger mean; `ratio` the later mean over the first."""

    figure: str
    n: int
    level: float
    size: int
    rho: float
    ratio: float
    own: float

    @property
    def is_paired(self) -> bool:
        return self.figure.startswith("paired")

    @property
    def scale(self) -> Scale:
        names = {"cover": Scale.FRACTION, "density": Scale.RATE, "prevalence": Scale.PREVALENCE}
        return names[self.figure.split("_")[1]]

    @property
    def first(self) -> float:
        return self.level / max(self.ratio, 1.0)

    def rng(self) -> np.random.Generator:
        numbers = (self.level, self.rho, self.ratio, self.own)
        return np.random.default_rng(
            [SEED, len(self.figure), self.is_paired, self.n, self.size]
            + [round(1000 * v) for v in numbers]
        )


Visits = tuple[Seen, Seen]


def shares(cell: Cell, rng: np.random.Generator, b: int) -> tuple[np.ndarray, np.ndarray]:
    """Unit means of fractions at both visits."""
    shape = (b, cell.n)
    place = unit_shares(rng, shape, cell.first, cell.rho)
    again = place
    if cell.is_paired:
        own = unit_shares(rng, shape, cell.first, cell.rho * cell.own)
        again = np.clip(place + own - cell.first, 0.0, 1.0)
    else:
        later = unit_shares(rng, shape, cell.first * cell.ratio, cell.rho)
        return place, later
    return place, np.clip(cell.ratio * again, 0.0, 1.0)


def truth_of(cell: Cell) -> float:
    """Change of the mean, ends cut off as simulated."""
    if not cell.is_paired or cell.scale is Scale.RATE:
        return (cell.ratio - 1) * cell.first
    return _truth(replace(cell, figure="paired_cover", n=1, size=0))


@lru_cache(maxsize=4096)
def _truth(cell: Cell) -> float:
    """Change of the mean of fractions, whatever is counted."""
    rng = np.random.default_rng([SEED, round(1000 * cell.first), round(1000 * cell.rho)])
    return float(shares(cell, rng, 400_000)[1].mean() - cell.first)


def visits(cell: Cell, b: int) -> Visits:
    """Both visits of b surveys."""
    rng = cell.rng()
    if cell.scale is Scale.RATE:
        place = rng.gamma(1 / cell.rho, cell.first * cell.rho, (b, cell.n))
        if cell.is_paired:
            later = cell.ratio * place * rng.gamma(1 / cell.own, cell.own, (b, cell.n))
        else:
            later = cell.ratio * rng.gamma(1 / cell.rho, cell.first * cell.rho, (b, cell.n))
        return Seen.of(rng.poisson(place), 1.0), Seen.of(rng.poisson(later), 1.0)
    place, later = shares(cell, rng, b)
    if cell.scale is Scale.FRACTION:
        if cell.size == TAPE:
            return Seen.of(place, np.inf), Seen.of(later, np.inf)
        hits = (rng.binomial(cell.size, share) / cell.size for share in (place, later))
        one, other = hits
        return Seen.of(one, float(cell.size)), Seen.of(other, float(cell.size))
    expected = rng.gamma(4.0, cell.size / 4.0, (b, cell.n))
    again = expected if cell.is_paired else rng.gamma(4.0, cell.size / 4.0, (b, cell.n))
    numbers = rng.poisson(expected), rng.poisson(again)
    cases = [rng.binomial(n, p) for n, p in zip(numbers, (place, later), strict=True)]
    kept = ((numbers[0] > 0) & (numbers[1] > 0)).all(axis=1)
    one, other = (
        Seen.of(ratio_values(x[kept], n[kept]), n[kept])
        for x, n in zip(cases, numbers, strict=True)
    )
    return one, other


def ratio_values(cases: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """Values of units whose mean is the ratio of sums."""
    total = numbers.sum(axis=1)[:, None]
    ratio = cases.sum(axis=1)[:, None] / total
    return ratio + (cases - ratio * numbers) * numbers.shape[1] / total


def ends_of(cell: Cell, pair: Visits) -> tuple[np.ndarray, np.ndarray]:
    """The intervals that the table of methods fixes; NaN where none is stated."""
    one, other = pair
    away = one.freed(cell.scale), other.freed(cell.scale)
    if cell.is_paired:
        lo, hi = paired_parts(one, other, cell.scale).ends()
        has_spread = (away[1] - away[0]).std(axis=1) > 1e-12
    elif cell.scale is not Scale.PREVALENCE:
        lo, hi = anew_parts(one, other, cell.scale).ends()
        has_spread = (away[0].std(axis=1) > 1e-12) | (away[1].std(axis=1) > 1e-12)
    else:
        from scipy.special import stdtrit

        parts = [x.var(axis=1, ddof=1) / cell.n for x in away]
        with np.errstate(all="ignore"):
            df = (parts[0] + parts[1]) ** 2 / sum(p**2 / (cell.n - 1) for p in parts)
            reach = stdtrit(df, 0.975) * np.sqrt(parts[0] + parts[1])
        middle = other.mean - one.mean
        lo, hi, has_spread = middle - reach, middle + reach, parts[0] + parts[1] > 1e-24
    return np.where(has_spread, lo, np.nan), np.where(has_spread, hi, np.nan)


@dataclass(frozen=True, slots=True)
class Held:
    """How often the intervals held the truth, in percent, with its Monte Carlo error."""

    cell: Cell
    pct: float
    u_pct: float
    stated_pct: float
    spread: float


def hold(cell: Cell, b: int) -> Held:
    """Simulate a cell."""
    pair = visits(cell, b)
    lo, hi = ends_of(cell, pair)
    stated = np.isfinite(lo) & np.isfinite(hi)
    truth = truth_of(cell)
    p = float(((lo <= truth) & (truth <= hi))[stated].mean()) if stated.any() else float("nan")
    larger = pair[1] if cell.ratio > 1 else pair[0]
    return Held(
        cell=cell,
        pct=100 * p,
        u_pct=100 * float(np.sqrt(max(p * (1 - p), 1e-9) / max(stated.sum(), 1))),
        stated_pct=100 * float(stated.mean()),
        spread=spread_of(cell.scale, larger),
    )


def spread_of(scale: Scale, seen: Seen) -> float:
    """Variance between units over m(1-m), of rates over m², as the look-up reckons it."""
    mean = float(seen.mean.mean())
    variance = float(seen.freed(scale).var(axis=1, ddof=1).mean())
    return variance / (mean**2 if scale is Scale.RATE else mean * (1 - mean))
