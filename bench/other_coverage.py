"""
How often 95 % intervals of further figures hold the truth: `python -m bench.other_coverage`.

Density from lines: log-normal widths, numbers met negative binomial. Geometric mean size: log sizes
normal within units, units apart by a share of the variance; from lines too, weighed by one over
the width. Sites of three zones of unlike means
with weights of a half, three tenths and a fifth: 50 points a unit; 10 colonies on average.
`--write` writes src/dryslate/data/tables/other_coverage.csv, which gives results their flags.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from bench.survey_coverage import Row, Survey, elsewhere, held_pct, unit_shares, write
from scipy.special import stdtrit

from dryslate.core.survey.intervals import fraction_interval, rate_interval
from dryslate.core.survey.resampling import ratio_jackknife

TABLE = Path(__file__).resolve().parents[1] / "src/dryslate/data/tables/other_coverage.csv"
SEED = 5_411
WEIGHTS = np.array([0.5, 0.3, 0.2])
UNLIKE = np.array([1.4, 0.8, 0.3])
"""Means of the zones over the site's."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=10_000, help="simulated a cell")
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    began = time.process_time()
    rows = list(table(args.surveys))
    if args.write:
        write(rows, TABLE, "bench/other_coverage")
    found = {}
    for name in SIMULATE:
        some = [r for r in rows if r[0] == name]
        most = max(r[7] for r in some)
        found[name] = {**elsewhere(some), "monte_carlo_u_pct": round(most, 2)}
    took = round(time.process_time() - began, 1)
    print(json.dumps({"seed": SEED, "found": found, "cpu_seconds": took}, indent=1))
    return 0


def line_density(
    rng: np.random.Generator, b: int, n: int, level: float, size: int, rho: float
) -> Survey:
    """`level` colonies met by a line, widths with a log SD of `size` hundredths, 1 / k `rho`."""
    expected = rng.gamma(1 / rho, level * rho, (b, n)) if rho else np.full((b, n), level)
    met = rng.poisson(expected).ravel()
    narrow = np.exp(rng.normal(0.0, size / 100, int(met.sum())))
    sums = np.bincount(np.repeat(np.arange(b * n), met), narrow, minlength=b * n).reshape(b, n)
    mean, variance = sums.mean(axis=1), sums.var(axis=1, ddof=1)
    lo, hi = rate_interval(mean, np.sqrt(variance / n), n)
    truth = level * float(np.exp((size / 100) ** 2 / 2))
    return truth, lo, hi, float(variance.mean()) / truth**2


def geometric_mean(
    rng: np.random.Generator, b: int, n: int, level: float, _: int, rho: float
) -> Survey:
    """`level` colonies a unit, `rho` of the variance of log size between units; on the log."""
    number = rng.poisson(level, (b, n))
    centre = rng.normal(0.0, np.sqrt(rho), (b, n))
    sums = number * centre + np.sqrt(number * (1 - rho)) * rng.normal(size=(b, n))
    middle, u = ratio_jackknife(sums, number)
    held = (number > 0).sum(axis=1)
    reach = stdtrit(np.maximum(held - 1.0, 1.0), 0.975) * np.where(held > 1, u, np.nan)
    return 0.0, middle - reach, middle + reach, float(np.nanmean(held * u**2))


def line_geometric_mean(
    rng: np.random.Generator, b: int, n: int, level: float, size: int, rho: float
) -> Survey:
    """
    `level` colonies met by a line, widths with a log SD of `size` hundredths; on the log.

    Log size is normal with that SD on the reef, `rho` of its variance between lines; the width is
    the size times 0.6 to 1. Met in proportion to the width, so weighed by one over it; lines meet
    unlike numbers, as they lie among larger colonies and as these are clumped by 1/k = 0.15.
    """
    sd = size / 100
    centre = rng.normal(0.0, sd * np.sqrt(rho), (b, n))
    near = np.exp(centre - rho * sd**2 / 2) * rng.gamma(1 / 0.15, 0.15, (b, n))
    number = rng.poisson(level * near)
    line = np.repeat(np.arange(b * n), number.ravel())
    inner = sd**2 * (1 - rho)
    log_size = centre.ravel()[line] + inner + rng.normal(0.0, np.sqrt(inner), len(line))
    narrow = np.sqrt(rng.uniform(0.36, 1.0, len(line)))  # uniform, and met in proportion to it
    w = 1.0 / (np.exp(log_size) * narrow)
    sums = np.bincount(line, w * log_size, minlength=b * n).reshape(b, n)
    totals = np.bincount(line, w, minlength=b * n).reshape(b, n)
    middle, u = ratio_jackknife(sums, totals)
    held = (number > 0).sum(axis=1)
    reach = stdtrit(np.maximum(held - 1.0, 1.0), 0.975) * np.where(held > 1, u, np.nan)
    spread = float(np.nanmean(held * u**2)) / (sd**2)
    return 0.0, middle - reach, middle + reach, spread


def site_fraction(
    rng: np.random.Generator, b: int, n: int, level: float, _: int, rho: float
) -> Survey:
    values = [rng.binomial(50, unit_shares(rng, (b, n // 3), level * m, rho)) / 50 for m in UNLIKE]
    mean, u, df = weighted(values)
    lo, hi = fraction_interval(mean, u, n, np.inf, df)
    return level, lo, hi, float(n * np.mean(u**2)) / (level * (1 - level))


def site_density(
    rng: np.random.Generator, b: int, n: int, level: float, _: int, rho: float
) -> Survey:
    """Level 1 stands for 10 colonies a unit: a site's figure does not tell how many it rests on."""
    expected = [rng.gamma(1 / rho, 10 * level * m * rho, (b, n // 3)) for m in UNLIKE]
    mean, u, df = weighted([rng.poisson(one) / 10 for one in expected])
    lo, hi = rate_interval(mean, u, n, np.nan, df)
    return level, lo, hi, float(n * np.mean(u**2)) / level**2


def weighted(values: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean of zones, its standard error and degrees of freedom, as `core/survey/zones.py`."""
    mean = sum(w * v.mean(axis=1) for w, v in zip(WEIGHTS, values, strict=True))
    parts = [
        w**2 * v.var(axis=1, ddof=1) / v.shape[1] for w, v in zip(WEIGHTS, values, strict=True)
    ]
    variance = sum(parts)
    with np.errstate(all="ignore"):
        df = variance**2 / sum(p**2 / (values[0].shape[1] - 1) for p in parts)
    return np.asarray(mean), np.sqrt(variance), np.asarray(df)


SIMULATE: dict[str, Callable[..., Survey]] = {
    "line_density": line_density,
    "geometric_mean": geometric_mean,
    "site_fraction": site_fraction,
    "site_density": site_density,
    "line_geometric_mean": line_geometric_mean,
}
UNITS = (2, 3, 4, 5, 8, 15)
SITE_UNITS = (6, 9, 12, 15, 24, 45)
GRID: dict[str, tuple[tuple[int, ...], tuple[float, ...], tuple[int, ...], tuple[float, ...]]] = {
    "line_density": (UNITS, (3, 10, 30), (40, 80), (0, 0.2, 1)),
    "geometric_mean": (UNITS, (2, 5, 15, 50), (0,), (0, 0.05, 0.2, 0.5)),
    "site_fraction": (SITE_UNITS, (0.05, 0.1, 0.3, 0.5), (0,), (0.02, 0.05, 0.1, 0.2)),
    "site_density": (SITE_UNITS, (1,), (0,), (0.2, 0.5, 1, 2)),
    "line_geometric_mean": (UNITS, (2, 5, 15, 50), (40, 60, 80), (0, 0.05, 0.2, 0.5)),
}
"""Units, levels, sizes and correlations (or 1 / k); units of a site are those of all its zones."""


def simulate(name: str, cells: Iterator[tuple[int, float, int, float]], b: int) -> Iterator[Row]:
    """One row a cell, each with a seed of its own."""
    for n, level, size, rho in cells:
        key = [SEED, list(SIMULATE).index(name), n, round(1000 * level), size, round(1000 * rho)]
        truth, lo, hi, spread = SIMULATE[name](np.random.default_rng(key), b, n, level, size, rho)
        yield name, n, level, size, rho, spread, *held_pct(truth, lo, hi)


def table(b: int) -> Iterator[Row]:
    for name, grid in GRID.items():
        yield from simulate(name, itertools.product(*grid), b)


if __name__ == "__main__":
    raise SystemExit(main())
