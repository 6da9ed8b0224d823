"""
Which genera the tables confuse from few characters: `python -m tools.confused_pairs [--corals N]`.

Corals are drawn from the looks of each region and written down by simulated observers, five or
six characters each and a size in half of them, with slips. For each pair, most confused first: how
often one was named for the other, the characters in which the two differ (0 to 1, the total
variation of what an observer would write), and those that are scored for one of them only. What
the tables have wrong does not show here; what they leave out does.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

from dryslate.core.identify.fitting import log_likelihoods
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.posterior import probabilities
from dryslate.core.identify.simulated import SimulatedTeam, draw_corals
from dryslate.files.reference_tables import FileReferenceTables

PAIRS = {"indo_pacific": 40, "western_atlantic": 20}
SHORT = SimulatedTeam(n_least=5, n_most=6, p_size=0.5, p_not=0.0)
LEAST_DIFFERENCE = 0.25
N_TOLD = 6
SEED = 5


def main() -> int:
    """Print the pairs of both regions."""
    parser = argparse.ArgumentParser(description="Genera confused from few characters.")
    parser.add_argument("--corals", type=int, default=8000)
    n = parser.parse_args().corals
    taxa, _ = FileReferenceTables().taxa()
    rates = FileReferenceTables().error_rates()
    for region, n_pairs in PAIRS.items():
        model = build_model(taxa, rates, region)
        print(f"{region}, {n} corals")
        for pair, times in confused(model, rates, n).most_common(n_pairs):
            told, one_sided = differences(*pair, model)
            words = [f"{pair[0]} and {pair[1]}: {times}", ", ".join(told) or "nothing differs"]
            words += [f"scored for one only: {', '.join(one_sided)}"] if one_sided else []
            print("; ".join(words))
    return 0


def confused(model: Model, rates: ErrorRates, n: int) -> Counter[tuple[str, str]]:
    """How often one genus of a pair was named for the other."""
    stated = replace(rates, error={})  # as judged: the fitted ones are the model's own
    truth, evidences = draw_corals(model, stated, SHORT, n, np.random.default_rng(SEED))
    p = model.sum_by_genus(probabilities(log_likelihoods(evidences, model), model))
    named = [model.genera[i] for i in p.argmax(axis=1)]
    wrong = [(t, g) for t, g in zip(truth, named, strict=True) if t != g]
    return Counter((min(pair), max(pair)) for pair in wrong)


def differences(one: str, other: str, model: Model) -> tuple[list[str], list[str]]:
    """Characters that differ, the clearest first; and those that are scored for one genus only."""
    rows = [model.rows_of(model.genera.index(g)) for g in (one, other)]
    weights = [model.prior[r] / model.prior[r].sum() for r in rows]
    told, one_sided = [], []
    for name, table in model.tables.items():
        known = [bool(table.is_known[r].any()) for r in rows]
        if known[0] != known[1]:
            one_sided.append(name)
        elif all(known):
            a, b = (w @ table.p_written[r] for w, r in zip(weights, rows, strict=True))
            told.append((0.5 * float(np.abs(a - b).sum()), name))
    told.sort(reverse=True)
    return [f"{n} {d:.2f}" for d, n in told[:N_TOLD] if d >= LEAST_DIFFERENCE], one_sided


if __name__ == "__main__":
    raise SystemExit(main())
