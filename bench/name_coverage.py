"""
How often intervals of cover by name hold the truth: `python -m bench.name_coverage`.

A season of units with 100 points each and corals that are named; 10 or 20 % of the corals are
drawn for a second look, which is right. Names err at stated rates, more in some units than in
others. Cover by name is stated raw (t on the logit), corrected by second looks, and by an outside
table of 100 checked corals a class; of all units, or of a site of eight among them.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from typing import Any

import numpy as np

from dryslate.base.errors import InputError
from dryslate.core.survey.cover import estimate_cover
from dryslate.core.survey.intervals import fraction_interval
from dryslate.core.survey.second_looks import (
    CorrectedAmounts,
    SecondLook,
    correct_by_second_looks,
    correct_by_table,
)
from dryslate.core.survey.statement import SurveySettings

SEED = 9_105
COVERS = {3: (0.20, 0.10, 0.05), 5: (0.15, 0.12, 0.08, 0.05, 0.03)}


def errors(q: int, rate: float) -> np.ndarray:
    """Each class is taken for the next one with this rate, for the one before with half of it."""
    table = np.eye(q) * (1 - 1.5 * rate)
    for k in range(q):
        table[k, (k + 1) % q] += rate
        table[k, (k - 1) % q] += rate / 2
    return table


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=2_000, help="simulated a cell")
    args = parser.parse_args()
    began = time.process_time()
    cells = list(simulate(args.surveys))
    hard = [c for c in cells if c["raw_pct"] < 70]
    found = {
        "seed": SEED,
        "surveys_a_cell": args.surveys,
        "classes_where_raw_is_under_70": len(hard),
        "lowest_corrected_there_pct": min((c["corrected_pct"] for c in hard), default=None),
        "cells": cells,
        "cpu_seconds": round(time.process_time() - began, 1),
    }
    print(json.dumps(found, indent=1))
    return 0


def simulate(b: int) -> Iterator[dict[str, Any]]:
    for case in (
        (3, 0.10, 0.1, 60, 60),
        (3, 0.20, 0.1, 60, 60),
        (3, 0.20, 0.2, 40, 40),
        (3, 0.30, 0.1, 60, 60),
        (3, 0.20, 0.2, 20, 20),
        (5, 0.20, 0.1, 100, 100),
        (5, 0.20, 0.2, 60, 60),
        (5, 0.30, 0.2, 60, 60),
        (3, 0.30, 0.1, 60, 8),
    ):
        yield from one_cell(b, *case)


def one_cell(
    b: int, q: int, rate: float, share: float, n_all: int, n: int
) -> Iterator[dict[str, Any]]:
    rng = np.random.default_rng([SEED, q, round(100 * rate), round(100 * share), n_all, n])
    truth, table = np.array(COVERS[q]), errors(q, rate)
    held, refused = np.zeros((3, q)), 0
    wide = np.zeros((2, q))
    for _ in range(b):
        values, looks = season(rng, truth, table, share, n_all)
        values = values[:n]
        checked = np.array([rng.multinomial(100, row) for row in table])
        direct = correct_by_second_looks(values, [str(u) for u in range(n)], looks, names(q))
        outside = by_table(values, checked)
        refused += outside is None
        for k in range(q):
            raw = estimate_cover(values[:, k], SurveySettings())
            held[0, k] += raw.lo95 <= truth[k] <= raw.hi95
            wide[0, k] += raw.hi95 - raw.lo95
            for at, found in ((1, direct), (2, outside)):
                if found is None:
                    continue
                lo, hi = interval(found, k, n)
                held[at, k] += lo <= truth[k] <= hi
                wide[1, k] += (hi - lo) * (at == 1)
    for k in range(q):
        p = held[:, k] / (b, b, max(b - refused, 1))
        yield {
            "classes": q,
            "error_rate": round(1.5 * rate, 2),
            "looked_at_again": share,
            "units_looked_at": n_all,
            "units": n,
            "cover": float(truth[k]),
            "raw_pct": round(100 * p[0], 1),
            "corrected_pct": round(100 * p[1], 1),
            "outside_pct": round(100 * p[2], 1),
            "outside_refused_pct": round(100 * refused / b, 1),
            "monte_carlo_u_pct": round(100 * float(np.sqrt(p[1] * (1 - p[1]) / b)), 2),
            "width_over_raw": round(float(wide[1, k] / wide[0, k]), 2),
        }


def by_table(values: np.ndarray, checked: np.ndarray) -> CorrectedAmounts | None:
    """Correct by a table of checked corals; None where it tells classes apart too poorly."""
    try:
        return correct_by_table(values, checked / 100, np.full(len(checked), 100.0))
    except InputError:
        return None


def names(q: int) -> list[str]:
    return [f"class {k}" for k in range(q)]


def interval(found: CorrectedAmounts, k: int, n: int) -> tuple[float, float]:
    lo, hi = fraction_interval(
        min(max(found.estimate[k], 1e-9), 1 - 1e-9), found.u[k], n, np.inf, found.df[k]
    )
    return float(lo), float(hi)


def season(
    rng: np.random.Generator, truth: np.ndarray, table: np.ndarray, share: float, n: int
) -> tuple[np.ndarray, list[SecondLook]]:
    """Points and corals of each unit as first named, and second looks at some of the corals."""
    q = len(truth)
    cover = rng.dirichlet(np.append(truth, 1 - truth.sum()) * 19, n)[:, :q]  # correlation 0.05
    labels, values, looks = names(q), np.zeros((n, q)), []
    for u in range(n):
        own = np.array([rng.dirichlet(row * 20 + 1e-9) for row in table])  # observers and days
        points = rng.multinomial(100, np.append(cover[u], 1 - cover[u].sum()))[:q]
        values[u] = sum(rng.multinomial(points[k], own[k]) for k in range(q)) / 100
        corals = rng.multinomial(rng.poisson(25), cover[u] / cover[u].sum())
        for k in range(q):
            first = rng.multinomial(corals[k], own[k])
            for j in range(q):
                again = rng.binomial(first[j], share)
                looks += [
                    SecondLook(unit=str(u), first=labels[j], settled=labels[k], p_drawn=share)
                ] * int(again)
    return values, looks


if __name__ == "__main__":
    raise SystemExit(main())
