"""Mixed models of visits and sites: beside another program's fit, and in simulated surveys."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Reading, paired_change
from dryslate.core.survey.methods import Method
from dryslate.core.survey.mixed import MixedFit, VisitedUnits, fit_visits
from dryslate.core.survey.mixed_bootstrap import Layout, reach_of_contrast


def survey(
    rng: np.random.Generator,
    shape: tuple[int, int, int],
    sd_unit: float,
    sd_error: float,
    gone: float = 0.0,
    sd_observer: float = 0.0,
) -> pd.DataFrame:
    """Sites by units by visits; cover falls by 0.05 a visit; some are missing."""
    sites, units, visits = shape
    eyes = rng.normal(0, sd_observer, 8)
    rows = []
    for s in range(sites):
        for u in range(units):
            place = rng.normal(0, sd_unit)
            for v in range(visits):
                if rng.random() < gone:
                    continue
                o = int(rng.integers(8))
                y = 0.4 + 0.03 * s - 0.05 * v + place + eyes[o] + rng.normal(0, sd_error)
                rows.append((f"s{s}", f"v{v}", f"s{s}u{u}", f"o{o}", y))
    return pd.DataFrame(rows, columns=["site", "visit", "unit", "observer", "y"])


def fit(data: pd.DataFrame, *, observers: bool = False) -> MixedFit:
    return fit_visits(
        VisitedUnits(
            values=data.y.to_numpy(),
            sites=list(data.site),
            visits=list(data.visit),
            units=list(data.unit),
            observers=list(data.observer) if observers else None,
        )
    )


def test_variances_means_and_doubt_are_those_of_statsmodels() -> None:
    data = survey(np.random.default_rng(4), (3, 6, 3), 0.1, 0.05, gone=0.15)
    found = fit(data)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        want = smf.mixedlm("y ~ 0 + site:visit", data, groups=data.unit).fit(
            reml=True, method="bfgs"
        )
    assert found.variances["error"] == pytest.approx(want.scale, rel=2e-3)
    assert found.variances["unit"] == pytest.approx(float(want.cov_re.iloc[0, 0]), rel=2e-3)
    for (site, visit), mean in zip(found.cells, found.means, strict=True):
        assert mean == pytest.approx(want.fe_params[f"site[{site}]:visit[{visit}]"], abs=1e-5)
    weights = found.weights_of_change("v0", "v2")
    order = [f"site[{s}]:visit[{v}]" for s, v in found.cells]
    cov = want.cov_params().loc[order, order].to_numpy()
    u = found.contrast("cover_frac", weights).change.u
    assert u == pytest.approx(float(np.sqrt(weights @ cov @ weights)), rel=2e-3)


def test_crossed_observers_are_those_of_statsmodels() -> None:
    data = survey(np.random.default_rng(9), (2, 12, 3), 0.08, 0.04, sd_observer=0.06)
    found = fit(data, observers=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        want = smf.mixedlm(
            "y ~ 0 + site:visit",
            data.assign(all=1),
            groups="all",
            vc_formula={"unit": "0 + C(unit)", "observer": "0 + C(observer)"},
        ).fit(reml=True)
    parts = dict(zip(want.model.exog_vc.names, want.vcomp, strict=True))
    assert found.variances["unit"] == pytest.approx(parts["unit"], rel=0.01)
    assert found.variances["observer"] == pytest.approx(parts["observer"], rel=0.01)
    assert found.variances["error"] == pytest.approx(want.scale, rel=0.01)


def test_one_site_twice_is_the_paired_t() -> None:
    data = survey(np.random.default_rng(2), (1, 6, 2), 0.1, 0.04)
    first, second = (data[data.visit == v].y.to_numpy() for v in ("v0", "v1"))
    want = paired_change("cover_frac", first, second)
    model = fit(data)
    found = model.contrast("cover_frac", model.weights_of_change("v0", "v1"))
    assert found.change.estimate == pytest.approx(want.change.estimate)
    assert found.change.u == pytest.approx(want.change.u, rel=1e-4)
    assert found.change.df == pytest.approx(5, rel=1e-3)
    assert found.p == pytest.approx(want.p, abs=0.02)  # drawn: 1,999 times
    assert found.sees is not None
    assert want.sees is not None
    assert found.sees.change == pytest.approx(want.sees.change, rel=0.1)


@pytest.mark.parametrize(("shape", "sd_unit"), [((1, 3, 2), 0.02), ((2, 4, 3), 0.05)])
def test_intervals_hold_the_truth_with_few_units(
    shape: tuple[int, int, int], sd_unit: float
) -> None:
    """A quick look; the bench has more cells and more surveys."""
    rng, runs, held = np.random.default_rng(6), 400, 0
    for _ in range(runs):
        found = fit(survey(rng, shape, sd_unit, 0.05))
        last = f"v{shape[2] - 1}"
        change = found.contrast("x", found.weights_of_change("v0", last)).change
        held += change.lo95 <= -0.05 * (shape[2] - 1) <= change.hi95
    assert 0.92 <= held / runs <= 0.98


def test_sites_that_change_apart_are_told() -> None:
    rng = np.random.default_rng(3)
    data = survey(rng, (3, 6, 2), 0.1, 0.03)
    assert fit(data).p_sites_differ("v0", "v1") > 0.01
    data.loc[(data.site == "s1") & (data.visit == "v1"), "y"] -= 0.2
    assert fit(data).p_sites_differ("v0", "v1") < 0.001
    assert fit(survey(rng, (1, 4, 2), 0.1, 0.03)).p_sites_differ("v0", "v1") is None


def test_few_observers_stay_out_of_the_model_and_it_is_said() -> None:
    data = survey(np.random.default_rng(1), (2, 5, 2), 0.1, 0.03)
    data["observer"] = np.where(data.visit == "v0", "a", "b")
    found = fit(data, observers=True)
    assert Flag.OBSERVERS_NOT_IN_MODEL in found.flags
    assert "observer" not in found.variances


def test_a_variance_at_zero_is_told_and_leaves_the_model() -> None:
    data = survey(np.random.default_rng(8), (2, 4, 2), 0.0, 0.05)
    found = fit(data)
    assert Flag.VARIANCE_AT_ZERO in found.flags
    change = found.contrast("x", found.weights_of_change("v0", "v1")).change
    assert change.df == pytest.approx(len(data) - 4)


def test_how_far_t_goes_is_students_where_nothing_is_estimated_but_one_variance() -> None:
    """Two visits to five units of one site: t with 4 degrees of freedom, 2.776."""
    cells = np.tile([0, 1], 5)
    layout = Layout(cells=cells, units=np.repeat(np.arange(5), 2))
    far = reach_of_contrast(layout, 50.0, np.array([-1.0, 1.0]), n_draws=20_000)
    assert far == pytest.approx(2.776, rel=0.03)
    again = reach_of_contrast(layout, 50.0, np.array([-1.0, 1.0]), n_draws=20_000)
    assert again == far


def test_few_sites_are_drawn_again_and_many_are_not() -> None:
    for sites, method in ((2, Method.BOOTSTRAP_MIXED), (6, Method.T_MIXED)):
        found = fit(survey(np.random.default_rng(5), (sites, 4, 2), 0.1, 0.03))
        change = found.contrast("x", found.weights_of_change("v0", "v1"))
        assert change.change.method is found.method is method
        assert change.change.lo95 is not None
        assert (change.p < 0.05) == (change.change.lo95 > 0 or change.change.hi95 < 0)
    observed = fit(
        survey(np.random.default_rng(5), (2, 8, 3), 0.1, 0.03, sd_observer=0.03), observers=True
    )
    assert observed.method is Method.T_MIXED


def test_a_fit_that_did_not_settle_gives_no_interval() -> None:
    found = fit(survey(np.random.default_rng(5), (2, 4, 2), 0.1, 0.03))
    lost = replace(found, flags=(Flag.MODEL_NOT_CONVERGED,))
    change = lost.contrast("x", lost.weights_of_change("v0", "v1"))
    assert change.change.estimate is not None
    assert change.change.lo95 is change.change.u is change.p is change.sees is None
    assert change.change.method is Method.NONE
    assert Flag.MODEL_NOT_CONVERGED in change.change.flags
    assert change.reading() is Reading.NOT_KNOWN
    assert lost.p_sites_differ("v0", "v1") is None


def test_one_factor_always_settles_unless_units_are_all() -> None:
    rng = np.random.default_rng(11)
    for sd in (0.0, 0.01, 0.1, 2.0):
        for _ in range(40):
            assert Flag.MODEL_NOT_CONVERGED not in fit(survey(rng, (2, 4, 2), sd, 0.05)).flags
    exact = survey(rng, (1, 4, 2), 0.1, 0.0)
    assert Flag.MODEL_NOT_CONVERGED in fit(exact).flags


def test_what_carries_no_model_is_refused() -> None:
    data = survey(np.random.default_rng(8), (2, 1, 2), 0.1, 0.05)
    with pytest.raises(InputError, match="change-nothing-to-compare"):
        fit(data)
    with pytest.raises(InputError, match="No site"):
        fit(survey(np.random.default_rng(8), (2, 3, 2), 0.1, 0.05)).weights_of_change("v0", "v9")


@pytest.mark.parametrize(
    "values", [(0.0, 0.0, 0.3, 0.3), (0.4, 0.4, 0.55, 0.55), (0.25, 0.25, 0.35)]
)
def test_visits_whose_units_are_all_alike_carry_no_model(values: tuple[float, ...]) -> None:
    visits = ["v0", "v0", "v1", "v1"][: len(values)]
    data = pd.DataFrame(
        {
            "site": "s0",
            "visit": visits,
            "unit": [f"{visit}u{k}" for k, visit in enumerate(visits)],
            "y": values,
        }
    )
    with pytest.raises(InputError, match="change-nothing-to-compare"):
        fit(data)


def test_plots_that_all_change_alike_give_no_interval() -> None:
    data = pd.DataFrame(
        [
            (site, visit, f"{site}{unit}", place + 0.1 * visit * step)
            for site, step in (("a", 1), ("b", 2))
            for unit, place in (("u", 0.1), ("v", 0.3), ("w", 0.2))
            for visit in range(2)
        ],
        columns=["site", "visit", "unit", "y"],
    )
    found = fit(data)
    assert Flag.MODEL_NOT_CONVERGED in found.flags
    assert found.contrast("x", found.weights_of_change(0, 1)).change.u is None
