"""SAM-08: heights of students (Spiegel & Stephens); log-size statistics (Bak & Meesters 1998)."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.survey.size_frequency import describe_sizes
from dryslate.core.survey.sizes import ellipse_area_cm2, measure_shape, require_sizes
from dryslate.core.survey.statement import SurveySettings

PATH = Path(__file__).parent / "checks" / "sam_size_frequency.json"
CASES = {c["name"]: c for c in json.loads(PATH.read_text("utf-8"))["cases"]}


def test_heights_of_a_hundred_students() -> None:
    case = CASES["heights"]
    found = measure_shape(case["in"]["class_mark"], case["in"]["count"], n=100)
    out = case["out"]
    assert found.mean == pytest.approx(out["mean"], abs=1e-9)
    assert found.skewness_g1 == pytest.approx(out["g1"], abs=0.5e-4)
    assert found.skewness == pytest.approx(out["G1"], abs=0.5e-4)
    assert found.kurtosis_g2 == pytest.approx(out["g2"], abs=0.5e-4)
    assert found.kurtosis == pytest.approx(out["G2"], abs=0.5e-4)


def test_diameters_of_colonies() -> None:
    out = CASES["colony diameters cm"]["out"]
    diameter = CASES["colony diameters cm"]["in"]["diameter_cm"]
    raw, logs = measure_shape(diameter), measure_shape(np.log10(diameter))
    assert (raw.mean, raw.sd) == pytest.approx((out["mean"], out["sd"]), abs=1e-6)
    assert raw.skewness_g1 == pytest.approx(out["skew_g1"], abs=1e-6)
    assert raw.skewness == pytest.approx(out["skew_G1"], abs=1e-6)
    assert (logs.mean, logs.sd) == pytest.approx((out["log10_mean"], out["log10_sd"]), abs=1e-6)
    assert logs.skewness_g1 == pytest.approx(out["log10_skew_g1"], abs=1e-6)
    assert logs.skewness == pytest.approx(out["log10_skew_G1"], abs=1e-6)
    found = describe_sizes(require_sizes([diameter[:7], diameter[7:]]), SurveySettings())
    figures = {f.what: f.estimate for f in found.figures}
    assert found.n_colonies == out["n"]
    assert figures["cv_pct"] == pytest.approx(out["cv_percent"], abs=1e-6)
    assert figures["log_skewness"] == pytest.approx(out["log10_skew_G1"], abs=1e-6)
    assert math.log10(figures["geometric_mean_cm"]) == pytest.approx(out["log10_mean"], abs=1e-6)
    assert figures["log_sd"] / math.log(10) == pytest.approx(out["log10_sd"], abs=1e-6)
    assert np.median(diameter) == out["median"]  # given for information; no figure of ours
    assert np.quantile(diameter, 0.95) == pytest.approx(out["p95_linear"])


def test_counts_of_classes_lower_end_in_upper_end_out() -> None:
    case = CASES["classes [0,5),[5,10),[10,20),[20,40),[40,inf)"]
    sizes = require_sizes([case["in"]["diameter_cm"]])
    found = describe_sizes(sizes, SurveySettings(), case["in"]["edges"])
    assert [c.count for c in found.classes] == case["out"]["count"]


def test_diameter_and_area_of_one_colony() -> None:
    case = CASES["geometric mean diameter and ellipse area"]
    length, width = case["in"]["length_cm"], case["in"]["width_cm"]
    assert math.sqrt(length * width) == pytest.approx(case["out"]["gmd_cm"], abs=1e-9)
    assert ellipse_area_cm2(length, width) == pytest.approx(
        case["out"]["ellipse_area_cm2"], abs=1e-9
    )
    assert len(CASES) == 4
