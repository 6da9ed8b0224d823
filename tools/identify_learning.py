"""
Fit error rates, frequency weights and temperature: `python -m tools.identify_learning [--write]`.

What goes in: the genus tables, how many species of a genus have each growth form, and simulated
observers (stated class rates, spread between dives, untypical colonies, faults of the data). No
list of written cases is read. Everything is seeded. With ``--write`` the result goes to
src/dryslate/data/taxa/error_rates.csv.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

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
from dryslate.core.identify.taxa import TaxaData
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.formats.error_rates_csv import format_error_rates

OUT = Path(__file__).resolve().parents[1] / "src/dryslate/data/taxa/error_rates.csv"
REGIONS = ("indo_pacific", "western_atlantic")
SLIPS = (0.005, 0.01, 0.02, 0.03, 0.05)
SIZE_SLIPS = (0.01, 0.02, 0.03)
SEED, N = 20_261, 4000
NOTES = """How observers err, for the identification of corals. Made by tools/identify_learning.py.
error: chance that a wrong state is written, fitted to simulated observers whose class rates are a
judgement (2 % by eye, 5 % by eye and hard, 4 % with a lens, 8 % with a lens and hard), with
what the tables get wrong. No rate here was measured on people: a team's own verified corals
can replace them."""


def main() -> int:
    """Fit, say what was found, and write it if asked."""
    parser = argparse.ArgumentParser(description="Fit the observers' error rates.")
    parser.add_argument("--write", action="store_true")
    write = parser.parse_args().write
    taxa, problems = FileReferenceTables().taxa()
    print(f"data {taxa.version}; {len(problems)} problems")
    weights, unlisted, n_species = fit_weights(taxa)
    print(f"weights {weights} from {n_species} species; growth form not listed {unlisted:.3f}")
    rates = ErrorRates(weights=weights)
    stated = rates
    rates = fitted_tails(taxa, stated)
    rates = replace(rates, unclear={n: unclear_of(c, stated) for n, c in taxa.characters.items()})
    sources = {
        "error": f"fitted to {N * len(REGIONS)} simulated corals, seed {SEED}",
        "unclear": "judgement, by how it is seen",
        "weight": f"growth forms of {n_species} species against the table of states",
        "slip": "smallest log loss on simulated corals",
        "size_slip": "smallest log loss on simulated corals",
        "temperature": "smallest log loss on simulated corals",
        "second_state": "judgement",
    }
    text = format_error_rates(rates, NOTES, sources)
    print(text)
    if write:
        OUT.write_text(text, encoding="utf-8")
    return 0


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
    """Slip, size slip and temperature by the smallest log loss over the regions."""
    drawn = []
    for k, region in enumerate(REGIONS):
        rng = np.random.default_rng(SEED + 100 + k)
        model = build_model(taxa, stated, region)
        drawn.append((region, *draw_corals(model, stated, SimulatedTeam(), N, rng)))
    tried = []
    by_slip = {slip: fitted_errors(taxa, stated, slip) for slip in SLIPS}
    for slip, size_slip in product(SLIPS, SIZE_SLIPS):
        candidate = replace(by_slip[slip], size_slip=size_slip)
        parts = []
        for region, truth, evidences in drawn:
            model = build_model(taxa, candidate, region)
            log_lik = log_likelihoods(evidences, model)
            parts.append((log_lik, truth, model, fit_temperature(log_lik, truth, model)))
        power = float(np.mean([p[3] for p in parts]))
        loss = np.mean([measure_calibration(*p[:3], power).log_loss for p in parts])
        print(f"slip {slip}, size slip {size_slip}: power {power:.3f}, log loss {loss:.4f}")
        tried.append((float(loss), replace(candidate, temperature=power)))
    return min(tried, key=lambda t: t[0])[1]


if __name__ == "__main__":
    raise SystemExit(main())
