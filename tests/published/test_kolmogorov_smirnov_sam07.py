"""SAM-07: two-sample Kolmogorov-Smirnov; critical values of Massey 1951 and Miller 1956."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ks_2samp, kstwo

from dryslate.core.survey.size_comparison import compare_sizes
from dryslate.core.survey.sizes import require_sizes
from dryslate.core.survey.statement import SurveySettings

PATH = Path(__file__).parent / "checks" / "sam_kolmogorov_smirnov.json"
SIZES, CRITICAL = json.loads(PATH.read_text("utf-8"))["cases"]


def test_two_samples_of_sizes() -> None:
    a, b = SIZES["in"]["a"], SIZES["in"]["b"]
    found = compare_sizes(require_sizes([a]), require_sizes([b]), SurveySettings())
    assert found.ks_d == pytest.approx(SIZES["out"]["D"], abs=1e-6)
    assert found.p_colonies == pytest.approx(SIZES["out"]["p_exact"], abs=1e-6)
    asymptotic = ks_2samp(a, b, method="asymp").pvalue
    assert asymptotic == pytest.approx(SIZES["out"]["p_asymptotic"], abs=1e-6)


def test_distribution_behind_it_gives_the_printed_critical_values() -> None:
    found = kstwo.ppf(0.95, np.array(CRITICAL["in"]["n"]))
    assert found == pytest.approx(CRITICAL["out"]["D"], abs=0.5e-4)
    assert [round(d, 3) for d in found] == [0.563, 0.409, 0.294]
