"""
Naming of genera: calibration, questions, speed and written cases: `python -m bench.identify`.

Calibration: corals drawn from species profiles and written down by simulated observers
(src/dryslate/core/identify/simulated.py), at the stated error rates, halved and doubled; seeds
differ from those of the fit. Questions: how many until the truth has 90 %, by expected information
against the fixed order of the characters, both by eye before lens. Speed on one core, with the
whole answer as JSON. Cases: tests/scenes/identify/evaluation.csv, totals only; never look into it.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.core.identify.answer import answer_to_dict, identify
from dryslate.core.identify.evidence import Evidence, Size
from dryslate.core.identify.fitting import log_likelihoods, measure_calibration
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.observer import CLASS_ERROR, ErrorRates
from dryslate.core.identify.posterior import score_evidence
from dryslate.core.identify.questions import expected_bits, find_next
from dryslate.core.identify.simulated import CoralDraw, SimulatedCoral, SimulatedTeam, draw_corals
from dryslate.core.identify.taxa import TaxaData
from dryslate.files.reference_tables import FileReferenceTables

CASES = Path(__file__).resolve().parents[1] / "tests" / "scenes" / "identify"
SEED = 77_003
P_ENOUGH = 0.90
BATCH = 100_000
FACTORS = {"stated": 1.0, "halved": 0.5, "doubled": 2.0}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--corals", type=int, default=6000)
    parser.add_argument("--walks", type=int, default=300)
    parser.add_argument("--batch", type=int, default=BATCH)
    parser.add_argument("--cases", default="evaluation", choices=("evaluation", "development"))
    args = parser.parse_args()
    began = time.perf_counter()
    tables = FileReferenceTables()
    taxa, _ = tables.taxa()
    rates = tables.error_rates()
    model = build_model(taxa, rates, "indo_pacific")
    loaded_ms = 1000 * (time.perf_counter() - began)
    stated = replace(rates, error={})  # class rates: the fit's own are the model's, not the team's
    found: dict[str, Any] = {
        "data": taxa.version,
        "n_genera": len(model.genera),
        "n_profiles": len(model.profiles),
        "stated_rates": {f"{w} {'hard' if h else 'easy'}": e for (w, h), e in CLASS_ERROR.items()},
        "calibration": calibration(taxa, rates, stated, args.corals),
        "questions": questions(model, stated, args.walks),
        "speed": {"loading_ms": round(loaded_ms, 1), **speed(model, stated, args.batch)},
        f"cases_{args.cases}": cases(args.cases, taxa, rates),
    }
    print(json.dumps(found, indent=1))
    return 0


def calibration(
    taxa: TaxaData, rates: ErrorRates, stated: ErrorRates, n: int
) -> dict[str, dict[str, Any]]:
    """ECE, the 95 % set and its size, by region and error rates."""
    found: dict[str, dict[str, Any]] = {}
    for k, region in enumerate(("indo_pacific", "western_atlantic")):
        model = build_model(taxa, rates, region)
        for name, factor in FACTORS.items():
            rng = np.random.default_rng([SEED, k])
            team = SimulatedTeam(error_factor=factor)
            truth, evidences = draw_corals(model, stated, team, n, rng)
            measured = measure_calibration(log_likelihoods(evidences, model), truth, model)
            found[f"{region}, {name}"] = {
                key: round(value, 4) for key, value in asdict(measured).items()
            }
    return found


def questions(model: Model, stated: ErrorRates, n: int) -> dict[str, float]:
    """Questions until the truth has 90 %, by expected information and in fixed order."""
    draw = CoralDraw(model, stated, SimulatedTeam())
    rng = np.random.default_rng(SEED)
    counts = []
    while len(counts) < n:
        coral = draw.coral(rng)
        counts.append((walk(coral, model, False), walk(coral, model, True)))
    asked = np.array(counts, float)
    limit = len(model.ask.names)
    reached = asked[
        asked[:, 1] < limit
    ]  # the fixed order gets there; the other may not: counts all
    return {
        "n_corals": n,
        "n_fixed_reaches": len(reached),
        "n_adaptive_reaches": int((asked[:, 0] < limit).sum()),
        "n_fixed_mean": round(float(reached[:, 1].mean()), 2),
        "n_adaptive_mean": round(float(reached[:, 0].mean()), 2),
        "share": round(float(reached[:, 0].mean() / reached[:, 1].mean()), 3),
        "share_of_all": round(float(asked[:, 0].mean() / asked[:, 1].mean()), 3),
    }


def walk(coral: SimulatedCoral, model: Model, is_fixed: bool) -> int:
    """Number of questions until the truth has 90 %; all of them where it never does."""
    truth = model.genera.index(coral.genus)
    evidence = Evidence(region=model.region)
    order = sorted(
        range(len(model.ask.names)),
        key=lambda i: ("eye", "lens", "scale").index(model.ask.seen_with[i]),
    )
    fixed = [model.ask.names[i] for i in order]
    for n in range(len(fixed)):
        scores = score_evidence([evidence], model)
        if scores.p_genus[0, truth] >= P_ENOUGH:
            return n
        if is_fixed:
            name = fixed[n]
        else:
            following = find_next(evidence, expected_bits(scores.p_profile, model)[0], model)
            if not following:
                return len(fixed)
            name = following[0].character
        evidence = answered(evidence, name, coral)
    return len(fixed)


def answered(evidence: Evidence, name: str, coral: SimulatedCoral) -> Evidence:
    """The evidence with one more answer; what is not scored for the coral cannot be told."""
    if name in coral.sizes:
        return replace(evidence, sizes={**evidence.sizes, name: coral.sizes[name]})
    state = coral.written.get(name, "")
    if state:
        return replace(evidence, seen={**evidence.seen, name: frozenset({state})})
    return replace(evidence, unclear=evidence.unclear | {name})


def speed(model: Model, stated: ErrorRates, n_batch: int) -> dict[str, float]:
    """One whole answer, and a batch from JSON lines to JSON lines with its start, on one core."""
    rng = np.random.default_rng(SEED + 1)
    _, evidences = draw_corals(model, stated, SimulatedTeam(), min(n_batch, 5000), rng)
    identify(evidences[0], model)
    single = []
    for evidence in evidences[:200]:
        began = time.perf_counter()
        json.dumps(answer_to_dict(identify(evidence, model)))
        single.append(time.perf_counter() - began)
    lines = [line_of(e) for e in evidences]
    began, before = time.perf_counter(), os.times()
    command = [sys.executable, "-m", "dryslate.cli.main", "identify", "-", "--json"]
    text = "\n".join(lines[i % len(lines)] for i in range(n_batch)) + "\n"
    done = subprocess.run(command, input=text, capture_output=True, text=True, check=False)
    after = os.times()
    return {
        "answer_ms_median": round(1000 * float(np.median(single)), 2),
        "answer_ms_p95": round(1000 * float(np.quantile(single, 0.95)), 2),
        "n_batch_answered": done.stdout.count("\n"),
        "batch_s": round(time.perf_counter() - began, 1),
        "batch_cpu_s": round(after.children_user - before.children_user, 1),
        "load_average": round(os.getloadavg()[0], 1),
        "n_cores_seen": float(os.cpu_count() or 0),
    }


def line_of(evidence: Evidence) -> str:
    """One line of a batch, as it is handed in on the command line."""
    record = {
        "region": evidence.region,
        "seen": {c: sorted(s) for c, s in evidence.seen.items()},
        "not": {c: sorted(s) for c, s in evidence.not_seen.items()},
        "sizes_mm": {m: [s.value_mm, s.u_mm] for m, s in evidence.sizes.items()},
    }
    return json.dumps(record)


def cases(name: str, taxa: TaxaData, rates: ErrorRates) -> dict[str, float]:
    """Totals over the written cases; nothing of any single case is shown."""
    models: dict[str, Model] = {}
    places, in_set, n_set = [], [], []
    for genus, evidence in read_cases(CASES / f"{name}.csv"):
        region = str(evidence.region)
        if region not in models:
            models[region] = build_model(taxa, rates, region)
        model = models[region]
        p_genus = score_evidence([evidence], model).p_genus[0]
        order = [model.genera[i] for i in np.argsort(-p_genus, kind="stable")]
        answer = identify(evidence, model)
        places.append(order.index(genus) if genus in order else len(order))
        in_set.append(genus in answer.set95)
        n_set.append(len(answer.set95))
    return {
        "n": len(places),
        "first_frac": round(float(np.mean(np.array(places) == 0)), 4),
        "top3_frac": round(float(np.mean(np.array(places) < 3)), 4),
        "n_in_set": int(np.sum(in_set)),
        "n_set_mean": round(float(np.mean(n_set)), 2),
    }


def read_cases(path: Path) -> Iterator[tuple[str, Evidence]]:
    """Truth and evidence of each written case."""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            sizes = dict(part.split("=") for part in row["sizes_mm"].split(";") if part)
            yield (
                row["genus"],
                Evidence(
                    region=row["region"],
                    seen=states_of(row["seen"]),
                    not_seen=states_of(row["not_seen"]),
                    sizes={m: size_of(text) for m, text in sizes.items()},
                ),
            )


def states_of(text: str) -> dict[str, frozenset[str]]:
    """States by character, from ``character=state|state;...``."""
    pairs = (part.split("=") for part in text.split(";") if part)
    return {name: frozenset(states.split("|")) for name, states in pairs}


def size_of(text: str) -> Size:
    """A size from ``value±u``."""
    value, _, u = text.partition("±")
    return Size(value_mm=float(value), u_mm=float(u or 0.0))


if __name__ == "__main__":
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":  # one core is promised; numpy reads it once
        os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1")
        os.execv(sys.executable, [sys.executable, "-m", "bench.identify", *sys.argv[1:]])
    raise SystemExit(main())
