"""
DIV-08 to DIV-11: Bray & Curtis 1957, Anderson 2001 and 2006, Clarke 1993, Kruskal 1964, Gower 1966.

The table of dune meadows may not be carried by this project, nor what was computed from it; both
are read beside the checkout, and the tests are skipped where they are absent. scikit-bio reckons
the same where it does.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryslate.core.survey.dispersion import compare_dispersion
from dryslate.core.survey.dissimilarity import measure_dissimilarity
from dryslate.core.survey.exchange import Exchange
from dryslate.core.survey.ordination import (
    fit_ordination,
    fit_principal_coordinates,
    measure_stress,
)
from dryslate.core.survey.permanova import Term, compare_terms, measure_anosim
from dryslate.core.survey.simper import find_contributions


def read(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    return head[1:], [row[1:] for row in rows]


def cases(tables: Path, name: str) -> dict[str, Any]:
    found = json.loads((tables / name).read_text("utf-8"))["cases"]
    return {case["name"]: case for case in found}


@pytest.fixture(scope="module")
def dune(diversity_tables: Path) -> tuple[list[str], np.ndarray]:
    things, rows = read(diversity_tables / "div_data_dune.csv")
    return things, np.array(rows, dtype=float)


@pytest.fixture(scope="module")
def unlike(dune: tuple[list[str], np.ndarray]) -> np.ndarray:
    return measure_dissimilarity(dune[1])


@pytest.fixture(scope="module")
def around(diversity_tables: Path) -> dict[str, tuple[str, ...]]:
    names, rows = read(diversity_tables / "div_data_dune_env.csv")
    return {name: tuple(row[k] for row in rows) for k, name in enumerate(names)}


def test_bray_curtis(diversity_tables: Path, unlike: np.ndarray) -> None:
    _, rows = read(diversity_tables / "div_dune_bray_curtis.csv")
    np.testing.assert_allclose(unlike, np.array(rows, dtype=float), rtol=0, atol=5.1e-11)


@pytest.mark.parametrize("name", ["Management", "A1 (numeric covariate)"])
def test_permanova(
    diversity_tables: Path, unlike: np.ndarray, around: dict[str, tuple[str, ...]], name: str
) -> None:
    want = cases(diversity_tables, "div_dune_permanova.json")[name]["out"]
    short = name.split(maxsplit=1)[0]
    values = around[short]
    term = Term(name=short, values=tuple(map(float, values)) if short == "A1" else values)
    found = compare_terms(unlike, [term], Exchange(), np.random.default_rng(20))
    (line,) = found.terms
    assert [line.df, found.residual_df] == want["df"]
    np.testing.assert_allclose(
        [line.ss, found.residual_ss, found.total_ss], want["SS"], rtol=0, atol=5.1e-12
    )
    assert line.r2 == pytest.approx(want["R2"], abs=5.1e-11)
    assert line.f == pytest.approx(want["F"], abs=5.1e-11)
    assert 0.001 <= line.p <= 0.006  # the band that the check states
    assert line.n_permutations == 9_999
    assert line.p_smallest == pytest.approx(1 / 10_000)


def test_anosim_and_dispersion(
    diversity_tables: Path, unlike: np.ndarray, around: dict[str, tuple[str, ...]]
) -> None:
    want = cases(diversity_tables, "div_dune_permanova.json")
    groups = around["Management"]
    r = want["ANOSIM Management"]["out"]["R"]
    assert measure_anosim(unlike, groups) == pytest.approx(r, abs=5.1e-13)
    spread = want["dispersion Management (distances to centroid)"]["out"]
    found = compare_dispersion(unlike, groups, Exchange(), np.random.default_rng(1), "centroid")
    assert found.f == pytest.approx(spread["F"], abs=5.1e-12)
    assert [name for name, _ in found.group_means] == spread["group_order"]
    means = [mean for _, mean in found.group_means]
    np.testing.assert_allclose(means, spread["group_mean_distance"], rtol=0, atol=5.1e-13)


def test_simper(
    diversity_tables: Path,
    dune: tuple[list[str], np.ndarray],
    around: dict[str, tuple[str, ...]],
) -> None:
    things, amounts = dune
    for case in cases(diversity_tables, "div_dune_simper.json").values():
        first, second = case["in"]["groups"]
        found = find_contributions(amounts, things, around["Management"], first, second)
        assert found.overall == pytest.approx(case["out"]["overall"], abs=5.1e-13)
        for one, want in zip(found.contributions, case["out"]["top6"], strict=False):
            assert one.thing == want["species"]
            for got, key in (
                (one.average, "average"),
                (one.sd, "sd"),
                (one.mean_first, "ava"),
                (one.mean_second, "avb"),
                (one.cumulative, "cumsum"),
            ):
                assert got == pytest.approx(want[key], rel=5.1e-12)


@pytest.mark.parametrize(("at", "n_axes"), [(0, 2), (1, 3)])
def test_ordination_reaches_the_printed_stress(
    diversity_tables: Path, unlike: np.ndarray, at: int, n_axes: int
) -> None:
    want = cases(diversity_tables, "div_dune_ordination.json")["NMDS"]["out"]["stress1"][at]
    found = fit_ordination(unlike, np.random.default_rng(at), n_axes)
    # A search may end lower; here it ends at the printed value to seven digits.
    assert found.stress == pytest.approx(want, abs=1e-7)
    assert found.n_reached >= 2
    assert found.flags == ()
    assert measure_stress(found.xy, unlike) == pytest.approx(found.stress, abs=1e-9)


def test_principal_coordinates(diversity_tables: Path, unlike: np.ndarray) -> None:
    want = cases(diversity_tables, "div_dune_ordination.json")["PCoA"]["out"]
    found = fit_principal_coordinates(unlike)
    np.testing.assert_allclose(found.eigenvalues, want["eigenvalues"], rtol=0, atol=5.1e-12)
    printed = np.array(want["axes12_up_to_sign"])
    np.testing.assert_allclose(np.abs(found.xy[:, :2]), np.abs(printed), rtol=0, atol=1e-9)
    # The printed stress leaves equal dissimilarities in the order of the pairs, where the primary
    # treatment lets distances choose. Told apart in that order, it comes out to its digits; with
    # ties as they are, the stress is a little lower, as it must be.
    i, j = np.triu_indices(len(unlike), 1)
    told_apart = np.zeros_like(unlike)
    told_apart[i, j] = unlike[i, j] + 1e-9 * np.arange(len(i))
    told_apart += told_apart.T
    stress = want["stress1_of_axes12"]
    assert measure_stress(found.xy[:, :2], told_apart) == pytest.approx(stress, abs=1e-12)
    assert stress - 0.001 < measure_stress(found.xy[:, :2], unlike) < stress


def test_another_library_says_the_same(
    unlike: np.ndarray, around: dict[str, tuple[str, ...]]
) -> None:
    distance = pytest.importorskip("skbio.stats.distance")
    groups = list(around["Management"])
    matrix = distance.DistanceMatrix(unlike)
    rng = np.random.default_rng(1)
    (line,) = compare_terms(unlike, [Term(name="m", values=tuple(groups))], Exchange(), rng).terms
    theirs = distance.permanova(matrix, groups, permutations=0)["test statistic"]
    assert line.f == pytest.approx(theirs, rel=1e-9)
    theirs = distance.anosim(matrix, groups, permutations=0)["test statistic"]
    assert measure_anosim(unlike, groups) == pytest.approx(theirs, rel=1e-9)
