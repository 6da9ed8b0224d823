"""SAM-01: intervals of a share (Wilson 1927; Clopper & Pearson 1934) in Newcombe 1998, Table I."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.survey.cover import read_fraction
from dryslate.core.survey.intervals import clopper_pearson_interval, poisson_gamma_interval

PATH = Path(__file__).parent / "checks" / "sam_binomial_intervals.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_both_intervals_of_a_share(case) -> None:
    hits, n, tol = case["in"]["k"], case["in"]["n"], case["tol"] / 2
    found = read_fraction(hits, n)
    assert (found.lo95, found.hi95) == pytest.approx(case["out"]["wilson"], abs=tol)
    exact = clopper_pearson_interval(hits, n)
    assert exact == pytest.approx(case["out"]["clopper_pearson"], abs=tol)


# Garwood 1936, Biometrika 28:437-442: 95 % limits of a Poisson expectation, as they stand in
# many tables of statistics (from memory, two decimals).
GARWOOD = [
    (0, 0.00, 3.69),
    (1, 0.03, 5.57),
    (2, 0.24, 7.22),
    (3, 0.62, 8.77),
    (5, 1.62, 11.67),
    (10, 4.80, 18.39),
    (20, 12.22, 30.89),
    (50, 37.11, 65.92),
]


@pytest.mark.parametrize(("count", "lo", "hi"), GARWOOD)
def test_limits_of_a_poisson_count(count, lo, hi) -> None:
    found = [float(v) for v in poisson_gamma_interval(count)]
    assert found == pytest.approx([lo, hi], abs=0.0051)
