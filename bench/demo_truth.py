"""
How often the made-up survey's truth lies in the stated intervals: `python -m bench.demo_truth`.

Each seed is a reef of its own with two visits; its records of all seven designs are drawn from the
truth, imported as a surveyor's tables are, and turned into figures by the same use case as
`dryslate results`. Nothing is left out but figures that state no interval. The aim is 90 to 99 %.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from dryslate import wiring
from dryslate.app.survey_results import survey_results
from dryslate.demo.survey import held_of, import_records
from dryslate.demo.survey_rows import SWIM_M2_PER_MINUTE, draw_records
from dryslate.demo.survey_truth import Key, plan_survey, true_figures
from dryslate.store.sqlite import SqliteSurveyStore

VISITS = (
    ("Lantern Steps", "2024-03-09", "Ines Varro"),
    ("Lantern Steps", "2024-05-18", "Ines Varro"),
)
FIRST_SEED = 100


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--seeds", type=int, default=20)
    args = parser.parse_args()
    began = time.process_time()
    by_kind: dict[str, list[bool]] = defaultdict(list)
    shares = []
    n_silent = 0
    for seed in range(FIRST_SEED, FIRST_SEED + args.seeds):
        held, n_known = figures_of_seed(seed)
        n_silent += n_known - len(held)
        shares.append(sum(inside for _, inside in held) / len(held))
        for key, inside in held:
            by_kind[f"{key[2]} {key[3]}"].append(inside)
    every = [inside for some in by_kind.values() for inside in some]
    mean = sum(every) / len(every)
    spread = math.sqrt(
        sum((s - sum(shares) / len(shares)) ** 2 for s in shares) / (len(shares) - 1)
    )
    found = {
        "n_seeds": args.seeds,
        "n_figures": len(every),
        "n_without_interval": n_silent,
        "held_pct": round(100 * mean, 2),
        "held_pct_u": round(100 * spread / math.sqrt(len(shares)), 2),
        "least_and_most_of_a_seed_pct": [round(100 * f(shares), 1) for f in (min, max)],
        "by_kind": {
            k: [len(v), round(100 * sum(v) / len(v), 1)] for k, v in sorted(by_kind.items())
        },
        "cpu_s": round(time.process_time() - began, 1),
    }
    print(json.dumps(found, indent=1))
    return 0 if 0.90 <= mean <= 0.99 else 1


def figures_of_seed(seed: int) -> tuple[list[tuple[Key, bool]], int]:
    """Draw, import and work out one reef; returns what was held, and how many have a truth."""
    truths = plan_survey(VISITS, seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        SqliteSurveyStore.create(folder).close()
        for truth in truths:
            tables = draw_records(truth, seed, has_points=True)
            import_records(folder, folder / "tables" / truth.date, tables, truth.observer)
        with wiring.survey_store(folder, write=False) as store:
            found = survey_results(store, wiring.result_settings())
    known = {key for truth in truths for key, _ in true_figures(truth, SWIM_M2_PER_MINUTE)}
    return held_of(found, truths), len(known)


if __name__ == "__main__":
    raise SystemExit(main())
