"""
How often intervals by name hold the truth where names err: `python -m bench.name_coverage`.

A season of units, each with 100 points and about 25 corals that are named, or with a belt whose
colonies are counted by name; 10 or 20 % of the corals are drawn for a second look, which is right.
Names err at stated rates, more in some units than in others. Cover and density by name are stated
raw, corrected by second looks, and corrected by an outside table of checked corals; of all units,
or of a site of eight among them. `--part` runs some alone:

- `looks`: the season of points and that of belts, raw, second looks and a table of 100 a class;
- `outside`: a table from outside over units, checked corals, error rates and numbers of classes;
- `few`: a class by the settled second looks that it has;
- `sites`: second looks, sites of two to eight units;
- `health`: prevalence by name as read, and corrected by a table, where genera bleach alike or not;
- `health_sites`: the same, of two to eight units;
- `exact`: a table whose shares are taken as exact, though they were found from so many corals.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.intervals import fraction_interval, rate_interval
from dryslate.core.survey.named_amounts import amount_interval
from dryslate.core.survey.outside_table import (
    correct_by_table,
    correct_prevalence_by_table,
    prepare_table,
)
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.second_looks import correct_by_tallies
from dryslate.core.survey.statement import SurveySettings

FloatArray = NDArray[np.float64]
SEED = 9_105
DRAWS = 1_000
"""For each table: a quarter of what the estimator takes, so that ends are somewhat rougher."""
AT_ONCE = 250
"""Surveys simulated together."""
COVERS = {
    2: (0.20, 0.05),
    3: (0.20, 0.10, 0.05),
    5: (0.15, 0.12, 0.08, 0.05, 0.03),
    10: (0.12, 0.10, 0.08, 0.06, 0.05, 0.04, 0.03, 0.02, 0.01, 0.01),
}
BELT_M2 = 20.0
PER_M2 = 4.0
"""Colonies a square metre for all of the ground covered."""
CLUMPED = 4.0
"""Shape of the gamma law by which densities of belts differ."""
SEASONS = (
    (3, 0.10, 0.1, 60, 60),
    (3, 0.20, 0.1, 60, 60),
    (3, 0.20, 0.2, 40, 40),
    (3, 0.30, 0.1, 60, 60),
    (3, 0.20, 0.2, 20, 20),
    (5, 0.20, 0.1, 100, 100),
    (5, 0.20, 0.2, 60, 60),
    (5, 0.30, 0.2, 60, 60),
    (3, 0.30, 0.1, 60, 8),
)
"""Classes, rate, share looked at again, units of the season, units of the figure."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=4_000, help="simulated a cell")
    parser.add_argument("--part", choices=tuple(PARTS), action="append", help="else looks alone")
    args = parser.parse_args()
    began = time.process_time()
    found: dict[str, Any] = {"seed": SEED, "surveys_a_cell": args.surveys}
    for part in args.part or ["looks"]:
        cells = list(PARTS[part](args.surveys))
        found[part] = {**summary(part, cells), "cells": cells}
    found["cpu_seconds"] = round(time.process_time() - began, 1)
    print(json.dumps(found, indent=1))
    return 0


def summary(part: str, cells: list[dict[str, Any]]) -> dict[str, Any]:
    """The lowest coverages, where names as read fail and everywhere."""
    if part != "looks":
        return {"lowest_pct": min(c["held_pct"] for c in cells)}
    hard = [c for c in cells if c["raw_pct"] < 70]
    return {
        "classes": len(cells),
        "classes_where_raw_is_under_70": len(hard),
        **{
            f"{which}_lowest_{where}_pct": min(c[f"{which}_pct"] for c in some)
            for which in ("corrected", "outside")
            for where, some in (("there", hard), ("anywhere", cells))
        },
    }


def looks(b: int) -> Iterator[dict[str, Any]]:
    """The season of points and of belts."""
    for is_share in (True, False):
        for case in SEASONS:
            yield from one_season(b, *case, is_share=is_share)


def one_season(
    b: int, q: int, rate: float, share: float, n_all: int, n: int, *, is_share: bool
) -> Iterator[dict[str, Any]]:
    kind = [SEED, q, round(100 * rate), round(100 * share), n_all, n, int(is_share)]
    rng = np.random.default_rng(kind)
    truth, table = truth_of(q, is_share=is_share), errors(q, rate)
    held: dict[str, list[FloatArray]] = {"raw": [], "corrected": [], "outside": []}
    wide: dict[str, list[FloatArray]] = {"raw": [], "corrected": [], "outside": []}
    for _ in range(0, b, AT_ONCE):
        first, again = season(rng, (AT_ONCE, n_all), truth, table, share, is_share=is_share)
        values = first[:, :n]
        direct = correct_by_tallies(values, again / share, again.sum(axis=1))
        for which, (lo, hi) in {
            "raw": as_read(values, is_share=is_share),
            "corrected": amount_interval(
                direct.estimate, direct.u, n, direct.df, is_share=is_share
            ),
            "outside": by_tables(rng, values, table, 100, is_share=is_share),
        }.items():
            held[which].append(np.where(np.isnan(hi), np.nan, (lo <= truth) & (truth <= hi)))
            wide[which].append(hi - lo)
    for k in range(q):
        p = {which: float(np.nanmean(np.concatenate(v)[:, k])) for which, v in held.items()}
        width = {which: float(np.nanmedian(np.concatenate(v)[:, k])) for which, v in wide.items()}
        yield {
            "figure": "cover" if is_share else "density",
            "classes": q,
            "error_rate": round(1.5 * rate, 2),
            "looked_at_again": share,
            "units_looked_at": n_all,
            "units": n,
            "truth": float(truth[k]),
            **{f"{which}_pct": round(100 * v, 1) for which, v in p.items()},
            **{f"{which}_u_pct": error_pct(v, b) for which, v in p.items()},
            "outside_refused_pct": round(
                100 * float(np.isnan(np.concatenate(held["outside"])[:, k]).mean()), 1
            ),
            "corrected_width_over_raw": round(width["corrected"] / width["raw"], 2),
            "outside_width_over_raw": round(width["outside"] / width["raw"], 2),
        }


def outside(b: int) -> Iterator[dict[str, Any]]:
    """A table from outside, over what it and the survey may be like."""
    for q, rate, n, checked in (
        *((q, r, n, 100) for q in (2, 3) for r in (0.1, 0.2) for n in (3, 5, 20)),
        *((10, 0.2, n, 100) for n in (5, 20)),
        *((3, r, 20, m) for r in (0.05, 0.1, 0.2, 0.3) for m in (10, 20, 50, 400)),
        *((5, r, 8, m) for r in (0.1, 0.3) for m in (20, 50)),
        (3, 0.2, 2, 100),
    ):
        for is_share in (True, False):
            rng = np.random.default_rng([SEED, 2, q, round(100 * rate), n, checked, is_share])
            truth, table = truth_of(q, is_share=is_share), errors(q, rate)
            found = []
            for _ in range(0, b, AT_ONCE):
                values, _ = season(rng, (AT_ONCE, n), truth, table, 0.1, is_share=is_share)
                lo, hi = by_tables(rng, values, table, checked, is_share=is_share)
                found.append(np.where(np.isnan(hi), np.nan, (lo <= truth) & (truth <= hi)))
            held = np.concatenate(found)
            used = int((~np.isnan(held[:, 0])).sum())
            for k in range(q):
                p = float(np.nanmean(held[:, k]))
                yield {
                    "figure": "cover" if is_share else "density",
                    "classes": q,
                    "error_rate": round(1.5 * rate, 2),
                    "units": n,
                    "checked_a_class": checked,
                    "truth": float(truth[k]),
                    "held_pct": round(100 * p, 1),
                    "u_pct": error_pct(p, used),
                    "refused_pct": round(100 * (1 - used / len(held)), 1),
                }


def exact(b: int) -> Iterator[dict[str, Any]]:
    """A table whose shares are given without how many were checked."""
    for rate, n, checked in ((r, n, m) for r in (0.1, 0.2) for n in (8, 60) for m in (50, 400)):
        rng = np.random.default_rng([SEED, 3, round(100 * rate), n, checked])
        truth, table = truth_of(3, is_share=True), errors(3, rate)
        found = []
        for _ in range(0, b, AT_ONCE):
            values, _ = season(rng, (AT_ONCE, n), truth, table, 0.1, is_share=True)
            lo, hi = by_tables(rng, values, table, checked, is_share=True, is_exact=True)
            found.append(np.where(np.isnan(hi), np.nan, (lo <= truth) & (truth <= hi)))
        for k, p in enumerate(np.nanmean(np.concatenate(found), axis=0).tolist()):
            yield {
                "error_rate": round(1.5 * rate, 2),
                "units": n,
                "really_checked_a_class": checked,
                "truth": float(truth[k]),
                "held_pct": round(100 * p, 1),
                "u_pct": error_pct(p, b),
            }


FEW_AT = (5, 10, 20, 40, 80)


def few(b: int) -> Iterator[dict[str, Any]]:
    """A class by its settled second looks: seasons of 60 units looked at more or less."""
    for rate, n in ((r, n) for r in (0.1, 0.2, 0.3) for n in (8, 60)):
        truth, table = truth_of(3, is_share=True), errors(3, rate)
        read = truth @ table / truth.sum()
        for wanted in FEW_AT:
            rng = np.random.default_rng([SEED, 4, round(100 * rate), n, wanted])
            held, raw = [], []
            share = wanted / (60 * 25 * read[2])  # of the rarest class, on average
            for _ in range(0, b, AT_ONCE):
                first, again = season(rng, (AT_ONCE, 60), truth, table, share, is_share=True)
                numbers = again.sum(axis=1)
                direct = correct_by_tallies(first[:, :n], again / share, numbers)
                lo, hi = amount_interval(direct.estimate, direct.u, n, direct.df, is_share=True)
                is_so_many = np.abs(numbers[:, 2].sum(axis=-1) - wanted) <= max(1, wanted // 5)
                held.append(((lo <= truth) & (truth <= hi))[is_so_many])
                lo, hi = as_read(first[:, :n], is_share=True)
                raw.append(((lo <= truth) & (truth <= hi))[is_so_many])
            of_all = np.concatenate(held)
            for k in range(3):
                p = float(of_all[:, k].mean())
                yield {
                    "error_rate": round(1.5 * rate, 2),
                    "units": n,
                    "settled_looks_of_the_rarest": wanted,
                    "surveys": len(of_all),
                    "truth": float(truth[k]),
                    "raw_pct": round(100 * float(np.concatenate(raw)[:, k].mean()), 1),
                    "held_pct": round(100 * p, 1),
                    "u_pct": error_pct(p, len(of_all)),
                }


FEW_UNITS = (2, 3, 4, 5, 8)


def sites(b: int) -> Iterator[dict[str, Any]]:
    """Second looks of a season, where the figure is of a few of its units."""
    for is_share, (q, rate, share, n_all), n in itertools.product(
        (True, False),
        (
            (3, 0.1, 0.1, 60),
            (3, 0.2, 0.2, 60),
            (3, 0.3, 0.1, 60),
            (5, 0.2, 0.2, 60),
            (3, 0.2, 0.5, 12),
        ),
        FEW_UNITS,
    ):
        kind = [SEED, 6, q, round(100 * rate), round(100 * share), n_all, n, int(is_share)]
        rng = np.random.default_rng(kind)
        truth, table = truth_of(q, is_share=is_share), errors(q, rate)
        held = []
        for _ in range(0, b, AT_ONCE):
            first, again = season(rng, (AT_ONCE, n_all), truth, table, share, is_share=is_share)
            direct = correct_by_tallies(first[:, :n], again / share, again.sum(axis=1))
            lo, hi = amount_interval(direct.estimate, direct.u, n, direct.df, is_share=is_share)
            held.append((lo <= truth) & (truth <= hi))
        for k, p in enumerate(np.concatenate(held).mean(axis=0).tolist()):
            yield {
                "figure": "cover" if is_share else "density",
                "classes": q,
                "error_rate": round(1.5 * rate, 2),
                "looked_at_again": share,
                "units_looked_at": n_all,
                "units": n,
                "truth": float(truth[k]),
                "held_pct": round(100 * p, 1),
                "u_pct": error_pct(p, b),
            }


PREVALENCES = {"apart": (0.50, 0.20, 0.05), "alike": (0.20, 0.20, 0.20)}


def health(b: int) -> Iterator[dict[str, Any]]:
    """Prevalence by name in 20 belts, raw and by a table."""
    for how, rate in itertools.product(PREVALENCES, (0.05, 0.1, 0.2)):
        rng = np.random.default_rng([SEED, 5, round(100 * rate), len(how)])
        yield from one_health(rng, b, how, rate, 20)


def health_sites(b: int) -> Iterator[dict[str, Any]]:
    """The same in a few belts."""
    for how, rate, n in itertools.product(PREVALENCES, (0.1, 0.2), FEW_UNITS):
        rng = np.random.default_rng([SEED, 7, round(100 * rate), len(how), n])
        yield from one_health(rng, b, how, rate, n)


def one_health(
    rng: np.random.Generator, b: int, how: str, rate: float, n: int
) -> Iterator[dict[str, Any]]:
    """A colony is misnamed whether it is ill or not."""
    truth = np.array(PREVALENCES[how])
    table, means = errors(3, rate), truth_of(3, is_share=False) * BELT_M2
    held, read, by_table = np.zeros(3), np.zeros(3), []
    for _ in range(b):
        own = dirichlet(rng, table * 20 + 1e-9, (1, n))[0]
        there = rng.poisson(means * rng.standard_gamma(CLUMPED, (n, 3)) / CLUMPED)
        share = rng.beta(truth * 19, (1 - truth) * 19, (n, 3))
        ill = rng.binomial(there, share)
        ill_read = rng.multinomial(ill, own).sum(axis=-2)
        all_read = ill_read + rng.multinomial(there - ill, own).sum(axis=-2)
        for k in range(3):
            found = estimate_prevalence(ill_read[:, k], all_read[:, k], SurveySettings())
            lo = 0.0 if found.lo95 is None else found.lo95
            held[k] += found.hi95 is not None and lo <= truth[k] <= found.hi95
            read[k] += found.estimate or 0.0
        ready = prepare_table(rng.multinomial(100, table) / 100, np.full(3, 100.0), DRAWS)
        drawn = correct_prevalence_by_table(ill_read, all_read - ill_read, ready)
        by_table.append((drawn.lo95 <= truth) & (truth <= drawn.hi95))
    for k in range(3):
        p, held_by_table = float(held[k] / b), float(np.mean(by_table, axis=0)[k])
        yield {
            "genera_bleach": how,
            "error_rate": round(1.5 * rate, 3),
            "units": n,
            "truth": float(truth[k]),
            "read_on_average": round(float(read[k] / b), 3),
            "held_pct": round(100 * p, 1),
            "u_pct": error_pct(p, b),
            "by_table_pct": round(100 * held_by_table, 1),
            "by_table_u_pct": error_pct(held_by_table, b),
        }


PARTS = {
    "looks": looks,
    "outside": outside,
    "few": few,
    "sites": sites,
    "health": health,
    "health_sites": health_sites,
    "exact": exact,
}


def truth_of(q: int, *, is_share: bool) -> FloatArray:
    return np.array(COVERS[q]) * (1.0 if is_share else PER_M2)


def errors(q: int, rate: float) -> FloatArray:
    """Each class is taken for the next one with this rate, for the one before with half of it."""
    table = np.eye(q) * (1 - 1.5 * rate)
    for k in range(q):
        table[k, (k + 1) % q] += rate
        table[k, (k - 1) % q] += rate / 2
    return table


def season(
    rng: np.random.Generator,
    size: tuple[int, int],
    truth: FloatArray,
    table: FloatArray,
    share: float,
    *,
    is_share: bool,
) -> tuple[FloatArray, FloatArray]:
    """Amounts as first named in each unit, and second looks by first and settled name."""
    q = len(truth)
    own = dirichlet(rng, table * 20 + 1e-9, size)  # observers and days
    if is_share:
        cover = dirichlet(rng, np.append(truth, 1 - truth.sum()) * 19, size)  # correlation 0.05
        points = rng.multinomial(100, cover)[..., :q]
        values = rng.multinomial(points, own).sum(axis=-2) / 100
        alive = cover[..., :q] / cover[..., :q].sum(axis=-1, keepdims=True)
        named = rng.multinomial(rng.multinomial(rng.poisson(25, size), alive), own)
    else:
        mean = truth * BELT_M2 * rng.standard_gamma(CLUMPED, (*size, q)) / CLUMPED
        named = rng.multinomial(rng.poisson(mean), own)
        values = named.sum(axis=-2) / BELT_M2
    again = rng.binomial(named, min(share, 1.0)).astype(float)
    return values, np.swapaxes(again, -1, -2)


def dirichlet(rng: np.random.Generator, shape: FloatArray, size: tuple[int, int]) -> FloatArray:
    gammas = rng.standard_gamma(np.broadcast_to(shape, (*size, *shape.shape)))
    return np.asarray(gammas / gammas.sum(axis=-1, keepdims=True))


def as_read(values: FloatArray, *, is_share: bool) -> tuple[FloatArray, FloatArray]:
    """The interval that cover and density have without a correction."""
    n = values.shape[1]
    mean, u = values.mean(axis=1), values.std(axis=1, ddof=1) / np.sqrt(n)
    if is_share:
        lo, hi = fraction_interval(mean, u, n, 100.0 * n)
    else:
        lo, hi = rate_interval(mean, u, n, BELT_M2 * n)
    return np.nan_to_num(lo, nan=0.0), hi


def by_tables(
    rng: np.random.Generator,
    values: FloatArray,
    table: FloatArray,
    checked: int,
    *,
    is_share: bool,
    is_exact: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Each survey with a table of its own; NaN where it tells classes apart too poorly."""
    q = len(table)
    ends = np.full((2, len(values), q), np.nan)
    for k, unit_values in enumerate(values):
        counts = rng.multinomial(checked, table)
        rows = None if is_exact else np.full(q, float(checked))
        try:
            found = correct_by_table(
                unit_values, prepare_table(counts / checked, rows, DRAWS), is_share=is_share
            )
        except InputError:
            continue
        ends[:, k] = found.lo95, found.hi95
    return ends[0], ends[1]


def error_pct(p: float, b: int) -> float:
    """Monte Carlo error of a coverage, one standard uncertainty."""
    return round(100 * float(np.sqrt(p * (1 - p) / max(b, 1))), 2)


if __name__ == "__main__":
    raise SystemExit(main())
