"""
Colour differences against published pairs.

COL-01: Sharma, Wu & Dalal 2005, Color Research and Application 30(1):21-30, Table 1, all 34 pairs.
COL-06: CIE 15:2004, the 1976 difference (exact arithmetic).
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.colour.difference import cie76, ciede2000

CHECKS = Path(__file__).parent / "checks"
PAIRS = list(csv.DictReader((CHECKS / "col_ciede2000_sharma2005.csv").read_text().splitlines()))


def labs(pair: dict[str, str]) -> tuple[list[float], list[float]]:
    return (
        [float(pair[k]) for k in ("L1", "a1", "b1")],
        [float(pair[k]) for k in ("L2", "a2", "b2")],
    )


def test_table_has_all_its_pairs() -> None:
    assert [int(p["pair"]) for p in PAIRS] == list(range(1, 35))


@pytest.mark.parametrize("pair", PAIRS, ids=lambda p: f"pair-{p['pair']}")
def test_ciede2000_gives_the_printed_digits(pair: dict[str, str]) -> None:
    # Pair 14 has hues exactly 180 degrees apart, where rounding decides the branch: it is met too.
    one, two = labs(pair)
    assert float(ciede2000(one, two)) == pytest.approx(float(pair["dE00"]), abs=0.5e-4 + 1e-9)
    assert float(ciede2000(two, one)) == pytest.approx(float(pair["dE00"]), abs=0.5e-4 + 1e-9)


def test_ciede2000_takes_all_pairs_at_once() -> None:
    one, two = (np.array(side) for side in zip(*(labs(p) for p in PAIRS), strict=True))
    np.testing.assert_allclose(ciede2000(one, two), [float(p["dE00"]) for p in PAIRS], atol=0.5e-4)


def test_difference_of_1976_is_the_euclidean_distance() -> None:
    case = json.loads((CHECKS / "col_de76_and_grey.json").read_text())["cases"][0]
    found = cie76(case["in"]["Lab1"], case["in"]["Lab2"])
    assert float(found) == pytest.approx(case["out"]["dE76"], abs=case["tol"])
