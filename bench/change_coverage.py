"""
How often 95 % intervals of change hold the truth: `python -m bench.change_coverage`.

Paired: the same units at two visits. Cover: unit means of a beta distribution with an intra-unit
correlation, a steady loss, and a part of their own that each unit changes by; 25 or 100 points, or
a tape. Density: negative binomial counts whose unit means stay in order. Formula as in
`core/survey/change.py`; `through_the_functions` are cells that go through the function itself.
Mixed models go through `core/survey/mixed.py`: sites by units by visits, some units gone.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
from bench.survey_coverage import TAPE, cell, unit_shares
from scipy.special import stdtrit

from dryslate.core.survey.change import paired_change
from dryslate.core.survey.coverage import target_pct
from dryslate.core.survey.mixed import VisitedUnits, fit_visits

SEED = 7_301
N_UNITS = (3, 4, 5, 6, 8, 10, 15, 20)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=10_000, help="simulated a paired cell")
    parser.add_argument("--models", type=int, default=2_000, help="simulated a model cell")
    args = parser.parse_args()
    began = time.process_time()
    found = {
        "seed": SEED,
        "paired_cover": summary(list(paired_cover(args.surveys))),
        "paired_density": summary(list(paired_density(args.surveys))),
        "through_the_functions": list(through(4000)),
        "mixed": list(mixed(args.models)),
        "cpu_seconds": round(time.process_time() - began, 1),
    }
    print(json.dumps(found, indent=1))
    return 0


def cover_pairs(  # noqa: PLR0917  a cell
    rng: np.random.Generator, b: int, n: int, level: float, size: int, rho: float, loss: float
) -> tuple[np.ndarray, np.ndarray]:
    """Two visits to the same units; the second time a fifth of the spread is each unit's own."""
    place = unit_shares(rng, (b, n), level, rho)
    own = unit_shares(rng, (b, n), level, rho / 5)
    later = (1 - loss) * np.clip(place + own - level, 0.0, 1.0)
    if size == TAPE:
        return place, later
    return rng.binomial(size, place) / size, rng.binomial(size, later) / size


def truth_of(level: float, rho: float, loss: float) -> float:
    """Change of the mean, the ends of the later cover cut off as simulated."""
    rng = np.random.default_rng([SEED, round(1000 * level), round(1000 * rho)])
    place = unit_shares(rng, (400_000, 1), level, rho)
    own = unit_shares(rng, (400_000, 1), level, rho / 5)
    return float((1 - loss) * np.clip(place + own - level, 0.0, 1.0).mean() - level)


def held(first: np.ndarray, second: np.ndarray, truth: float) -> tuple[float, int]:
    """Coverage of t on the differences, and how many surveys had a spread."""
    gap = second - first
    n = gap.shape[1]
    mean, sd = gap.mean(axis=1), gap.std(axis=1, ddof=1)
    stated = sd > 1e-12
    reach = stdtrit(n - 1, 0.975) * sd / np.sqrt(n)
    inside = np.abs(mean - truth) <= reach
    return float(inside[stated].mean()), int(stated.sum())


Row = tuple[float, float, tuple[float, ...]]


def paired_cover(b: int) -> Iterator[Row]:
    grid = ((0.1, 0.2, 0.3, 0.45, 0.6), (25, 100, TAPE), (0.02, 0.05, 0.1), (0.0, 0.25, 0.5))
    truths: dict[tuple[float, float, float], float] = {}
    for n, level, size, rho, loss in itertools.product(N_UNITS, *grid):
        key = (level, rho, loss)
        if key not in truths:
            truths[key] = truth_of(*key)
        seed = [SEED, n, round(1000 * level), size, round(1000 * rho), round(100 * loss)]
        pair = cover_pairs(np.random.default_rng(seed), b, n, level, size, rho, loss)
        p, stated = held(*pair, truths[key])
        yield p, float(np.sqrt(p * (1 - p) / stated)), (n, level, size, rho, loss)


def paired_density(b: int) -> Iterator[Row]:
    grid = ((5.0, 10.0, 30.0, 100.0), (0.2, 0.5, 1.0), (0.0, 0.25, 0.5))
    for n, level, spread, loss in itertools.product(N_UNITS, *grid):
        seed = [SEED, n, round(level), round(100 * spread), round(100 * loss), 2]
        rng = np.random.default_rng(seed)
        place = rng.gamma(1 / spread, level * spread, (b, n))
        own = rng.gamma(20.0, 1 / 20.0, (b, n))
        pair = rng.poisson(place), rng.poisson((1 - loss) * place * own)
        p, stated = held(*pair, -loss * level)
        yield p, float(np.sqrt(p * (1 - p) / stated)), (n, level, spread, loss)


def summary(rows: list[Row]) -> dict[str, Any]:
    """Lowest, highest and mean of three and four units, and of five and more."""
    out: dict[str, Any] = {
        "cells": len(rows),
        "monte_carlo_u_pct": round(100 * max(u for _, u, _ in rows), 2),
    }
    for words, some in (
        ("3_4_units", [r for r in rows if r[2][0] < 5]),
        ("5_units_up", [r for r in rows if r[2][0] >= 5]),
    ):
        least, most = min(some), max(some)
        low, high = target_pct(int(some[0][2][0]))
        out[words] = {
            "lowest_pct": [round(100 * least[0], 1), *least[2]],
            "highest_pct": [round(100 * most[0], 1), *most[2]],
            "mean_pct": round(100 * float(np.mean([r[0] for r in some])), 2),
            "below": [[round(100 * r[0], 1), *r[2]] for r in some if 100 * r[0] < low],
            "above": [[round(100 * r[0], 1), *r[2]] for r in some if 100 * r[0] > high],
        }
    return out


def through(b: int) -> Iterator[dict[str, Any]]:
    """Cells that go through the function, one survey at a time."""
    for n, level in itertools.product((3, 5, 10), (0.1, 0.4)):
        rng, truth = np.random.default_rng([SEED, n]), truth_of(level, 0.05, 0.25)
        pairs = zip(*cover_pairs(rng, b, n, level, 100, 0.05, 0.25), strict=True)
        found = [paired_change("cover_frac", a, c).change for a, c in pairs]
        stated = [one for one in found if one.lo95 is not None and one.hi95 is not None]
        hits = sum(one.lo95 <= truth <= one.hi95 for one in stated)
        yield cell(f"paired, cover {level}", n, 0.05, hits, len(stated))


def mixed(b: int) -> Iterator[dict[str, Any]]:
    """Sites, units, visits; spread of units; share of units gone; spread of observers."""
    for shape, sd_unit, gone, sd_observer in (
        ((1, 3, 2), 0.05, 0.0, 0.0),
        ((2, 3, 2), 0.10, 0.0, 0.0),
        ((2, 4, 3), 0.02, 0.2, 0.0),
        ((3, 5, 2), 0.05, 0.2, 0.0),
        ((4, 5, 4), 0.10, 0.2, 0.0),
        ((3, 8, 3), 0.08, 0.1, 0.04),
    ):
        rng = np.random.default_rng([SEED, *shape, round(1000 * sd_unit)])
        hits = stated = 0
        for _ in range(b):
            found = one_model(rng, shape, sd_unit, gone, sd_observer)
            if found is not None:
                stated += 1
                hits += found
        words = f"{shape[0]} sites, {shape[2]} visits, {gone:.0%} of units gone"
        if sd_observer:
            words += ", eight observers"
        yield cell(f"mixed: {words}", shape[1], sd_unit, hits, stated)


def one_model(
    rng: np.random.Generator,
    shape: tuple[int, int, int],
    sd_unit: float,
    gone: float,
    sd_observer: float,
) -> bool | None:
    """Whether the interval of the last visit against the first holds; None without a model."""
    sites, units, visits = shape
    at = [(s, u, v) for s in range(sites) for u in range(units) for v in range(visits)]
    place = rng.normal(0, sd_unit, (sites, units))
    eyes, who = rng.normal(0, sd_observer, 8), rng.integers(8, size=len(at))
    y = np.array([0.4 - 0.05 * v + place[s, u] for s, u, v in at])
    y += eyes[who] + rng.normal(0, 0.05, len(at))
    y[rng.random(len(at)) < gone] = np.nan
    data = VisitedUnits(
        values=y,
        sites=[s for s, _, _ in at],
        visits=[v for _, _, v in at],
        units=[u for _, u, _ in at],
        observers=who.tolist() if sd_observer else None,
    )
    try:
        fit = fit_visits(data)
        change = fit.contrast("x", fit.weights_of_change(0, visits - 1)).change
    except ValueError:
        return None
    return bool(change.lo95 <= -0.05 * (visits - 1) <= change.hi95)


if __name__ == "__main__":
    raise SystemExit(main())
