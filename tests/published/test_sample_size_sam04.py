"""SAM-04: Fleiss, Levin & Paik 2003, Statistical Methods for Rates and Proportions, Table A.4."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from dryslate.core.survey.overdispersion import design_effect
from dryslate.core.survey.planning_shares import (
    colonies_for_change,
    photos_for_points,
    points_for_interval,
)

PATH = Path(__file__).parent / "checks" / "sam_sample_size_proportions.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_sample_sizes(case: dict[str, Any]) -> None:
    given, want = case["in"], case["out"]
    if "p1" in given:
        plain, corrected = colonies_for_change(given["p1"], given["p2"], given["power"])
        assert plain == pytest.approx(want["n_per_group"], abs=1e-6)
        assert corrected == pytest.approx(want["n_per_group_continuity"], abs=1e-6)
        assert math.ceil(plain) == want["n_ceil"]
        assert math.ceil(corrected) == want["n_continuity_ceil"]
    elif "half_width" in given:
        found = points_for_interval(given["p"], given["half_width"])
        assert found == pytest.approx(want["n"], abs=1e-6)
    else:
        each, rho = given["points_per_photo"], given["rho"]
        points, photos = photos_for_points(given["n_simple"], each, rho)
        assert design_effect(each, rho) == pytest.approx(want["design_effect"], abs=1e-9)
        assert points == pytest.approx(want["n_points"], abs=1e-6)
        assert photos == want["n_photos"]
