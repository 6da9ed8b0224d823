"""
How often 95 % intervals hold the truth in simulated surveys: `python -m bench.survey_coverage`.

Cover: beta-binomial units (points) or beta units (tape, `size` 1e6). Density: negative binomial
counts. Prevalence: beta-binomial cases among negative binomial numbers of colonies (k = 4). Zones,
lines with widths and geometric means of size: a few cells each, through the functions themselves.
Intervals come from src/dryslate/core/survey; a limit counts as held when the truth is within it.
`--write` writes src/dryslate/data/tables/survey_coverage.csv, which gives results their flags;
`--requested` measures the intervals that are made on request only (minutes).
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import expit, logit, ndtr, ndtri, stdtrit

from dryslate.core.survey.cover import estimate_cover, estimate_point_cover
from dryslate.core.survey.coverage import target_pct
from dryslate.core.survey.density import estimate_line_density
from dryslate.core.survey.intervals import fraction_interval, rate_interval
from dryslate.core.survey.methods import Method
from dryslate.core.survey.prevalence import estimate_tissue_share
from dryslate.core.survey.resampling import Resampling, Statistic, fit_bootstrap, ratio_jackknife
from dryslate.core.survey.size_frequency import geometric_mean, size_statistics
from dryslate.core.survey.size_quantiles import estimate_quantile
from dryslate.core.survey.sizes import ColonySizes, require_sizes
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.zones import estimate_site

TABLE = Path(__file__).resolve().parents[1] / "src/dryslate/data/tables/survey_coverage.csv"
COLUMNS = ("figure", "n_units", "level", "size", "rho", "spread", "coverage_pct", "coverage_u_pct")
SEED = 5_410
N_UNITS = (2, 3, 4, 5, 6, 8, 10, 15, 20)
HELD_UNITS = (3, 4, 5, 6, 8, 10, 15, 20, 30)
TAPE = 1_000_000
QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=10_000, help="simulated a cell")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--requested", action="store_true")
    args = parser.parse_args()
    began = time.perf_counter()
    found: dict[str, Any] = {"surveys_a_cell": args.surveys, "seed": SEED}
    if args.requested:
        found["requested"] = list(requested(4000))
    else:
        found["held_to_93_97"] = {
            name: summary(list(cells)) for name, cells in held(args.surveys).items()
        }
        found["mean_of_unit_logits"] = unit_logits(args.surveys)
        found["through_the_functions"] = list(whole(4000))
        rows = list(table(args.surveys))
        found["table"] = {name: elsewhere([r for r in rows if r[0] == name]) for name in SIMULATE}
        if args.write:
            write(rows)
    found["seconds"] = round(time.perf_counter() - began, 1)
    print(json.dumps(found, indent=1))
    return 0


Survey = tuple[float, np.ndarray, np.ndarray, float]
"""Truth, both ends (NaN: none on that side), and the spread as the look-up reckons it."""


def cover(rng: np.random.Generator, b: int, n: int, level: float, size: int, rho: float) -> Survey:
    share = unit_shares(rng, (b, n), level, rho)
    values = share if size == TAPE else rng.binomial(size, share) / size
    mean, u = values.mean(axis=1), values.std(axis=1, ddof=1) / np.sqrt(n)
    lo, hi = fraction_interval(mean, u, n, np.inf if size == TAPE else n * size)
    return level, lo, hi, rho + (1 - rho) / size


def density(rng: np.random.Generator, b: int, n: int, level: float, _: int, rho: float) -> Survey:
    """Here `rho` is the squared coefficient of variation of the units' densities, 1 / k."""
    expected = rng.gamma(1 / rho, level * rho, (b, n)) if rho else np.full((b, n), level)
    counts = rng.poisson(expected)
    mean, u = counts.mean(axis=1), counts.std(axis=1, ddof=1) / np.sqrt(n)
    lo, hi = rate_interval(mean, u, n, float(n))
    return level, lo, hi, 1 / level + rho


def prevalence(
    rng: np.random.Generator, b: int, n: int, level: float, size: int, rho: float
) -> Survey:
    colonies = rng.poisson(rng.gamma(4.0, size / 4.0, (b, n)))
    cases = rng.binomial(colonies, unit_shares(rng, (b, n), level, rho))
    held = (colonies > 0).sum(axis=1)
    ratio, u = ratio_jackknife(cases, colonies)
    lo, hi = fraction_interval(ratio, u, held, colonies.sum(axis=1))
    return level, lo, hi, float(n * np.nanvar(ratio) / (level * (1 - level)))


SIMULATE: dict[str, Callable[..., Survey]] = {
    "cover": cover,
    "density": density,
    "prevalence": prevalence,
}
GRID: dict[str, tuple[tuple[float, ...], tuple[int, ...], tuple[float, ...]]] = {
    "cover": ((0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5), (25, 100), (0, 0.05, 0.1, 0.2, 0.4)),
    "density": ((1, 3, 10, 30, 100), (0,), (0, 0.2, 0.5, 1, 2, 4)),
    "prevalence": ((0.02, 0.05, 0.1, 0.2, 0.3, 0.5), (10, 30), (0, 0.05, 0.1, 0.2)),
}
"""Levels, sizes and correlations (for densities: 1 / k) of the stored table."""
HELD: dict[str, tuple[tuple[float, ...], tuple[int, ...], tuple[float, ...]]] = {
    "cover": ((0.1, 0.2, 0.3, 0.4, 0.5, 0.6), (25, 50, 100, 400, TAPE), (0, 0.02, 0.05, 0.1)),
    "density": ((5, 10, 30, 100), (0,), (0, 0.2, 0.5, 1)),
    "prevalence": ((0.1, 0.2, 0.3, 0.4, 0.5, 0.6), (10, 30, 100), (0, 0.02, 0.05, 0.1)),
}
"""Where the intervals are held to their target."""


def unit_shares(
    rng: np.random.Generator, shape: tuple[int, int], mean: float, rho: float
) -> np.ndarray:
    """Beta-distributed unit means with this intra-unit correlation."""
    if rho == 0:
        return np.full(shape, mean)
    both = (1 - rho) / rho
    return rng.beta(mean * both, (1 - mean) * both, shape)


def held_pct(truth: float, lo: np.ndarray, hi: np.ndarray) -> tuple[float, float, float]:
    """Coverage, its Monte Carlo error, and the share of surveys with a limit alone, in percent."""
    stated = ~(np.isnan(lo) & np.isnan(hi))
    inside = ~(lo > truth) & ~(hi < truth) & stated
    p, n = inside[stated].mean(), stated.sum()
    limits = (np.isnan(lo) != np.isnan(hi))[stated].mean()
    return 100 * p, 100 * float(np.sqrt(max(p * (1 - p), 1e-9) / n)), 100 * float(limits)


Row = tuple[str, int, float, int, float, float, float, float, float]


def simulate(
    name: str,
    units: tuple[int, ...],
    grid: tuple[tuple[float, ...], tuple[int, ...], tuple[float, ...]],
    b: int,
) -> Iterator[Row]:
    """One row a cell; each cell has its own seed, so that one can be run again alone."""
    for n, level, size, rho in itertools.product(units, *grid):
        if size == TAPE and rho == 0:
            continue  # every unit alike: nothing to state
        key = [SEED, list(SIMULATE).index(name), n, round(1000 * level), size, round(1000 * rho)]
        truth, lo, hi, spread = SIMULATE[name](np.random.default_rng(key), b, n, level, size, rho)
        yield name, n, level, size, rho, spread, *held_pct(truth, lo, hi)


def held(b: int) -> dict[str, Iterator[Row]]:
    return {name: simulate(name, HELD_UNITS, HELD[name], b) for name in SIMULATE}


def table(b: int) -> Iterator[Row]:
    for name in SIMULATE:
        yield from simulate(name, N_UNITS, GRID[name], b)


def summary(rows: list[Row]) -> dict[str, Any]:
    """Worst cells at three and four units, and at five and more."""
    out: dict[str, Any] = {
        "cells": len(rows),
        "monte_carlo_u_pct": round(max(r[7] for r in rows), 2),
    }
    for words, some in (
        ("3_4_units", [r for r in rows if r[1] < 5]),
        ("5_units_up", [r for r in rows if r[1] >= 5]),
    ):
        least, most = min(some, key=lambda r: r[6]), max(some, key=lambda r: r[6])
        missed = [r for r in some if not target_pct(r[1])[0] <= r[6] <= target_pct(r[1])[1]]
        out[words] = {
            "lowest_pct": [round(v, 3) for v in (least[6], *least[1:5])],
            "highest_pct": [round(v, 3) for v in (most[6], *most[1:5])],
            "mean_pct": round(float(np.mean([r[6] for r in some])), 2),
            "cells_outside": [[round(v, 3) for v in (r[6], *r[1:5])] for r in missed],
        }
    return out


def elsewhere(rows: list[Row]) -> dict[str, Any]:
    low = [r for r in rows if r[6] < target_pct(r[1])[0]]
    high = [r for r in rows if r[6] > target_pct(r[1])[1]]
    return {
        "cells": len(rows),
        "too_low": len(low),
        "too_high": len(high),
        "lowest_pct": [
            round(v, 3) for v in (min(rows, key=lambda r: r[6])[i] for i in range(6, 7))
        ],
    }


def write(rows: list[Row], path: Path = TABLE, source: str = "bench/survey_coverage") -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow((*COLUMNS, "source"))
        for name, n, level, size, rho, spread, pct, pct_u, _ in rows:
            figures = [f"{v:.4g}" for v in (level, size, rho, spread)]
            out.writerow((name, n, *figures, f"{pct:.1f}", f"{pct_u:.2f}", source))


def unit_logits(b: int) -> dict[str, Any]:
    """What the interval is not: t on the mean of unit logits, halves added; about another mean."""
    rng, n, p = np.random.default_rng(SEED), 20, 0.05
    hits = rng.binomial(200, unit_shares(rng, (b, n), p, 0.1))
    logits = logit((hits + 0.5) / 201)
    reach = stdtrit(n - 1, 0.975) * logits.std(axis=1, ddof=1) / np.sqrt(n)
    middle = logits.mean(axis=1)
    inside = (expit(middle - reach) <= p) & (p <= expit(middle + reach))
    return cell("cover 0.05, 200 points", n, 0.1, int(inside.sum()), b)


def whole(b: int) -> Iterator[dict[str, Any]]:
    """Cells that go through the estimators one survey at a time."""
    rng = np.random.default_rng(SEED)
    settings = SurveySettings()
    weights = {"flat": 0.5, "crest": 0.3, "slope": 0.2}
    means = {"flat": 0.1, "crest": 0.5, "slope": 0.3}
    truth = sum(weights[z] * means[z] for z in weights)
    for n, rho in itertools.product((3, 5, 8), (0.05, 0.1)):
        hits = 0
        for _ in range(b):
            zones = {
                z: estimate_point_cover(
                    rng.binomial(100, unit_shares(rng, (1, n), m, rho))[0], [100] * n, settings
                )
                for z, m in means.items()
            }
            site = estimate_site(zones, weights, is_fraction=True, what="cover_frac")
            hits += (site.lo95 or 0) <= truth <= (1 if site.hi95 is None else site.hi95)
        yield cell("site of 3 zones", n, rho, hits, b)
    for n, sigma in itertools.product((3, 5, 10), (0.4, 0.8)):
        hits = 0
        for _ in range(b):
            found = estimate_line_density(lines(rng, n, sigma), [20.0] * n, settings)
            hits += (
                found.hi95 is not None
                and found.lo95 is not None
                and found.lo95 <= 3.0 <= found.hi95
            )
        yield cell("density from lines, 3 per m2", n, sigma, hits, b)
    for n, between in itertools.product((3, 5, 10), (0.1, 0.3)):
        hits = 0
        for _ in range(b):
            centre = rng.normal(2.5, between, n)
            sizes = [np.exp(rng.normal(c, 0.8, max(1, rng.poisson(12)))) for c in centre]
            found = geometric_mean(require_sizes(sizes), settings)
            hits += bool(found.lo95 <= np.exp(2.5) <= found.hi95)
        yield cell("geometric mean size", n, between, hits, b)
    yield from quantiles(b)
    yield from tissue(b)


def quantiles(b: int) -> Iterator[dict[str, Any]]:
    """Quantiles of size; surveys in which an end is not stated are counted apart."""
    rng = np.random.default_rng(SEED)
    for n, between in itertools.product((3, 5, 10, 20), (0.1, 0.3)):
        hits, stated = dict.fromkeys(QUANTILES, 0), dict.fromkeys(QUANTILES, 0)
        for _ in range(b):
            centre = rng.normal(2.5, between, n)
            sizes = require_sizes(
                [np.exp(rng.normal(c, 0.8, max(1, rng.poisson(12)))) for c in centre]
            )
            for share in QUANTILES:
                truth = np.exp(2.5 + ndtri(share) * np.hypot(between, 0.8))
                found = estimate_quantile(sizes, share, SurveySettings())
                if found.lo95 is not None:
                    stated[share] += 1
                    hits[share] += bool(found.lo95 <= truth <= found.hi95)
        for share in filter(stated.__getitem__, QUANTILES):
            made = cell(f"size quantile {share:g}", n, between, hits[share], stated[share])
            yield {**made, "stated_pct": round(100 * stated[share] / b, 1)}


def tissue(b: int) -> Iterator[dict[str, Any]]:
    """Bleached share of live tissue, colonies alike: most none, some a part, by unit."""
    rng = np.random.default_rng(SEED)
    truth = 0.3 / 3  # three colonies in ten, of each a third on average
    for n, rho in itertools.product((3, 5, 10), (0.05, 0.1)):
        hits = 0
        for _ in range(b):
            number = np.maximum(1, rng.poisson(15, n))
            some = rng.binomial(number, unit_shares(rng, (1, n), 0.3, rho)[0])
            amounts = [rng.beta(1.0, 2.0, k).sum() for k in some]
            found = estimate_tissue_share(amounts, number, SurveySettings(), what="x")
            if found.hi95 is not None:
                hits += (found.lo95 or 0.0) <= truth <= found.hi95
        yield cell("share of tissue", n, rho, hits, b)


def lines(rng: np.random.Generator, n: int, sigma: float) -> list[np.ndarray]:
    """Widths in metres met by 20 m lines among 3 colonies a square metre, of median 0.15 m."""
    mean = 0.15 * np.exp(sigma**2 / 2)
    found = []
    for _ in range(n):
        met = rng.poisson(20.0 * 3.0 * mean * rng.gamma(5.0, 0.2))
        found.append(np.exp(rng.normal(np.log(0.15) + sigma**2, sigma, met)))  # the wide sooner
    return found


def cell(what: str, n: int, spread: float, hits: int, b: int) -> dict[str, Any]:
    p = hits / b
    return {
        "what": what,
        "n_units": n,
        "spread": spread,
        "coverage_pct": round(100 * p, 1),
        "monte_carlo_u_pct": round(100 * float(np.sqrt(p * (1 - p) / b)), 2),
    }


def requested(b: int) -> Iterator[dict[str, Any]]:
    """BCa and beta-binomial, beside the figure's own interval on the same surveys."""
    rng = np.random.default_rng(SEED)
    own, other = SurveySettings(), SurveySettings(method=Method.BETA_BINOMIAL)
    for n, level, rho in ((8, 0.02, 0.1), (8, 0.05, 0.2), (15, 0.05, 0.2), (10, 0.3, 0.1)):
        hits = [0, 0]
        for _ in range(b):
            counts = rng.binomial(50, unit_shares(rng, (1, n), level, rho))[0]
            for at, settings in enumerate((own, other)):
                found = estimate_point_cover(counts, [50] * n, settings)
                hits[at] += (found.lo95 or 0) <= level <= (1 if found.hi95 is None else found.hi95)
        for words, h in zip(("t on the logit", "beta-binomial"), hits, strict=True):
            yield cell(f"{words}, cover {level}", n, rho, h, b)
    yield from drawn_again(b)
    yield from drawn_sizes(b)


def drawn_again(b: int) -> Iterator[dict[str, Any]]:
    """BCa of cover: plain, widened as the house does, and the figure's own interval."""
    rng, own = np.random.default_rng(SEED), SurveySettings()
    for n, level, rho in ((15, 0.1, 0.1), (30, 0.1, 0.1), (15, 0.3, 0.1)):
        hits = [0, 0, 0]
        for _ in range(b):
            values = unit_shares(rng, (1, n), level, rho)[0]
            for at, is_widened in enumerate((False, True)):
                drawn = fit_bootstrap(
                    lambda c, v=values: c @ v / c.sum(axis=1),
                    n,
                    rng,
                    Resampling(n_resamples=1000, is_widened=is_widened),
                )
                hits[at] += drawn.lo <= level <= drawn.hi
            found = estimate_cover(values, own)
            hits[2] += found.lo95 <= level <= found.hi95
        for words, h in zip(("plain BCa", "BCa", "t on the logit"), hits, strict=True):
            yield cell(f"{words}, cover {level}", n, rho, h, b)


def drawn_sizes(b: int) -> Iterator[dict[str, Any]]:
    """BCa of log size and of a class, and what it makes of the coefficient of variation."""
    rng, few = np.random.default_rng(SEED), Resampling(n_resamples=1000, is_widened=True)
    variance = 0.8**2 + 0.2**2
    low, high = (float(ndtr((np.log(cm) - 2.5) / np.sqrt(variance))) for cm in (10, 20))
    truth = {
        "log_sd": np.sqrt(variance),
        "log_skewness": 0.0,
        "log_kurtosis": 0.0,
        "share of 10 to 20 cm": high - low,
        "cv_pct": 100 * np.sqrt(np.expm1(variance)),
    }
    for n, each in ((15, 6), (30, 6), (15, 30)):
        hits = dict.fromkeys(truth, 0)
        for _ in range(b):
            centre = rng.normal(2.5, 0.2, n)
            sizes = require_sizes(
                [np.exp(rng.normal(c, 0.8, max(1, rng.poisson(each)))) for c in centre]
            )
            for what, statistic in {**size_statistics(sizes), **others(sizes)}.items():
                drawn = fit_bootstrap(statistic, n, rng, few)
                hits[what] += drawn.lo <= truth[what] <= drawn.hi
        for what, h in hits.items():
            yield cell(f"BCa, {what}, {each} colonies a unit", n, 0.2, h, b)


def others(sizes: ColonySizes) -> dict[str, Statistic]:
    ones, size = np.ones_like(sizes.size_cm), sizes.size_cm
    inside = sizes.unit_sums((size >= 10) & (size < 20))
    n, first, second = sizes.unit_sums(ones), sizes.unit_sums(size), sizes.unit_sums(size**2)

    def variation(c: np.ndarray) -> np.ndarray:
        m, mean = c @ n, c @ first / (c @ n)
        return 100 * np.sqrt((c @ second / m - mean**2) * m / (m - 1)) / mean

    return {"share of 10 to 20 cm": lambda c: c @ inside / (c @ n), "cv_pct": variation}


if __name__ == "__main__":
    raise SystemExit(main())
