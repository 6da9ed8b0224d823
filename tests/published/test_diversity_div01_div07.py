"""
DIV-01 to DIV-07: indices, Hurlbert 1971, Chao 1984 and 1987, species pool, accumulation.

The tables of dune meadows and trees may not be carried by this project; they are read beside the
checkout, and the tests are skipped where they are absent.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.special import comb

from dryslate.core.survey.diversity import Counted, measure_indices, read_counts, read_units
from dryslate.core.survey.rarefaction import rarefied_richness
from dryslate.core.survey.richness import (
    abundance_coverage,
    bootstrap_richness,
    chao1,
    chao2,
    jackknife_richness,
)

CHECKS = Path(__file__).parent / "checks"


def rows_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))[1:]


def counts_of(tables: Path, name: str) -> dict[str, np.ndarray]:
    return {row[0]: np.array(row[1:], dtype=float) for row in rows_of(tables / name)}


@pytest.mark.parametrize(
    ("data", "want"),
    [
        ("div_data_dune.csv", "div_dune_alpha.csv"),
        ("div_data_bci.csv", "div_bci_alpha_odd_plots.csv"),
    ],
)
def test_indices(diversity_tables: Path, data: str, want: str) -> None:
    counts = counts_of(diversity_tables, data)
    for site, *figures in rows_of(diversity_tables / want):
        found = measure_indices(read_counts(counts[site], Counted.COLONIES))
        values = [
            *(found.n, found.richness, found.shannon, found.gini_simpson, found.inverse_simpson),
            *(*found.hill, found.pielou),
        ]
        np.testing.assert_allclose(values, [float(v) for v in figures[:-1]], rtol=2e-9)
        # The printed alpha comes from a search that stops at about 1e-5; ours solves the equation.
        alpha = found.fisher_alpha
        assert alpha is not None
        assert alpha == pytest.approx(float(figures[-1]), rel=1e-5)
        assert alpha * np.log1p(found.n / alpha) == pytest.approx(found.richness, rel=1e-12)


@pytest.mark.parametrize(
    ("data", "want"),
    [
        ("div_data_dune.csv", "div_dune_rarefaction.csv"),
        ("div_data_bci.csv", "div_bci_rarefaction.csv"),
    ],
)
def test_rarefaction_of_hurlbert(diversity_tables: Path, data: str, want: str) -> None:
    counts = counts_of(diversity_tables, data)
    for site, n, s, se in rows_of(diversity_tables / want):
        found = rarefied_richness(read_counts(counts[site], Counted.COLONIES), int(n))
        # Where every draw holds every genus the root of rounding alone is left of the SE.
        assert found[0] == pytest.approx(float(s), rel=1e-8)
        assert found[1] == pytest.approx(float(se), rel=1e-6, abs=1e-5)


def test_chao1_bias_corrected_and_abundance_coverage(diversity_tables: Path) -> None:
    counts = counts_of(diversity_tables, "div_data_bci.csv")
    for site, observed, s, se, ace in rows_of(diversity_tables / "div_bci_chao1_ace_odd_plots.csv"):
        found = chao1(read_counts(counts[site], Counted.COLONIES), is_bias_corrected=True)
        assert found.observed == int(observed)
        assert found.estimate == pytest.approx(float(s), rel=1e-8)
        assert found.u == pytest.approx(float(se), rel=1e-8)
        lee = abundance_coverage(read_counts(counts[site], Counted.COLONIES))
        assert lee.estimate == pytest.approx(float(ace), rel=1e-8)


def test_species_pool(diversity_tables: Path) -> None:
    (case,) = json.loads((CHECKS / "div_bci_species_pool.json").read_text("utf-8"))["cases"]
    want = case["out"]
    trees = read_units(list(counts_of(diversity_tables, "div_data_bci.csv").values()))
    assert (trees.n, trees.richness) == (want["n"], want["Species"])
    lower = chao2(trees)
    assert lower.estimate == pytest.approx(want["chao"], abs=1e-8)
    assert lower.u == pytest.approx(want["chao_se"], abs=1e-8)
    boot = bootstrap_richness(trees)
    assert boot.estimate == pytest.approx(want["boot"], abs=1e-8)
    assert boot.u == pytest.approx(want["boot_se"], abs=1e-8)
    first = jackknife_richness(trees, 1)
    assert first.estimate == pytest.approx(want["jack1"], abs=1e-8)
    assert jackknife_richness(trees, 2).estimate == pytest.approx(want["jack2"], abs=1e-8)
    # The printed SE takes Q1/T off the sum of squares. The jackknife's own variance, as in
    # Heltshe & Forrester 1983, takes off Q1^2/T, and is the one given here.
    q1, t = trees.held(1), trees.n
    assert first.u is not None
    printed = np.sqrt(first.u**2 + (t - 1) / t * (q1**2 - q1) / t)
    assert printed == pytest.approx(want["jack1_se"], abs=1e-8)


def test_accumulation(diversity_tables: Path) -> None:
    trees = read_units(list(counts_of(diversity_tables, "div_data_bci.csv").values()))
    assert trees.seen is not None
    alike = np.nan_to_num(np.corrcoef(trees.seen[:, trees.counts < trees.n].T))
    for row in rows_of(diversity_tables / "div_bci_accumulation.csv"):
        t, s, sd = int(row[0]), float(row[1]), float(row[2])
        expected, spread = rarefied_richness(trees, t)
        assert expected == pytest.approx(s, rel=1e-8)
        # The printed SD takes the correlation of genera at one unit for that at any number (Ugland
        # et al. 2003); ours is exact, and the same where one unit or all are drawn.
        y = trees.counts[trees.counts < trees.n]
        missed = comb(trees.n - y, t) / comb(trees.n, t)
        root = np.sqrt(missed * (1 - missed))
        assert np.sqrt(max(root @ alike @ root, 0.0)) == pytest.approx(sd, rel=1e-7, abs=1e-6)
        if t in (1, trees.n):
            assert spread == pytest.approx(sd, rel=1e-8, abs=1e-5)
        else:
            assert spread == pytest.approx(sd, rel=0.1)
