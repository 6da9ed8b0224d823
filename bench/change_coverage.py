"""
How often 95 % intervals of change hold the truth: `python -m bench.change_coverage`.

Surveys as in `bench/change_surveys.py`, intervals from src/dryslate/core/survey. `held` is where
they are held to their target; `beyond` gains, great losses, and units that change much each in its
own way; `through_the_functions` goes through the functions themselves. `--write` writes
src/dryslate/data/tables/change_coverage.csv, which gives changes their flags: of a cell the worse
of two strengths of pairing. Mixed models: `python -m bench.mixed_coverage`.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from bench.change_surveys import SEED, Cell, Held, hold, truth_of, visits
from bench.survey_coverage import TAPE, cell

from dryslate.core.survey.change import paired_change, unpaired_change
from dryslate.core.survey.coverage import target_pct

TABLE = Path(__file__).resolve().parents[1] / "src/dryslate/data/tables/change_coverage.csv"
COLUMNS = ("figure", "n_units", "level", "size", "spread", "ratio", "coverage_pct")
N_UNITS = (3, 4, 5, 6, 8, 10, 15, 20)
LOSSES = (1.0, 0.75, 0.5)
SHARES = (0.1, 0.2, 0.3, 0.45, 0.6)
HELD: dict[str, tuple[tuple[float, ...], tuple[int, ...], tuple[float, ...]]] = {
    "cover": (SHARES, (25, 100, TAPE), (0.02, 0.05, 0.1)),
    "density": ((5.0, 10.0, 30.0, 100.0), (0,), (0.2, 0.5, 1.0)),
    "prevalence": (SHARES, (10, 30), (0.02, 0.05, 0.1)),
}
"""Levels, sizes and correlations (for densities 1 / k) where intervals are held to their target."""
OWN = {"cover": (0.2, 1.0), "density": (0.05, 0.25), "prevalence": (0.2, 1.0)}
"""Two strengths of pairing: how far units of one place change each in its own way."""
TABLE_UNITS = (2, 3, 5, 8, 15)
TABLE_RATIOS = (0.25, 0.5, 1.0, 2.0)
GRID: dict[str, tuple[tuple[float, ...], tuple[int, ...], tuple[float, ...]]] = {
    "cover": ((0.05, 0.1, 0.2, 0.5), (25, 100), (0.02, 0.1, 0.3)),
    "density": ((2.0, 5.0, 20.0, 100.0), (0,), (0.2, 0.5, 1.0, 2.0)),
    "prevalence": ((0.1, 0.2, 0.5), (10, 30), (0.02, 0.1)),
}
"""The same of the stored table; there the level is the larger mean."""
KINDS = ("paired", "anew")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=4_000, help="simulated a cell")
    parser.add_argument("--write", action="store_true", help="the stored table, and no more")
    args = parser.parse_args()
    began = time.process_time()
    found: dict[str, Any] = {"seed": SEED, "surveys_a_cell": args.surveys}
    if args.write:
        write(args.surveys)
        return 0
    found["held"] = {
        f"{kind}_{what}": summary([hold(c, args.surveys) for c in held(kind, what)])
        for kind, what in itertools.product(KINDS, HELD)
    }
    found["beyond"] = {
        words: summary([hold(c, args.surveys) for c in cells]) for words, cells in beyond().items()
    }
    found["through_the_functions"] = list(through(4000))
    found["cpu_seconds"] = round(time.process_time() - began, 1)
    print(json.dumps(found, indent=1))
    return 0


def held(kind: str, what: str) -> Iterator[Cell]:
    for n, level, size, rho, ratio in itertools.product(N_UNITS, *HELD[what], LOSSES):
        yield Cell(f"{kind}_{what}", n, level, size, rho, ratio, OWN[what][0])


def beyond() -> dict[str, list[Cell]]:
    """What the target does not speak of: losses of four fifths, gains, and loose pairing."""
    out = {}
    for what, (levels, sizes, rhos) in HELD.items():
        for words, ratios, own in (
            ("loss of four fifths, gains to 1.5 and 2 times", (0.2, 1.5, 2.0), OWN[what][0]),
            ("loosely paired, no change and losses", LOSSES, OWN[what][1]),
            ("loosely paired, gains to 1.5 and 2 times", (1.5, 2.0), OWN[what][1]),
        ):
            cells = itertools.product((3, 8), levels, sizes, rhos, ratios)
            out[f"{what}: {words}"] = [Cell(f"paired_{what}", *c, own) for c in cells]
    return out


def summary(rows: list[Held]) -> dict[str, Any]:
    """Lowest, highest and mean of three and four units, and of five and more."""
    out: dict[str, Any] = {
        "cells": len(rows),
        "monte_carlo_u_pct": round(max(r.u_pct for r in rows), 2),
        "fewest_stated_pct": round(min(r.stated_pct for r in rows), 1),
    }
    for words, some in (
        ("3_4_units", [r for r in rows if r.cell.n < 5]),
        ("5_units_up", [r for r in rows if r.cell.n >= 5]),
    ):
        low, high = target_pct(some[0].cell.n)
        least, most = (f(some, key=lambda r: r.pct) for f in (min, max))
        out[words] = {
            "cells": len(some),
            "lowest_pct": told(least),
            "highest_pct": told(most),
            "mean_pct": round(float(np.mean([r.pct for r in some])), 2),
            "below": len([r for r in some if r.pct < low]),
            "above": len([r for r in some if r.pct > high]),
            "which": [told(r) for r in some if not low <= r.pct <= high][:12],
        }
    return out


def told(row: Held) -> list[float]:
    c = row.cell
    return [round(row.pct, 2), c.n, c.level, c.size, c.rho, c.ratio]


def through(b: int) -> Iterator[dict[str, Any]]:
    """Cells that go through the functions, one survey at a time."""
    for n, compare in itertools.product((3, 5, 10), (paired_change, unpaired_change)):
        kind = "paired" if compare is paired_change else "anew"
        one = Cell(f"{kind}_cover", n, 0.4, 100, 0.05, 0.75, 0.2)
        first, second = visits(one, b)
        changes = [
            compare("x", a, c, scale=one.scale, counted=(100, 100))
            for a, c in zip(first.values, second.values, strict=True)
        ]
        stated = [c for c in changes if c.change.lo95 is not None and c.change.hi95 is not None]
        truth = truth_of(one)
        hits = sum(c.change.lo95 <= truth <= c.change.hi95 for c in stated)
        agree = sum((c.p < 0.05) == (c.change.lo95 > 0 or c.change.hi95 < 0) for c in stated)
        made = cell(f"{kind}, cover 40 to 30 %", n, 0.05, hits, len(stated))
        yield {**made, "p_and_interval_agree_pct": 100 * agree / len(stated)}


def table(b: int) -> Iterator[tuple[Held, float]]:
    """The worse of two strengths of pairing, with the size that is looked up."""
    for kind, (what, grid) in itertools.product(KINDS, GRID.items()):
        for n, level, size, rho, ratio in itertools.product(TABLE_UNITS, *grid, TABLE_RATIOS):
            name = f"{kind}_{what}"
            owns = OWN[what] if kind == "paired" else OWN[what][:1]
            both = [hold(Cell(name, n, level, size, rho, ratio, own), b) for own in owns]
            both = [one for one in both if one.stated_pct > 5]
            if both:
                yield max(both, key=lambda h: abs(h.pct - 95)), float(size)


def write(b: int) -> None:
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(COLUMNS)
        for one, size in table(b):
            c = one.cell
            figures = [f"{v:.4g}" for v in (c.level, size, one.spread, c.ratio)]
            out.writerow((c.figure, c.n, *figures, f"{one.pct:.1f}"))


if __name__ == "__main__":
    raise SystemExit(main())
