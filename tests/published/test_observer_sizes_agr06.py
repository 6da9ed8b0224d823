"""AGR-06: Shrout & Fleiss 1979, Psychol. Bull. 86, 420-428; Bland & Altman 1986, Lancet i, 307."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.survey.observer_sizes import Form, intraclass_correlation, limits_of_agreement

CHECKS = Path(__file__).parent / "checks"
ICC, PEAK_FLOW = json.loads((CHECKS / "agr_icc_bland_altman.json").read_text("utf-8"))["cases"]

PRINTED = {
    Form.ONE_WAY_SINGLE: ("ICC1_1", 0.17),
    Form.TWO_WAY_RANDOM_SINGLE: ("ICC2_1", 0.29),
    Form.TWO_WAY_FIXED_SINGLE: ("ICC3_1", 0.71),
    Form.ONE_WAY_MEAN: ("ICC1_k", 0.44),
    Form.TWO_WAY_RANDOM_MEAN: ("ICC2_k", 0.62),
    Form.TWO_WAY_FIXED_MEAN: ("ICC3_k", 0.91),
}
# Ends for the same data as a general statistics package prints them: from memory.
ENDS = {
    Form.ONE_WAY_SINGLE: (-0.133, 0.723),
    Form.TWO_WAY_RANDOM_SINGLE: (0.019, 0.761),
    Form.TWO_WAY_FIXED_SINGLE: (0.342, 0.946),
    Form.ONE_WAY_MEAN: (-0.884, 0.912),
    Form.TWO_WAY_RANDOM_MEAN: (0.071, 0.927),
    Form.TWO_WAY_FIXED_MEAN: (0.676, 0.986),
}


@pytest.mark.parametrize("form", list(Form))
def test_six_forms(form: Form) -> None:
    key, printed = PRINTED[form]
    found = intraclass_correlation(ICC["in"]["targets_by_judges"], form)
    assert found.value == pytest.approx(ICC["out"][key], abs=1e-11)
    assert round(found.value or 0.0, 2) == printed
    assert (found.lo95, found.hi95) == pytest.approx(ENDS[form], abs=0.0006)


def test_limits_of_agreement() -> None:
    first, second = PEAK_FLOW["in"]["method1"], PEAK_FLOW["in"]["method2"]
    want = PEAK_FLOW["out"]
    found = limits_of_agreement(first, second)
    assert found.bias == pytest.approx(want["mean_diff"], abs=1e-8)
    assert found.sd == pytest.approx(want["sd_diff"], abs=1e-8)
    assert (round(found.bias, 1), round(found.sd, 1)) == (-2.1, 38.8)
    assert found.lower == pytest.approx(want["lower_1.96sd"], abs=0.002)
    assert found.upper == pytest.approx(want["upper_1.96sd"], abs=0.002)
    wide = limits_of_agreement(first, second, 2.0)
    assert wide.lower == pytest.approx(want["lower_2sd"], abs=1e-6)
    assert wide.upper == pytest.approx(want["upper_2sd"], abs=1e-6)
    # The paper prints -79.7 and 75.5, reckoned from the rounded -2.1 and 38.8.
    assert (wide.lower, wide.upper) == pytest.approx((-79.7, 75.5), abs=0.1)
