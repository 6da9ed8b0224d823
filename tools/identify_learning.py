"""
Fit error rates, frequency weights and temperature: `python -m tools.identify_learning [--write]`.

What goes in: the genus tables, how many species of a genus have each growth form, the written
cases that are kept for fitting (how often a state that is only sometimes shown is written down),
and simulated observers (stated class rates, spread between dives, untypical colonies, faults of
the data). The cases that are kept for measuring are not read. Everything is seeded. With
``--write`` the result goes to src/dryslate/data/taxa/error_rates.csv.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
from bench.identify import read_cases
from scipy.optimize import minimize_scalar

from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.fitting import (
    fit_error_rates,
    fit_temperature,
    fit_weights,
    log_likelihoods,
    measure_calibration,
)
from dryslate.core.identify.model import build_model
from dryslate.core.identify.observer import ErrorRates, unclear_of
from dryslate.core.identify.simulated import SimulatedTeam, draw_corals
from dryslate.core.identify.taxa import Frequency, TaxaData
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.formats.error_rates_csv import format_error_rates

ROOT = Path(__file__).resolve().parents[1]
OUT = ROOT / "src/dryslate/data/taxa/error_rates.csv"
CASES = ROOT / "tests/scenes/identify"
WRITTEN = ("development.csv", "fitting.csv")  # never the list that is measured with
HALVED = ("fitting3.csv",)  # even ids only: the odd ones are for checking
REGIONS = ("indo_pacific", "western_atlantic")
SLIPS = (0.005, 0.01, 0.02, 0.03)
SIZE_SLIPS = (0.01, 0.02)
ERROR_SHARES = (0.7, 0.85, 1.0)  # of the rates by expectation-maximisation; tails take the rest
AS_GOOD = 1.005  # times the smallest log loss: among these the calibration decides
PRIOR_LOG_SD = 0.5  # how far the weight of other characters may lie from that of growth forms
SOMETIMES = (0.02, 0.03, 0.045, 0.07, 0.1, 0.15, 0.22, 0.33)
RARE_OF_SOMETIMES = (0.15, 0.25, 0.4)
ASKED_ANYWAY = (0.5, 0.3, 0.2, 0.1)
SEED, N = 20_261, 4000
NOTES = """How observers err, for the identification of corals. Made by tools/identify_learning.py.
error: chance that a wrong state is written, fitted to simulated observers whose class rates are a
judgement (2 % by eye, 5 % by eye and hard, 4 % with a lens, 8 % with a lens and hard), with
what the tables get wrong. No rate here was measured on people: a team's own verified corals
can replace them. weight: by written cases that are not measured with."""


def main() -> int:
    """Fit, say what was found, and write it if asked."""
    parser = argparse.ArgumentParser(description="Fit the observers' error rates.")
    parser.add_argument("--write", action="store_true")
    write = parser.parse_args().write
    taxa, problems = FileReferenceTables().taxa()
    print(f"data {taxa.version}; {len(problems)} problems")
    by_species, unlisted, n_species = fit_weights(taxa)
    print(f"weights {by_species} from {n_species} species; growth form not listed {unlisted:.3f}")
    written = [case for name in WRITTEN for case in read_cases(CASES / name)]
    written += [case for name in HALVED for case in mending_half(name)]
    stated = ErrorRates(weights=written_weights(taxa, by_species, written))
    print(f"weights {dict(stated.weights)} by {len(written)} written cases")
    stated = written_asked(taxa, stated, written)
    rates = written_errors(taxa, fitted_tails(taxa, stated), written)
    short = [case for name in HALVED for case in mending_half(name)]
    rates = replace(rates, temperature=fitted_temperature(taxa, rates, stated, short))
    rates = replace(rates, unclear={n: unclear_of(c, stated) for n, c in taxa.characters.items()})
    sources = {
        "error": f"{N * len(REGIONS)} simulated corals, seed {SEED}; {len(written)} written cases",
        "unclear": "judgement, by how it is seen",
        "weight": f"growth forms of {n_species} species, log loss on {len(written)} written cases",
        "slip": "smallest log loss on simulated corals",
        "size_slip": "smallest log loss on simulated corals",
        "temperature": "smallest log loss on simulated corals, at stated and doubled rates, and "
        f"{len(short)} short written cases",
        "second_state": "judgement",
        "asked_anyway": f"log loss on {len(written)} written cases, 0.1 at least",
    }
    text = format_error_rates(rates, NOTES, sources)
    print(text)
    if write:
        OUT.write_text(text, encoding="utf-8")
    return 0


def mending_half(name: str) -> list[tuple[str, Evidence]]:
    """Even cases of a list of which the odd ones are for checking."""
    return list(read_cases(CASES / name))[1::2]


def written_weights(
    taxa: TaxaData, by_species: dict[Frequency, float], written: list[tuple[str, Evidence]]
) -> dict[Frequency, float]:
    """What sometimes and rare mean beside usual: growth forms as prior, then written cases."""
    expected = by_species["rare"] / by_species["sometimes"]
    losses = []
    for sometimes, rare in product(SOMETIMES, RARE_OF_SOMETIMES):
        weights: dict[Frequency, float] = {
            "usual": 1.0,
            "sometimes": sometimes,
            "rare": sometimes * rare,
        }
        loss = written_loss(taxa, ErrorRates(weights=weights), written)
        print(f"sometimes {sometimes}, rare {rare} of it: log loss {loss:.4f} on written cases")
        apart = [math.log(sometimes / by_species["sometimes"]), math.log(rare / expected)]
        prior = 0.5 * sum((a / PRIOR_LOG_SD) ** 2 for a in apart)
        losses.append((loss * len(written) + prior, weights))
    return min(losses, key=lambda entry: entry[0])[1]


def written_errors(
    taxa: TaxaData, rates: ErrorRates, written: list[tuple[str, Evidence]]
) -> ErrorRates:
    """Error rates with what written cases show, the rates by simulation worth 30 looks each."""
    model = build_model(taxa, rates)
    evidences = [replace(e, region=None) for _, e in written]
    return fit_error_rates(evidences, [g for g, _ in written], model, rates.error)


def written_asked(
    taxa: TaxaData, rates: ErrorRates, written: list[tuple[str, Evidence]]
) -> ErrorRates:
    """How often a question is answered that does not apply: by log loss, one in ten at least."""
    tried = [replace(rates, asked_anyway=share) for share in ASKED_ANYWAY]
    losses = [written_loss(taxa, t, written) for t in tried]
    print("asked anyway", dict(zip(ASKED_ANYWAY, losses, strict=True)))
    return tried[losses.index(min(losses))]


def written_loss(taxa: TaxaData, rates: ErrorRates, written: list[tuple[str, Evidence]]) -> float:
    """Mean log loss over written cases, each in its region."""
    total = 0.0
    for region in sorted({str(e.region) for _, e in written}):
        model = build_model(taxa, rates, region)
        here = [(g, e) for g, e in written if e.region == region and g in model.genera]
        log_lik = log_likelihoods([e for _, e in here], model)
        measured = measure_calibration(log_lik, [g for g, _ in here], model)
        total += measured.log_loss * len(here)
    return total / len(written)


def fitted_errors(taxa: TaxaData, stated: ErrorRates, slip: float) -> ErrorRates:
    """Each character's error rate beside the tail: the mean over regions."""
    fits = []
    for k, region in enumerate(REGIONS):
        model = build_model(taxa, replace(stated, slip=slip), region)
        rng = np.random.default_rng(SEED + k)
        truth, evidences = draw_corals(model, stated, SimulatedTeam(), N, rng)
        fits.append(fit_error_rates(evidences, truth, model).error)
    error = {n: float(np.mean([f[n] for f in fits])) for n in taxa.characters}
    return replace(stated, error=error, slip=slip)


def fitted_tails(taxa: TaxaData, stated: ErrorRates) -> ErrorRates:
    """Slips and temperature by log loss; share of the error rates by calibration."""
    drawn = []
    for k, region in enumerate(REGIONS):
        rng = np.random.default_rng(SEED + 100 + k)
        model = build_model(taxa, stated, region)
        drawn.append((region, *draw_corals(model, stated, SimulatedTeam(), N, rng)))
    tried: list[tuple[float, float, ErrorRates]] = []
    by_slip = {slip: fitted_errors(taxa, stated, slip) for slip in SLIPS}
    for slip, size_slip, share in product(SLIPS, SIZE_SLIPS, ERROR_SHARES):
        error = {n: share * e for n, e in by_slip[slip].error.items()}
        candidate = replace(by_slip[slip], size_slip=size_slip, error=error)
        parts = []
        for region, truth, evidences in drawn:
            model = build_model(taxa, candidate, region)
            log_lik = log_likelihoods(evidences, model)
            parts.append((log_lik, truth, model, fit_temperature(log_lik, truth, model)))
        power = float(np.mean([p[3] for p in parts]))
        measured = [measure_calibration(*p[:3], power) for p in parts]
        loss, gap = (float(np.mean([getattr(c, k) for c in measured])) for k in ("log_loss", "ece"))
        print(f"slip {slip} {size_slip}, share {share}: {power:.3f} {loss:.4f} {gap:.4f}")
        tried.append((loss, gap, replace(candidate, temperature=power)))
    best = min(tried, key=lambda t: t[0])
    alike = [t for t in tried if _tails(t[2]) == _tails(best[2]) and t[0] <= AS_GOOD * best[0]]
    return min(alike, key=lambda t: t[1])[2]


def fitted_temperature(
    taxa: TaxaData, rates: ErrorRates, stated: ErrorRates, short: list[tuple[str, Evidence]]
) -> float:
    """
    Temperature by log loss, a third each: simulated corals at the stated rates, at twice of
    them, and short written cases. The slips of these lead to look-alikes, each of which costs
    as much as several at random.
    """
    parts = []
    for factor in (1.0, 2.0):
        for k, region in enumerate(REGIONS):
            model = build_model(taxa, rates, region)
            rng = np.random.default_rng(SEED + 200 + k)
            team = SimulatedTeam(error_factor=factor)
            truth, evidences = draw_corals(model, stated, team, N, rng)
            parts.append((log_likelihoods(evidences, model), truth, model, 1 / len(REGIONS)))
    for region in sorted({str(e.region) for _, e in short}):
        model = build_model(taxa, rates, region)
        here = [(g, e) for g, e in short if e.region == region]
        log_lik = log_likelihoods([e for _, e in here], model)
        parts.append((log_lik, [g for g, _ in here], model, len(here) / len(short)))

    def loss(power: float) -> float:
        return sum(share * measure_calibration(*p, power).log_loss for *p, share in parts)

    found = minimize_scalar(loss, bounds=(0.2, 1.0), method="bounded", options={"xatol": 0.005})
    print(f"temperature {found.x:.3f}")
    return float(found.x)


def _tails(rates: ErrorRates) -> tuple[float, float]:
    """Both slips."""
    return rates.slip, rates.size_slip


if __name__ == "__main__":
    raise SystemExit(main())
