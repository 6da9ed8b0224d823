"""SAM-03: beta-binomial (Skellam 1948), design effect (Kish 1965), clusters (Cochran 1977)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.survey.overdispersion import (
    beta_binomial_log_p,
    design_effect,
    fit_beta_binomial,
    measure_clustering,
)
from dryslate.core.survey.statement import require_units

PATH = Path(__file__).parent / "checks" / "sam_overdispersion.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


def test_beta_binomial_moments_and_chances() -> None:
    given, out = CASES[0]["in"], CASES[0]["out"]
    n, mean = given["n"], given["alpha"] / (given["alpha"] + given["beta"])
    rho = 1 / (given["alpha"] + given["beta"] + 1)
    assert rho == pytest.approx(out["rho"], abs=1e-8)
    p = np.exp(beta_binomial_log_p(np.arange(n + 1), n, mean, rho))
    middle = p @ np.arange(n + 1)
    assert p.sum() == pytest.approx(1, abs=1e-10)
    assert middle == pytest.approx(out["mean"], abs=1e-8)
    assert p @ (np.arange(n + 1) - middle) ** 2 == pytest.approx(out["var"], abs=1e-8)
    assert p[0] == pytest.approx(out["pmf_0"], abs=1e-8)
    assert p[n // 2] == pytest.approx(out["pmf_n_half"], abs=1e-8)
    effect = design_effect(n, rho)
    assert effect == pytest.approx(out["design_effect"], abs=1e-8)
    assert n / effect == pytest.approx(out["effective_n"], abs=1e-8)


def test_photos_as_clusters() -> None:
    given, out = CASES[1]["in"], CASES[1]["out"]
    found = measure_clustering(given["hits"], given["points"])
    assert found.u == pytest.approx(out["se_cluster"], abs=1e-8)
    assert found.u_binomial == pytest.approx(out["se_binomial"], abs=1e-8)
    assert found.design_effect == pytest.approx(out["design_effect"], abs=1e-8)
    assert found.effective_points == pytest.approx(out["effective_points"], abs=1e-8)
    assert found.rho == pytest.approx(out["icc_anova"], abs=1e-8)
    mean, u = require_units(given["hits"], given["points"]).mean_and_u("effort")
    assert (mean, u) == pytest.approx((out["p"], out["se_cluster"]), abs=1e-8)
    assert fit_beta_binomial(given["hits"], given["points"]).mean == pytest.approx(0.36, abs=0.01)
    assert len(CASES) == 2
