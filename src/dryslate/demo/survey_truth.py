"""The made-up survey: what is true of each visit, and the figures that follow from it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

GENERA = ("Acropora", "Dipsastraea", "Favites", "Montipora")
OTHERS = ("soft coral", "turf", "crustose coralline algae", "sand", "rubble")
HARD = "hard coral"
ALIKE = 0.05
"""Intra-unit correlation of points, and of bleaching among the colonies of a unit."""
CLUMPING = 0.15
"""Of counts: variance over the mean squared, beyond chance."""
SIZE_SD = 0.5
"""Standard deviation of log size."""

Key = tuple[str, str, str, str, str, str]
"""Site, date, design, figure, kind of thing, thing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitTruth:
    """
    What is true of a site on a date.

    Parameters
    ----------
    site, date, observer : str
    cover_frac : Mapping of str to float
        Of each genus of hard coral, and of each other category; they make 1.
    per_m2, bleached_frac, median_cm : Mapping of str to float
        Of each genus: colonies a square metre, share with any bleaching, median longest diameter.
    """

    site: str
    date: str
    observer: str
    cover_frac: Mapping[str, float]
    per_m2: Mapping[str, float]
    bleached_frac: Mapping[str, float]
    median_cm: Mapping[str, float]

    def as_dict(self) -> dict[str, Any]:
        """Return the truth as plain values, for JSON."""
        return {
            "site": self.site,
            "date": self.date,
            "cover_frac": {k: round(v, 6) for k, v in self.cover_frac.items()},
            "per_m2": dict(self.per_m2),
            "bleached_frac": dict(self.bleached_frac),
            "median_cm": dict(self.median_cm),
        }


def plan_survey(visits: Sequence[tuple[str, str, str]], seed: int) -> tuple[VisitTruth, ...]:
    """
    Make up what is true of each visit: corals are lost and bleach from a site's first to its next.

    Parameters
    ----------
    visits : sequence of (site, date, observer)
        Oldest first.
    seed : int
    """
    made: dict[str, list[VisitTruth]] = {}
    for site, date, observer in visits:
        before = made.setdefault(site, [])
        rng = np.random.default_rng([seed, 71_000, *site.encode(), len(before)])
        before.append(
            _next_visit(before[-1], date, observer, rng)
            if before
            else _first_visit(site, date, observer, rng)
        )
    by_visit = {(t.site, t.date): t for some in made.values() for t in some}
    return tuple(by_visit[site, date] for site, date, _ in visits)


def _first_visit(site: str, date: str, observer: str, rng: np.random.Generator) -> VisitTruth:
    """A healthy reef: a third of it coral."""
    shares = rng.dirichlet([9.0] * len(GENERA)) * rng.uniform(0.28, 0.42)
    others = rng.dirichlet([8.0] * len(OTHERS)) * (1.0 - shares.sum())
    return VisitTruth(
        site=site,
        date=date,
        observer=observer,
        cover_frac=dict(
            zip((*GENERA, *OTHERS), (float(v) for v in (*shares, *others)), strict=True)
        ),
        per_m2={g: round(float(rng.uniform(0.8, 2.5)), 3) for g in GENERA},
        bleached_frac={g: round(float(rng.uniform(0.12, 0.25)), 3) for g in GENERA},
        median_cm={g: round(float(rng.uniform(9.0, 22.0)), 2) for g in GENERA},
    )


def _next_visit(
    before: VisitTruth, date: str, observer: str, rng: np.random.Generator
) -> VisitTruth:
    """After a hot season: less coral, more turf, more bleaching."""
    kept = {g: float(rng.uniform(0.6, 0.9)) for g in GENERA}
    cover = {k: v * kept.get(k, 1.0) for k, v in before.cover_frac.items()}
    cover["turf"] += 1.0 - sum(cover.values())
    return VisitTruth(
        site=before.site,
        date=date,
        observer=observer,
        cover_frac=cover,
        per_m2={g: round(v * kept[g], 3) for g, v in before.per_m2.items()},
        bleached_frac={
            g: round(v + float(rng.uniform(0.15, 0.4)), 3) for g, v in before.bleached_frac.items()
        },
        median_cm=before.median_cm,
    )


def true_figures(truth: VisitTruth, swim_m2_per_minute: float) -> Iterator[tuple[Key, float]]:
    """
    Yield the true value of each figure that the records of a visit are made to carry.

    Parameters
    ----------
    truth : VisitTruth
    swim_m2_per_minute : float
        What a timed swim looks over in a minute.
    """
    place = (truth.site, truth.date)
    for design in ("line_intercept", "point_intercept", "quadrat_cells", "photo_points"):
        hard = sum(truth.cover_frac[g] for g in GENERA)
        yield (*place, design, "cover_frac", "category", HARD), hard
        for genus in GENERA:
            yield (*place, design, "cover_frac", "name", genus), truth.cover_frac[genus]
        for other in OTHERS:
            yield (*place, design, "cover_frac", "category", other), truth.cover_frac[other]
    for genus in GENERA:
        density = truth.per_m2[genus]
        for design in ("belt", "quadrat_counts", "line_intercept"):
            yield (*place, design, "density_per_m2", "name", genus), density
        rate = density * swim_m2_per_minute
        yield (*place, "timed_swim", "count_per_min", "name", genus), rate
        yield (
            (*place, "belt", "prevalence_bleached_frac", "name", genus),
            truth.bleached_frac[genus],
        )
        for design in ("belt", "line_intercept"):
            yield (*place, design, "geometric_mean_cm", "name", genus), truth.median_cm[genus]


def log_median(truth: VisitTruth, genus: str) -> float:
    """Return the mean of log size of a genus."""
    return math.log(truth.median_cm[genus])
