"""
How often intervals of a mixed model's mean change hold the truth: `python -m bench.mixed_coverage`.

Sites by units by visits, cover falling by 0.05 a visit, units and errors normal, some units gone.
Beside the interval that the rules fix, t with Satterthwaite's degrees of freedom of the same fits.
"""

from __future__ import annotations

import argparse
import json
import time
from typing import Any

import numpy as np
from bench.change_surveys import SEED
from bench.survey_coverage import cell
from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.mixed import VisitedUnits, fit_visits

CELLS = (
    ((1, 3, 2), 0.05, 0.0, 0.0),
    ((1, 4, 3), 0.0, 0.0, 0.0),
    ((2, 3, 2), 0.10, 0.0, 0.0),
    ((2, 3, 2), 0.0, 0.0, 0.0),
    ((2, 4, 3), 0.02, 0.2, 0.0),
    ((3, 5, 2), 0.05, 0.2, 0.0),
    ((3, 3, 3), 0.02, 0.3, 0.0),
    ((4, 5, 4), 0.10, 0.2, 0.0),
    ((6, 4, 2), 0.05, 0.2, 0.0),
    ((3, 8, 3), 0.08, 0.1, 0.04),
)
"""Sites, units, visits; spread of units (of the error: 0.05); share gone; spread of observers."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--surveys", type=int, default=4_000, help="simulated a cell")
    args = parser.parse_args()
    began = time.process_time()
    found = [row for one in CELLS for row in simulate(*one, args.surveys)]
    took = round(time.process_time() - began, 1)
    print(json.dumps({"seed": SEED, "mixed": found, "cpu_seconds": took}, indent=1))
    return 0


def simulate(
    shape: tuple[int, int, int], sd_unit: float, gone: float, sd_observer: float, b: int
) -> list[dict[str, Any]]:
    rng = np.random.default_rng([SEED, *shape, round(1000 * sd_unit), round(100 * gone)])
    hits, stated, methods, not_settled = [0, 0], 0, set(), 0
    for _ in range(b):
        data = survey(rng, shape, sd_unit, gone, sd_observer)
        try:
            fit = fit_visits(data)
            change = fit.contrast("x", fit.weights_of_change(0, shape[2] - 1)).change
        except ValueError:
            continue
        if change.lo95 is None:
            not_settled += Flag.MODEL_NOT_CONVERGED in change.flags
            continue
        truth = -0.05 * (shape[2] - 1)
        stated += 1
        methods.add(change.method.value)
        hits[0] += change.lo95 <= truth <= change.hi95
        hits[1] += abs(change.estimate - truth) <= stdtrit(change.df, 0.975) * change.u
    words = f"{shape[0]} sites, {shape[1]} units, {shape[2]} visits, {gone:.0%} of units gone"
    if sd_observer:
        words += ", eight observers"
    fixed = cell(words, shape[1], sd_unit, hits[0], stated)
    return [
        {**fixed, "method": sorted(methods), "not_settled": not_settled},
        {**cell(words, shape[1], sd_unit, hits[1], stated), "method": "t_mixed"},
    ]


def survey(
    rng: np.random.Generator,
    shape: tuple[int, int, int],
    sd_unit: float,
    gone: float,
    sd_observer: float,
) -> VisitedUnits:
    sites, units, visits = shape
    at = [(s, u, v) for s in range(sites) for u in range(units) for v in range(visits)]
    place = rng.normal(0, sd_unit, (sites, units))
    eyes, who = rng.normal(0, sd_observer, 8), rng.integers(8, size=len(at))
    y = np.array([0.4 - 0.05 * v + place[s, u] for s, u, v in at])
    y += eyes[who] * bool(sd_observer) + rng.normal(0, 0.05, len(at))
    y[rng.random(len(at)) < gone] = np.nan
    return VisitedUnits(
        values=y,
        sites=[s for s, _, _ in at],
        visits=[v for _, _, v in at],
        units=[u for _, u, _ in at],
        observers=who.tolist() if sd_observer else None,
    )


if __name__ == "__main__":
    raise SystemExit(main())
