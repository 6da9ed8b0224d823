"""AGR-01 to AGR-04: Cohen 1960 and 1968, Fleiss 1971, Krippendorff 2011, Gwet 2008 and 2014."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryslate.core.survey.agreement import (
    Coefficient,
    Level,
    cohen_kappa,
    count_pairs,
    kappa_null_u,
    read_ratings,
)
from dryslate.core.survey.agreement_alpha import krippendorff_alpha
from dryslate.core.survey.agreement_many import (
    agree,
    agree_counts,
    fleiss_by_category,
    fleiss_null_u,
)

CHECKS = Path(__file__).parent / "checks"


def cases(name: str) -> list[dict[str, Any]]:
    return json.loads((CHECKS / name).read_text("utf-8"))["cases"]


def named(name: str, case: str) -> dict[str, Any]:
    return next(c for c in cases(name) if c["name"] == case)


@pytest.mark.parametrize("case", cases("agr_cohen_kappa.json"), ids=lambda c: c["name"])
def test_cohen(case: dict[str, Any]) -> None:
    given, want, tol = case["in"], case["out"], case["tol"]
    found = cohen_kappa(given["table"], given.get("weights"))
    if "kappa_w" in want:
        assert found.coefficient is Coefficient.COHEN_WEIGHTED
        assert found.value == pytest.approx(want["kappa_w"], abs=1e-11)
        assert round(found.value or 0.0, 3) == want["kappa_w_published"]
        return
    assert found.value == pytest.approx(want["kappa"], abs=min(tol, 1e-11))
    if "se" in want:
        assert round(found.value or 0.0, 3) == want["kappa_published"]
        assert found.observed == pytest.approx(want["po"], abs=1e-12)
        assert found.expected == pytest.approx(want["pe"], abs=1e-12)
        assert found.u == pytest.approx(want["se"], abs=1e-10)
        assert kappa_null_u(given["table"]) == pytest.approx(want["se_null"], abs=1e-10)


def test_fleiss() -> None:
    (case,) = cases("agr_fleiss_kappa.json")
    with (CHECKS / "agr_fleiss_1971_table.csv").open(encoding="utf-8", newline="") as file:
        counts = np.array([[int(v) for v in row[1:]] for row in list(csv.reader(file))[1:]])
    assert counts.tolist() == case["in"]["counts"]
    want = case["out"]
    found = agree_counts(counts, Coefficient.FLEISS)
    assert found.observed == pytest.approx(want["Pbar"], abs=1e-11)
    assert found.expected == pytest.approx(want["Pe"], abs=1e-11)
    assert found.value == pytest.approx(want["kappa"], abs=1e-11)
    assert round(found.value or 0.0, 2) == want["kappa_published"]
    np.testing.assert_allclose(counts.sum(axis=0) / counts.sum(), want["p_j"], atol=1e-11)
    np.testing.assert_allclose(fleiss_by_category(counts), want["kappa_by_category"], atol=1e-11)
    assert fleiss_null_u(counts) == pytest.approx(want["se_null_1979"], abs=1e-12)


@pytest.mark.parametrize("case", cases("agr_krippendorff_alpha.json"), ids=lambda c: c["name"])
def test_krippendorff(case: dict[str, Any]) -> None:
    items = list(zip(*case["in"]["ratings_observers_by_units"], strict=True))
    found = krippendorff_alpha(items, Level(case["in"]["level"]))
    assert found.value == pytest.approx(case["out"]["alpha"], abs=1e-11)
    assert round(found.value or 0.0, 3) == case["out"]["alpha_published"]
    assert (found.n_items, found.n_left_out) == (11, 1)


def test_four_observers_with_gaps() -> None:
    case = named("agr_gwet_ac1.json", "4 raters")
    want, tol = case["out"], case["tol"]
    ratings = read_ratings(case["in"]["ratings_units_by_raters"])
    gwet = agree(ratings, Coefficient.GWET_AC1)
    assert gwet.value == pytest.approx(want["AC1"], abs=0.5e-5)
    assert round(gwet.value or 0.0, 3) == 0.775  # printed, from memory
    assert gwet.u == pytest.approx(want["AC1_se"], abs=0.5e-5)
    assert gwet.observed == pytest.approx(want["AC1_pa"], abs=0.5e-5)
    assert gwet.expected == pytest.approx(want["AC1_pe"], abs=0.5e-5)
    for coefficient, key in (
        (Coefficient.FLEISS, "fleiss_pi"),
        (Coefficient.CONGER, "conger"),
        (Coefficient.EQUAL_CHANCE, "brennan_prediger"),
    ):
        assert agree(ratings, coefficient).value == pytest.approx(want[key], abs=0.5e-5)
    alpha = krippendorff_alpha(case["in"]["ratings_units_by_raters"], Level.NOMINAL)
    assert alpha.value == pytest.approx(want["alpha"], abs=tol)


def test_high_agreement_and_low_kappa() -> None:
    case = named("agr_gwet_ac1.json", "paradox 2x2 (118 5 / 2 0)")
    (a, b), (c, d) = case["in"]["table"]
    rows = [["y", "y"]] * a + [["y", "n"]] * b + [["n", "y"]] * c + [["n", "n"]] * d
    ratings = read_ratings(rows, ["y", "n"])
    assert count_pairs(ratings).tolist() == case["in"]["table"]
    kappa = cohen_kappa(case["in"]["table"])
    assert kappa.observed == pytest.approx(case["out"]["po"], abs=1e-12)
    assert kappa.value == pytest.approx(case["out"]["kappa"], abs=1e-11)
    gwet = agree(ratings, Coefficient.GWET_AC1)
    assert gwet.value == pytest.approx(case["out"]["AC1"], abs=1e-11)
