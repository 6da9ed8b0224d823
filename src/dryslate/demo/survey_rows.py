"""Records of the made-up survey, drawn from its truth as tables that a surveyor would fill in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from dryslate.demo.survey_truth import (
    ALIKE,
    CLUMPING,
    GENERA,
    HARD,
    SIZE_SD,
    VisitTruth,
    log_median,
)

N_UNITS = 6
N_QUADRATS = 10
TAPE_M = 20.0
SPACING_M = 0.4
BELT_M2 = 20.0
N_CELLS = 49
N_POINTS = 50
SWIM_MINUTES = 10.0
SWIM_M2_PER_MINUTE = 4.0
STRIP_M = 4.0
"""So far on either side of a tape colonies are thrown; the widest reach nowhere near it."""

Row = dict[str, Any]
Tables = tuple[list[Row], list[Row]]
"""Units and rows, by the columns of the template."""


def draw_records(truth: VisitTruth, seed: int, *, has_points: bool = False) -> Tables:
    """
    Draw the records of one visit.

    Parameters
    ----------
    truth : VisitTruth
    seed : int
    has_points : bool
        With points on photos that were not taken in; else those are read from the pictures.

    Returns
    -------
    units, rows : list of dict
    """
    rng = np.random.default_rng([seed, 72_000, *truth.site.encode(), *truth.date.encode()])
    makers = {
        "line ": (N_UNITS, _tape),
        "points ": (N_UNITS, _points_along),
        "cells ": (N_UNITS, _cells),
        "belt ": (N_UNITS, _belt),
        "quadrat ": (N_QUADRATS, _quadrat),
        "swim ": (N_UNITS, _swim),
        **({"photos ": (N_UNITS, _photo_points)} if has_points else {}),
    }
    units: list[Row] = []
    rows: list[Row] = []
    for word, (n, make) in makers.items():
        for k in range(1, n + 1):
            key = {"site": truth.site, "date": truth.date, "unit": f"{word}{k}"}
            stated, noted = make(truth, rng)
            units.append({**key, "zone": "slope", "observer": truth.observer, **stated})
            rows += [{**key, **row} for row in noted]
    return units, rows


def _shares(truth: VisitTruth, rng: np.random.Generator) -> dict[str, float]:
    """What one unit is covered by: about the truth, units unlike by the correlation."""
    names = tuple(truth.cover_frac)
    means = np.array([truth.cover_frac[name] for name in names])
    drawn = rng.dirichlet(means * (1.0 / ALIKE - 1.0))
    return dict(zip(names, (float(v) for v in drawn), strict=True))


def _words(name: str) -> Row:
    """Category and name of what covers the ground."""
    return {"category": HARD, "name": name} if name in GENERA else {"category": name}


def _read(truth: VisitTruth, rng: np.random.Generator, n: int) -> list[str]:
    """What lies under n points of one unit."""
    shares = _shares(truth, rng)
    p = np.array(list(shares.values()))
    return [str(name) for name in rng.choice(list(shares), size=n, p=p / p.sum())]


def _tape(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Stretches of a tape, to the centimetre, that add up to it."""
    pieces: list[tuple[str, float]] = []
    for name, share in _shares(truth, rng).items():
        n = max(1, round(share * TAPE_M / 0.6))
        pieces += [(name, float(part)) for part in rng.dirichlet([2.0] * n) * share * TAPE_M]
    order = rng.permutation(len(pieces))
    rows, begun, end = [], 0.0, 0.0
    for at in order:
        name, length = pieces[at]
        end += length
        ends_at = round(TAPE_M if at == order[-1] else end, 2)
        if ends_at > begun:
            rows.append({"kind": "intercept", "from_m": begun, "to_m": ends_at, **_words(name)})
            begun = ends_at
    rows += _under_tape(truth, rng)
    return {"design": "line_intercept", "length_m": TAPE_M, "searched": _searched()}, rows


def _under_tape(truth: VisitTruth, rng: np.random.Generator) -> list[Row]:
    """
    Colonies that a tape crosses, with how far each reaches across it.

    Colonies lie anywhere on a strip, turned anyhow; a wide one is crossed more often.
    """
    rows = []
    for genus, n in _counts(truth, rng, 2.0 * STRIP_M * TAPE_M).items():
        longest = np.exp(rng.normal(log_median(truth, genus), SIZE_SD, n))
        across = longest * rng.uniform(0.6, 1.0, n)
        turn = rng.uniform(0.0, np.pi, n)
        reach_m = np.hypot(longest * np.sin(turn), across * np.cos(turn)) / 100.0
        met = np.abs(rng.uniform(-STRIP_M, STRIP_M, n)) <= reach_m / 2.0
        rows += [
            {
                "kind": "colony",
                "at_m": round(float(rng.uniform(0.0, TAPE_M)), 2),
                "name": genus,
                "longest_cm": max(round(float(longest[k]), 1), 0.5),
                "across_cm": max(round(float(across[k]), 1), 0.3),
                "across_line_m": max(round(float(reach_m[k]), 2), 0.01),
            }
            for k in np.flatnonzero(met)
        ]
    return rows


def _points_along(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Points along a tape."""
    names = _read(truth, rng, round(TAPE_M / SPACING_M))
    rows = [
        {"kind": "point", "at_m": round(k * SPACING_M, 2), **_words(name)}
        for k, name in enumerate(names, 1)
    ]
    return {"design": "point_intercept", "length_m": TAPE_M, "spacing_m": SPACING_M}, rows


def _cells(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Cells of a quadrat, each with what most of it is."""
    names = _read(truth, rng, N_CELLS)
    rows = [{"kind": "cell", "cell": k, **_words(name)} for k, name in enumerate(names, 1)]
    return {"design": "quadrat_cells", "area_m2": 1.0, "n_cells": N_CELLS}, rows


def _photo_points(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Points on one photo that lies elsewhere."""
    rows = [{"kind": "point", **_words(name)} for name in _read(truth, rng, N_POINTS)]
    stated = {"design": "photo_points", "n_points": N_POINTS, "point_rule": "random", "seed": 1}
    return stated, rows


def _counts(truth: VisitTruth, rng: np.random.Generator, area_m2: float) -> dict[str, int]:
    """How many colonies of each genus are in one unit: clumped."""
    near = rng.gamma(1.0 / CLUMPING, CLUMPING, len(GENERA))
    return {
        g: int(rng.poisson(truth.per_m2[g] * area_m2 * float(f)))
        for g, f in zip(GENERA, near, strict=True)
    }


def _none_seen(counts: Mapping[str, int]) -> Iterator[Row]:
    """Rows of what was looked for and not there."""
    yield from ({"kind": "none_seen", "name": genus} for genus, n in counts.items() if n == 0)


def _searched() -> str:
    return "; ".join(GENERA)


def _belt(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Colonies of a belt one by one, with size and health."""
    counts = _counts(truth, rng, BELT_M2)
    rows = list(_none_seen(counts))
    for genus, n in counts.items():
        mean = truth.bleached_frac[genus] * (1.0 / ALIKE - 1.0)
        share = rng.beta(mean, (1.0 / ALIKE - 1.0) - mean)
        for _ in range(n):
            longest = float(np.exp(rng.normal(log_median(truth, genus), SIZE_SD)))
            bleached = 10 * int(rng.integers(1, 10)) if rng.random() < share else 0
            rows.append(
                {
                    "kind": "colony",
                    "name": genus,
                    "longest_cm": max(round(longest, 1), 0.5),
                    "across_cm": max(round(longest * float(rng.uniform(0.6, 1.0)), 1), 0.3),
                    "normal_pct": 100 - bleached,
                    "pale_pct": 0,
                    "bleached_pct": bleached,
                    "recently_dead_pct": 0,
                    "old_dead_pct": 0,
                }
            )
    stated = {"design": "belt", "length_m": BELT_M2, "width_m": 1.0, "edge_rule": "centre_inside"}
    return {**stated, "searched": _searched()}, rows


def _counted(counts: Mapping[str, int]) -> list[Row]:
    """Rows of counts, and of what was not there."""
    seen = [{"kind": "count", "name": g, "n": n} for g, n in counts.items() if n]
    return [*seen, *_none_seen(counts)]


def _quadrat(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Counts in a quadrat of four square metres."""
    stated = {"design": "quadrat_counts", "area_m2": 4.0, "edge_rule": "centre_inside"}
    return {**stated, "searched": _searched()}, _counted(_counts(truth, rng, 4.0))


def _swim(truth: VisitTruth, rng: np.random.Generator) -> tuple[Row, list[Row]]:
    """Counts of a timed swim."""
    counts = _counts(truth, rng, SWIM_MINUTES * SWIM_M2_PER_MINUTE)
    stated = {"design": "timed_swim", "minutes": SWIM_MINUTES, "searched": _searched()}
    return stated, _counted(counts)


def as_sheets(units: Sequence[Row], rows: Sequence[Row]) -> dict[str, Any]:
    """Return tables as the sheets of a workbook, with the columns that are used."""
    found = {}
    for name, some in (("units", units), ("rows", rows)):
        columns = list(dict.fromkeys(column for row in some for column in row))
        found[name] = (columns, [[row.get(column, "") for column in columns] for row in some])
    return found
