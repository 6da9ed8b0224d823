"""SAM-06: the law school data of Efron & Tibshirani 1986, Stat. Sci. 1:54-75."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.survey.resampling import Resampling, fit_bootstrap, fit_jackknife

PATH = Path(__file__).parent / "checks" / "sam_bootstrap_law_school.json"
EXACT, DRAWN = json.loads(PATH.read_text("utf-8"))["cases"]
X, Y = (np.array(EXACT["in"][name]) for name in ("LSAT", "GPA"))


def correlation(drawn):
    n = drawn.sum(axis=1)
    mx, my = drawn @ X / n, drawn @ Y / n
    cov = drawn @ (X * Y) / n - mx * my
    return cov / np.sqrt((drawn @ X**2 / n - mx**2) * (drawn @ Y**2 / n - my**2))


def test_jackknife_is_exact() -> None:
    out = EXACT["out"]
    assert correlation(np.ones((1, 15)))[0] == pytest.approx(out["r"], abs=1e-6)
    found = fit_jackknife(correlation, 15)
    assert found.u == pytest.approx(out["jackknife_se"], abs=1e-6)
    assert found.bias == pytest.approx(out["jackknife_bias"], abs=1e-6)
    assert found.acceleration == pytest.approx(out["acceleration_jackknife"], abs=1e-6)


def test_bootstrap_of_a_seed_lies_where_published() -> None:
    out = DRAWN["out"]
    wide = fit_bootstrap(correlation, 15, np.random.default_rng(15), Resampling(n_resamples=50_000))
    narrow = fit_bootstrap(
        correlation, 15, np.random.default_rng(15), Resampling(n_resamples=50_000, confidence=0.90)
    )
    assert wide.u == pytest.approx(out["se"], abs=0.005)
    assert wide.z0 == pytest.approx(out["z0"], abs=0.02)
    assert (narrow.lo, narrow.hi) == pytest.approx(out["bca90"], abs=0.02)
    assert (wide.lo, wide.hi) == pytest.approx(out["bca95"], abs=0.02)
    plain90 = (narrow.percentile_lo, narrow.percentile_hi)
    assert plain90 == pytest.approx(out["percentile90"], abs=0.02)
    assert (wide.percentile_lo, wide.percentile_hi) == pytest.approx(out["percentile95"], abs=0.02)
    # The paper's own nonparametric interval, two decimals, and its standard error.
    assert (narrow.lo, narrow.hi) == pytest.approx([0.43, 0.92], abs=0.02)
    assert wide.u == pytest.approx(0.13, abs=0.005)
    assert wide.lo < wide.percentile_lo - 0.05
