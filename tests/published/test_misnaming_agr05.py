"""AGR-05: Rogan & Gladen 1978, Am. J. Epidemiol. 107, 71-76; and its matrix form."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dryslate.core.survey.misnaming import correct_share, correct_shares, read_share

CHECKS = Path(__file__).parent / "checks"
CASES = json.loads((CHECKS / "agr_rogan_gladen.json").read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_corrected_share(case: dict[str, Any]) -> None:
    given, want, tol = case["in"], case["out"], case["tol"]
    if "P_observed_given_true_rows" in given:
        table = given["P_observed_given_true_rows"]
        found = correct_shares(given["observed"], 100, table)
        assert found.estimate == pytest.approx(want["true"], abs=tol)
        return
    if "p" in given:
        read = read_share(given["p"], given["Se"], given["Sp"])
        assert read == pytest.approx(want["t"], abs=tol)
        found = correct_share(read, 100, given["Se"], given["Sp"])
        assert found.estimate[0] == pytest.approx(given["p"], abs=tol)
        return
    known = correct_share(given["t"], given["n"], given["Se"], given["Sp"])
    assert known.estimate[0] == pytest.approx(want["p"], abs=tol)
    assert known.u[0] ** 2 == pytest.approx(want["var_known"], abs=tol)
    assert known.is_outside is (want["p"] < 0)
    if "n_Se" in given:
        counted = (given["n_Se"], given["n_Sp"])
        found = correct_share(given["t"], given["n"], given["Se"], given["Sp"], counted)
        assert found.u[0] ** 2 == pytest.approx(want["var_estimated"], abs=tol)
