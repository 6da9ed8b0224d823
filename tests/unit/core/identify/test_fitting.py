"""Fits recover what the simulated observers were made with."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.fitting import (
    expected_calibration_error,
    fit_error_rates,
    fit_temperature,
    fit_weights,
    log_likelihoods,
    measure_calibration,
)
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.observer import ErrorRates, error_of, unclear_of
from dryslate.core.identify.simulated import CoralDraw, SimulatedTeam, draw_corals
from dryslate.core.identify.taxa import Kind

CLEAN = SimulatedTeam(dive_spread=0.0, atypical=0.0, data_fault=0.0, p_not=0.0, n_least=4)


@pytest.fixture
def model(small_reef: ModuleType) -> Model:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    return build_model(taxa, small_reef.PLAIN, "west")


def test_error_rate_is_recovered_from_corals_of_known_genus(model: Model) -> None:
    rng = np.random.default_rng(5)
    rates = replace(model.rates, error={**model.rates.error, "wall": 0.25})
    truth, evidences = draw_corals(model, rates, CLEAN, 3000, rng)
    fitted = fit_error_rates(evidences, truth, model)
    assert fitted.error["wall"] == pytest.approx(0.25, abs=0.025)
    assert fitted.error["tissue"] == pytest.approx(0.20, abs=0.025)
    assert fitted.slip == model.rates.slip


def test_error_rate_without_looks_is_that_of_its_class(model: Model) -> None:
    fitted = fit_error_rates([], [], model)
    assert fitted.error["coloniality"] == pytest.approx(0.02)


def test_a_fit_may_begin_at_other_rates_than_those_of_the_classes(model: Model) -> None:
    assert fit_error_rates([], [], model, {"wall": 0.21}).error["wall"] == pytest.approx(0.21)


def test_temperature_of_independent_characters_is_one(model: Model) -> None:
    truth, evidences = draw_corals(model, model.rates, CLEAN, 1500, np.random.default_rng(6))
    assert fit_temperature(log_likelihoods(evidences, model), truth, model) > 0.9


def test_evidence_counted_twice_is_taken_back_by_half(model: Model) -> None:
    truth, evidences = draw_corals(model, model.rates, CLEAN, 1500, np.random.default_rng(7))
    twice = 2.0 * log_likelihoods(evidences, model)
    assert fit_temperature(twice, truth, model) == pytest.approx(0.5, abs=0.05)


def test_own_model_is_calibrated(model: Model) -> None:
    truth, evidences = draw_corals(model, model.rates, CLEAN, 3000, np.random.default_rng(8))
    found = measure_calibration(log_likelihoods(evidences, model), truth, model)
    assert found.ece < 0.03
    assert found.in_set_frac >= 0.93
    assert found.top3_frac == 1.0


def test_calibration_error_is_the_gap_by_hand() -> None:
    p = np.array([0.95, 0.95, 0.55, 0.55])
    right = np.array([True, True, True, False])
    # bins: 0.95 against 1.0, and 0.55 against 0.5
    assert expected_calibration_error(p, right) == pytest.approx(0.05)


def test_weights_come_from_the_growth_forms_of_species(small_reef: ModuleType) -> None:
    def kind(form: str) -> Kind:
        return Kind(
            name=form,
            regions=frozenset({"west"}),
            growth_forms={form: "usual"},
            sizes={},
            share=1.0,
            source="",
        )

    forms = ["massive"] * 3 + ["branching"]
    look = small_reef.profile(
        "Alpha", "growth_form=massive,branching:sometimes", kinds=tuple(map(kind, forms))
    )
    weights, unlisted, n = fit_weights(small_reef.reef(look))
    assert weights["usual"] == 1.0
    assert weights["sometimes"] == pytest.approx(1 / 3)  # 0.25 over 0.75
    assert (unlisted, n) == (0.0, 4)


def test_same_seed_draws_the_same_corals(model: Model) -> None:
    draws = [
        draw_corals(model, model.rates, SimulatedTeam(), 50, np.random.default_rng(9))
        for _ in range(2)
    ]
    assert draws[0] == draws[1]


def test_doubled_rates_make_twice_the_slips(model: Model) -> None:
    def wrong(factor: float) -> float:
        team = replace(CLEAN, error_factor=factor)
        draw, rng = CoralDraw(model, model.rates, team), np.random.default_rng(10)
        corals = [draw.coral(rng) for _ in range(2000)]
        pairs = [(c.shown[n], w) for c in corals for n, w in c.written.items() if w]
        return float(np.mean([shown != written for shown, written in pairs]))

    assert wrong(2.0) / wrong(1.0) == pytest.approx(2.0, rel=0.15)


def test_rates_that_are_not_listed_are_those_of_the_class(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(small_reef.ALPHA)
    assert error_of(taxa.characters["wall"], ErrorRates()) == 0.04
    assert error_of(taxa.characters["wall"], ErrorRates(error={"wall": 0.3})) == 0.3
    assert unclear_of(taxa.characters["wall"], ErrorRates()) == 0.20
    assert unclear_of(taxa.characters["wall"], ErrorRates(unclear={"wall": 0.1})) == 0.1


def test_no_records_have_no_likelihoods(model: Model) -> None:
    assert log_likelihoods([], model).shape == (0, 3)
    assert log_likelihoods([Evidence()], model).shape == (1, 3)
