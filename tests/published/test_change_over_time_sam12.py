"""SAM-12: Student 1908, Biometrika 6, sleep data; Benjamini & Hochberg 1995 (from memory)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.survey.change import Reading, paired_change
from dryslate.core.survey.change_rates import adjust_many, fit_trend, rates_of_change

PATH = Path(__file__).parent / "checks" / "sam_change_over_time.json"
CASES = {case["name"]: case for case in json.loads(PATH.read_text("utf-8"))["cases"]}


def test_paired_change() -> None:
    given, want = CASES["sleep"]["in"], CASES["sleep"]["out"]
    found = paired_change("sleep_h", given["y"], given["x"])
    assert found.change.estimate == pytest.approx(want["mean_diff"], abs=1e-9)
    assert (found.change.lo95, found.change.hi95) == pytest.approx(want["ci95"], abs=1e-9)
    assert found.change.df == want["df"]
    assert found.t == pytest.approx(want["t"], abs=1e-9)
    assert found.p == pytest.approx(want["p"], abs=1e-12)
    assert found.reading() is Reading.CHANGED


def test_rates() -> None:
    case = CASES["relative and annual change of cover"]
    given = case["in"]
    found = rates_of_change(given["cover1"], given["cover2"], given["years"])
    for name, value in case["out"].items():
        assert getattr(found, name) == pytest.approx(value, abs=case["tol"])


def test_trend() -> None:
    case = CASES["trend"]
    found = fit_trend(case["in"]["year"], case["in"]["cover_percent"])
    want = case["out"]
    assert found.u_slope == pytest.approx(want["se_slope"], abs=case["tol"])
    for name in ("slope", "intercept", "r2", "p"):
        assert getattr(found, name) == pytest.approx(want[name], abs=case["tol"])


def test_many_tests() -> None:
    """Their 15 p of a trial of thrombolysis: four stand at 0.05."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
    p += [0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
    found = adjust_many(p)
    assert found.n_tests == 15
    assert sum(q is not None and q <= 0.05 for q in found.adjusted) == 4
