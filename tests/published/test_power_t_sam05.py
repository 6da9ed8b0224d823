"""SAM-05: Cohen 1988, Statistical Power Analysis 2nd ed., Table 2.4.1; 1992, Psychol. Bull. 112."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dryslate.core.survey.planning import Design, power_to_see, units_to_see
from dryslate.core.survey.spread import stated_spread

SOLVER = 1e-4
"""The exact units were solved elsewhere to about this; ours give the power to 1e-9."""
PATH = Path(__file__).parent / "checks" / "sam_power_t.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_power_and_units(case: dict[str, Any]) -> None:
    given, want = case["in"], case["out"]
    if "n_pairs" in given:
        found = power_to_see(Design.PAIRED, given["n_pairs"], given["dz"], 1.0)
        assert found == pytest.approx(want["power"], abs=0.5e-10)
        return
    if "dz" in given:
        plan = units_to_see(Design.PAIRED, given["dz"], stated_spread(1.0), given["power"])
        assert plan.exact == pytest.approx(want["n_pairs_exact"], abs=SOLVER)
        met = power_to_see(Design.PAIRED, plan.exact, given["dz"], 1.0)
        assert met == pytest.approx(given["power"], abs=1e-9)
        assert plan.units == want["n_pairs"]
        return
    plan = units_to_see(Design.TWO_GROUPS, given["d"], stated_spread(1.0), given["power"])
    assert plan.exact == pytest.approx(want["n_exact_per_group"], abs=SOLVER)
    assert plan.exact == pytest.approx(want["n_table"], abs=case["tol"])  # printed, rounded
    assert plan.units - want["n_table"] in (0, 1)
