"""SAM-09: cover from line intercepts (English et al. 1997). SAM-10: density (Eberhardt 1978)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.survey.cover import estimate_line_cover, line_lengths
from dryslate.core.survey.density import estimate_line_density
from dryslate.core.survey.sizes import line_weights, measure_shape
from dryslate.core.survey.statement import SurveySettings

CHECKS = Path(__file__).parent / "checks"


def cases(name: str):
    return json.loads((CHECKS / name).read_text("utf-8"))["cases"]


def test_marks_along_one_tape() -> None:
    case = cases("sam_line_intercept_cover.json")[0]
    found = line_lengths(case["in"]["cumulative_end_marks_cm"])
    out, tape = case["out"], case["in"]["transect_cm"]
    assert {name: length for name, (length, _) in found.items()} == out["length_cm"]
    assert {name: n for name, (_, n) in found.items()} == out["intercepts"]
    for name, (length, _) in found.items():
        assert 100 * length / tape == pytest.approx(out["cover_percent"][name], abs=1e-9)


@pytest.mark.parametrize(
    "case", cases("sam_line_intercept_cover.json")[1:], ids=lambda c: c["name"]
)
def test_lines_as_replicates(case) -> None:
    lengths, tapes, out = case["in"]["live_coral_cm"], case["in"]["transect_cm"], case["out"]
    by_tape = estimate_line_cover(lengths, tapes, SurveySettings(weighting="effort"))
    assert (by_tape.estimate, by_tape.u) == pytest.approx((out["cover"], out["se_ratio"]), abs=1e-9)
    alike = estimate_line_cover(lengths, tapes, SurveySettings())
    want = (out["mean_of_transects"], out["se_of_mean"])
    assert (alike.estimate, alike.u) == pytest.approx(want, abs=1e-9)


def test_density_from_one_line_has_no_interval() -> None:
    case = cases("sam_line_intercept_density.json")[0]
    found = estimate_line_density(case["in"]["w_m"], case["in"]["L_m"], SurveySettings())
    assert found.estimate == pytest.approx(case["out"]["density_per_m2"], abs=1e-9)
    assert (found.u, found.lo95, found.hi95) == (None, None, None)


def test_density_from_three_lines_one_empty() -> None:
    case = cases("sam_line_intercept_density.json")[1]
    given, out = case["in"], case["out"]
    found = estimate_line_density(given["w_m"], given["L_m"], SurveySettings())
    assert (found.estimate, found.u) == pytest.approx((out["mean"], out["se"]), abs=1e-9)
    assert found.estimate == pytest.approx(out["density_per_m2"], abs=1e-9)
    for widths, length, want in zip(given["w_m"], given["L_m"], out["per_transect"], strict=True):
        one = estimate_line_density([widths], [length], SurveySettings())
        assert one.estimate == pytest.approx(want, abs=1e-9)


def test_mean_width_corrected_for_size_bias() -> None:
    case = cases("sam_line_intercept_density.json")[2]
    widths = case["in"]["w_m"]
    found = measure_shape(widths[0], line_weights(widths)[0])
    assert found.mean == pytest.approx(case["out"]["mean_w_m"], abs=1e-9)


def test_density_and_sizes_from_lines_are_unbiased_for_colonies_thrown_at_random() -> None:
    rng = np.random.default_rng(10)
    side, n = 60.0, 4000  # lines across a square; discs kept clear of its edges
    radius = rng.lognormal(-2.0, 0.7, n)
    y = rng.uniform(0, side, n)
    lines = rng.uniform(5, side - 5, 400)
    crossed = [radius[np.abs(y - at) < radius] for at in lines]
    found = estimate_line_density([2 * r for r in crossed], [side] * 400, SurveySettings())
    truth = n / side**2
    assert found.estimate == pytest.approx(truth, abs=4 * found.u)
    assert found.u < 0.05 * truth
    hit = np.concatenate(crossed)
    plain, weighed = hit.mean(), measure_shape(hit, line_weights([2 * hit])[0]).mean
    assert plain > 1.4 * radius.mean()
    assert weighed == pytest.approx(radius.mean(), rel=0.05)
