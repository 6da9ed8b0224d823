"""SAM-11: cover from points with the transect as replicate; quadrats and belts (Krebs 1999)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.survey.cover import estimate_point_cover
from dryslate.core.survey.density import estimate_density, variance_to_mean
from dryslate.core.survey.statement import SurveySettings

PATH = Path(__file__).parent / "checks" / "sam_point_intercept_quadrats.json"
POINTS, *COUNTS = json.loads(PATH.read_text("utf-8"))["cases"]


@pytest.mark.parametrize("name", sorted(POINTS["out"]))
def test_cover_from_four_transects(name) -> None:
    counts, out = POINTS["in"]["counts"], POINTS["out"][name]
    hits = [c.get(name, 0) for c in counts]  # a category not met on a transect is a zero there
    points = [sum(c.values()) for c in counts]
    found = estimate_point_cover(hits, points, SurveySettings())
    assert (found.estimate, found.u) == pytest.approx((out["mean"], out["se"]), abs=1e-9)
    pooled = estimate_point_cover(hits, points, SurveySettings(weighting="effort"))
    assert pooled.estimate == pytest.approx(out["pooled"], abs=1e-9)
    assert found.lo95 < found.estimate < found.hi95


@pytest.mark.parametrize("case", COUNTS, ids=lambda c: c["name"])
def test_density_of_quadrats_and_belts(case) -> None:
    counts, areas, out = case["in"]["count"], case["in"]["area_m2"], case["out"]
    found = estimate_density(counts, areas, SurveySettings(), edge_rule="centre_inside")
    assert (found.estimate, found.u) == pytest.approx((out["mean_per_m2"], out["se"]), abs=1e-9)
    pooled = estimate_density(
        counts, areas, SurveySettings(weighting="effort"), edge_rule="centre_inside"
    )
    assert pooled.estimate == pytest.approx(out["pooled_per_m2"], abs=1e-9)
    assert variance_to_mean(counts) == pytest.approx(out["variance_to_mean_counts"], abs=1e-9)
    each = [c / a for c, a in zip(counts, areas, strict=True)]
    assert each == pytest.approx(out["per_unit"], abs=1e-9)
