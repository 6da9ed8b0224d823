"""DIV-12: Chao & Jost 2012, Ecology 93, 2533-2547; Chao et al. 2014, Ecol. Monogr. 84, 45-67."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.survey.diversity import Counted, measure_indices, read_counts, sample_coverage
from dryslate.core.survey.rarefaction import expected_coverage, hill_curve, size_for_coverage
from dryslate.core.survey.richness import asymptotic_hill, chao1

CHECKS = Path(__file__).parent / "checks"
WHOLE, CURVE, LEVEL = json.loads((CHECKS / "div_coverage_girdled.json").read_text("utf-8"))["cases"]
SPIDERS = read_counts(WHOLE["in"]["abundances"], Counted.COLONIES)


def test_coverage_and_all_there_is() -> None:
    want = WHOLE["out"]
    found = measure_indices(SPIDERS)
    assert (found.n, found.richness) == (want["n"], want["S_obs"])
    assert found.hill[1] == pytest.approx(want["H1_obs"], abs=1e-9)
    assert found.hill[2] == pytest.approx(want["H2_obs"], abs=1e-9)
    assert sample_coverage(SPIDERS) == pytest.approx(want["coverage"], abs=1e-10)
    s, h1, h2 = asymptotic_hill(SPIDERS)
    assert s == pytest.approx(want["S_asy"], abs=1e-9)
    assert h1 == pytest.approx(want["H1_asy"], abs=1e-9)
    assert h2 == pytest.approx(want["H2_asy"], abs=1e-9)
    # As printed: .9289, 43.893, 13.826, 8.175 (printed figures from memory).
    assert round(sample_coverage(SPIDERS), 4) == 0.9289
    assert [round(v, 3) for v in (s, h1, h2)] == [43.893, 13.826, 8.175]
    classic = chao1(SPIDERS, is_bias_corrected=False)
    assert classic.estimate == pytest.approx(s, abs=1e-12)
    assert classic.is_lower_bound
    assert "lower bound" in classic.estimand


def test_curve() -> None:
    m, want, tol = CURVE["in"]["m"], CURVE["out"], CURVE["tol"]
    np.testing.assert_allclose(expected_coverage(SPIDERS, m), want["coverage"], atol=tol)
    points = hill_curve(SPIDERS, m)
    for order, key in enumerate(("richness", "hill_q1", "hill_q2")):
        found = [p.estimate for p in points if p.order == order]
        np.testing.assert_allclose(found[: len(want[key])], want[key], atol=tol)
    assert [p.is_extrapolated for p in points[:5]] == [False] * 4 + [True]


def test_size_at_a_coverage() -> None:
    want, tol = LEVEL["out"], LEVEL["tol"]
    m = size_for_coverage(SPIDERS, LEVEL["in"]["coverage"])
    assert m == want["m"]
    below, at = expected_coverage(SPIDERS, [m - 1, m])
    assert at == pytest.approx(want["coverage_at_m"], abs=tol)
    assert below == pytest.approx(want["coverage_at_m_minus_1"], abs=tol)
    assert hill_curve(SPIDERS, [m])[0].estimate == pytest.approx(want["richness"], abs=tol)
