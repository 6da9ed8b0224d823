"""SAM-02: Newcombe 1998, Stat. Med. 17:873-890, Table II(a) method 10; McNemar 1947."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.survey.proportions import compare_paired_shares, compare_shares

PATH = Path(__file__).parent / "checks" / "sam_two_proportions.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


def test_difference_of_two_shares() -> None:
    case = CASES[0]
    given = case["in"]
    difference, lo, hi = compare_shares(given["k1"], given["n1"], given["k2"], given["n2"])
    assert difference == pytest.approx(case["out"]["difference"], abs=1e-9)
    assert (lo, hi) == pytest.approx(case["out"]["interval95"], abs=0.5e-4)


def test_paired_shares() -> None:
    case = CASES[1]
    (both, first), (second, neither) = case["in"]["table"]
    found = compare_paired_shares(both, first, second, neither)
    for name in ("chi2_corrected", "p_corrected", "chi2", "p"):
        assert getattr(found, name) == pytest.approx(case["out"][name], abs=case["tol"])
    assert len(CASES) == 2
