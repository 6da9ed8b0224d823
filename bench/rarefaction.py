"""
Curves of diversity at equal effort: time against the same curves drawn with scikit-bio.

scikit-bio has no formula for rarefaction, none for units, no extrapolation and no intervals of a
curve. What it has is `subsample_counts` (draw colonies without putting back) and the Hill numbers
of what was drawn, so its users average over draws. Three pieces of work that both can do:

subsets of colonies   genera expected in subsets of one sample, with their SD over subsets;
subsets of units      the same with whole units drawn (scikit-bio picks them out of one count each);
curve with intervals  Hill numbers of order 0, 1 and 2 inside the sample, with the spread of a
                      bootstrap of units; at each size one draw a resample, the least that gives
                      any spread. Ours adds sizes up to twice the sample, which scikit-bio lacks.

Ours is exact where theirs is an average of draws, so both answers are compared as well. CPU time of
one process, in turn.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from dryslate.core.survey.diversity import Counted, Sample, read_counts, read_units
from dryslate.core.survey.rarefaction import hill_curve, rarefied_richness

N_UNITS, N_GENERA = 500, 100
N_SIZES = 40
N_DRAWS = 200
Curve = Callable[[], np.ndarray]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--repeats", type=int, default=3)
    args = parser.parse_args()
    rng = np.random.default_rng(54)
    often = np.minimum(rng.lognormal(-2.5, 1.6, N_GENERA), 0.95)
    seen = (rng.random((N_UNITS, N_GENERA)) < often).astype(np.int64)
    counts = rng.negative_binomial(0.5, 0.5 / (0.5 + 100 * often)) + 1
    found = {
        "units": N_UNITS,
        "genera": int(seen.any(axis=0).sum()),
        "colonies": int(counts.sum()),
        "sizes": N_SIZES,
        "draws": N_DRAWS,
        "work": [
            compare("subsets of colonies", *subsets_of_colonies(counts), args.repeats),
            compare("subsets of units", *subsets_of_units(seen), args.repeats),
            compare("curve with intervals", *curve_with_intervals(seen), args.repeats),
        ],
        "ours_to_twice_the_sample_s": round(beyond(seen, args.repeats), 3),
    }
    print(json.dumps(found, indent=1))
    return 0 if all(row["times_faster"] >= 5 for row in found["work"]) else 1


def compare(name: str, ours: Curve, theirs: Curve, repeats: int) -> dict[str, Any]:
    """Both in turn: median CPU time, and how far apart the curves are."""
    taken: dict[str, list[float]] = {"ours": [], "theirs": []}
    curves = {}
    for _ in range(repeats):
        for who, work in (("ours", ours), ("theirs", theirs)):
            start = time.process_time()
            curves[who] = work()
            taken[who].append(time.process_time() - start)
    mine, other = (statistics.median(taken[who]) for who in ("ours", "theirs"))
    apart = np.abs(curves["theirs"] / curves["ours"] - 1)
    return {
        "work": name,
        "ours_cpu_s": round(mine, 4),
        "scikit_bio_cpu_s": round(other, 3),
        "times_faster": round(other / mine, 1),
        "median_difference_pct": round(100 * float(np.median(apart)), 2),
        "largest_difference_pct": round(100 * float(apart.max()), 2),
    }


def sizes_up_to(top: int) -> list[int]:
    return np.unique(np.linspace(2, top, N_SIZES).astype(int)).tolist()


def subsets_of_colonies(counts: np.ndarray) -> tuple[Curve, Curve]:
    """Genera expected, of all sizes."""
    sample = read_counts(counts, Counted.COLONIES)
    sizes = sizes_up_to(sample.n)

    def theirs() -> np.ndarray:
        from skbio.diversity.alpha import sobs
        from skbio.stats import subsample_counts

        drawn = [[sobs(subsample_counts(counts, m, seed=b)) for b in range(N_DRAWS)] for m in sizes]
        return with_spread(np.array(drawn))

    return lambda: exact(sample, sizes), theirs


def subsets_of_units(seen: np.ndarray) -> tuple[Curve, Curve]:
    """Genera expected, with whole units drawn."""
    sample = read_units(seen)
    sizes = sizes_up_to(sample.n)

    def theirs() -> np.ndarray:
        from skbio.diversity.alpha import sobs
        from skbio.stats import subsample_counts

        one_each = np.ones(len(seen), dtype=np.int64)
        drawn = [
            [sobs(subsample_counts(one_each, m, seed=b) @ seen) for b in range(N_DRAWS)]
            for m in sizes
        ]
        return with_spread(np.array(drawn))

    return lambda: exact(sample, sizes), theirs


def exact(sample: Sample, sizes: list[int]) -> np.ndarray:
    """Ours, mean only: the SD is worked out beside it."""
    return np.array([rarefied_richness(sample, m)[0] for m in sizes])


def with_spread(drawn: np.ndarray) -> np.ndarray:
    """Theirs: the mean of the draws, their SD beside it."""
    drawn.std(axis=1, ddof=1)
    return np.asarray(drawn.mean(axis=1))


def curve_with_intervals(seen: np.ndarray) -> tuple[Curve, Curve]:
    """Hill numbers of three orders, with the bootstrap of units."""
    sample = read_units(seen)
    sizes = sizes_up_to(sample.n)

    def ours() -> np.ndarray:
        points = hill_curve(sample, sizes, np.random.default_rng(1), n_resamples=N_DRAWS)
        return np.array([p.estimate for p in points]).reshape(3, -1)

    def theirs() -> np.ndarray:
        from skbio.diversity.alpha import hill
        from skbio.stats import subsample_counts

        rng = np.random.default_rng(1)
        one_each = np.ones(len(seen), dtype=np.int64)
        curves = np.empty((2, N_DRAWS, 3, len(sizes)))
        for b in range(N_DRAWS):
            again = seen[rng.integers(len(seen), size=len(seen))]
            for which, units in enumerate((seen, again)):  # the curve itself, and a resample's
                for k, m in enumerate(sizes):
                    held = subsample_counts(one_each, m, seed=b) @ units
                    curves[which, b, :, k] = [hill(held, order=q) for q in (0, 1, 2)]
        curves[1].std(axis=0, ddof=1)
        return np.asarray(curves[0].mean(axis=0))

    return ours, theirs


def beyond(seen: np.ndarray, repeats: int) -> float:
    """CPU time of ours to twice the sample: rarefied, extrapolated, with intervals."""
    sample, taken = read_units(seen), []
    for _ in range(repeats):
        start = time.process_time()
        hill_curve(sample, sizes_up_to(2 * sample.n), np.random.default_rng(1), n_resamples=N_DRAWS)
        taken.append(time.process_time() - start)
    return statistics.median(taken)


if __name__ == "__main__":
    raise SystemExit(main())
