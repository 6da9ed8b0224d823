"""
How often 95 % intervals of agreement hold the truth: `python -m bench.agreement_coverage`.

Two observers name the same corals of six genera, each genus 0.6 times as frequent as the one
before; each observer errs by chance, evenly among the others. "alike" is the chance that a coral of
a photo of five is, to both observers, like the first of that photo. AC1 takes the names used as
those on offer, as `app/observer_agreement.py` does. Surveys without an interval are left out; `n_`
says how many have one.
"""

from __future__ import annotations

import argparse
import json
import time

import numpy as np

from dryslate.core.identify.hit_rate import wilson_interval
from dryslate.core.survey.agreement import (
    Agreement,
    Coefficient,
    cohen_kappa,
    count_pairs,
    read_ratings,
)
from dryslate.core.survey.agreement_many import agree

SEED = 6_173
N_GENERA = 6
PHOTO = 5
RIGHT = (0.6, 0.8, 0.95)
CORALS = (10, 20, 30, 50, 100)
ALIKE = (0.0, 0.3)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=2_000, help="simulated a cell")
    args = parser.parse_args()
    began = time.process_time()
    found = [
        cell(right, n, alike, args.surveys) for alike in ALIKE for right in RIGHT for n in CORALS
    ]
    took = round(time.process_time() - began, 1)
    print(json.dumps({"seed": SEED, "cells": found, "cpu_seconds": took}, indent=1))
    return 0


def cell(right: float, n: int, alike: float, b: int) -> dict[str, float]:
    """Simulate one cell: how often each interval held, in per cent of the surveys that have one."""
    rng = np.random.default_rng([SEED, round(100 * right), n, round(100 * alike)])
    table = joint(right)
    truth = true_values(table)
    held: dict[str, list[bool]] = {name: [] for name in truth}
    for _ in range(b):
        rows = survey(rng, table, n, alike)
        ratings = read_ratings(rows)
        share = float(np.mean([x == y for x, y in rows]))
        lo, hi = wilson_interval(share, n)
        held["share"].append(bool(lo <= truth["share"] <= hi))
        for name, one in (
            ("kappa", cohen_kappa(count_pairs(ratings))),
            ("ac1", agree(ratings, Coefficient.GWET_AC1)),
        ):
            held[name] += holds(one, truth[name])
    told: dict[str, float] = {"right": right, "corals": n, "alike": alike}
    for name, values in held.items():
        told |= {f"true_{name}": round(truth[name], 3), f"n_{name}": len(values)}
        told[f"held_pct_{name}"] = round(100 * float(np.mean(values)), 1) if values else np.nan
    return told


def joint(right: float) -> np.ndarray:
    """Chance of each pair of names."""
    genera = 0.6 ** np.arange(N_GENERA)
    genera /= genera.sum()
    wrong = (1 - right) / (N_GENERA - 1)
    says = np.where(np.eye(N_GENERA, dtype=bool), right, wrong)
    return np.asarray(np.einsum("t,ta,tb->ab", genera, says, says))


def true_values(table: np.ndarray) -> dict[str, float]:
    """Share alike, kappa and AC1 of all corals there are."""
    share, each = float(np.trace(table)), table.sum(axis=0)
    by_kappa, by_ac1 = float(each @ each), float((each * (1 - each)).sum() / (N_GENERA - 1))
    return {
        "share": share,
        "kappa": (share - by_kappa) / (1 - by_kappa),
        "ac1": (share - by_ac1) / (1 - by_ac1),
    }


def survey(
    rng: np.random.Generator, table: np.ndarray, n: int, alike: float
) -> list[tuple[int, int]]:
    """Names of two observers; corals of a photo may be like its first."""
    at = rng.choice(table.size, n, p=table.ravel())
    first = np.arange(n) // PHOTO * PHOTO
    at = np.where(rng.random(n) < alike, at[first], at)
    return [(int(k) // N_GENERA, int(k) % N_GENERA) for k in at]


def holds(one: Agreement, truth: float) -> list[bool]:
    """Whether an interval holds the truth; nothing where there is none."""
    return [] if one.lo95 is None or one.hi95 is None else [one.lo95 <= truth <= one.hi95]


if __name__ == "__main__":
    raise SystemExit(main())
