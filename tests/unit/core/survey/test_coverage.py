"""The stored coverage is what the benchmark simulates, and leads to flags."""

from __future__ import annotations

import csv
from importlib import resources

import bench.survey_coverage as simulated
import numpy as np
import pytest

from dryslate.base.quality import Flag
from dryslate.core.survey.cover import estimate_line_cover, estimate_point_cover
from dryslate.core.survey.coverage import coverage_flags, find_coverage, parse_coverage_table
from dryslate.core.survey.density import estimate_density
from dryslate.core.survey.methods import Figure
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.statement import SurveySettings

PATH = resources.files("dryslate") / "data" / "tables" / "survey_coverage.csv"
ROWS = list(csv.DictReader(PATH.read_text("utf-8").splitlines()))
TABLE = parse_coverage_table(ROWS)
CHECKED = SurveySettings(coverage=TABLE)


def row(figure: str, **want: float):
    return next(
        r
        for r in ROWS
        if r["figure"] == figure and all(float(r[name]) == v for name, v in want.items())
    )


@pytest.mark.parametrize("figure", ["cover", "density", "prevalence"])
def test_stored_cells_are_those_of_the_benchmark(figure) -> None:
    levels, sizes, rhos = simulated.GRID[figure]
    grid = ((levels[2],), (sizes[-1],), (rhos[1],))
    (made,) = simulated.simulate(figure, (5,), grid, 10_000)
    stored = row(figure, n_units=5, level=levels[2], size=sizes[-1], rho=rhos[1])
    assert float(stored["coverage_pct"]) == pytest.approx(made[6], abs=0.051)
    assert float(stored["spread"]) == pytest.approx(made[5], rel=1e-3)


def test_intervals_hold_the_truth_as_often_as_aimed_at_where_surveys_are_usual() -> None:
    # 4,000 surveys: a Monte Carlo error of 0.4 %, so that 92 and 98 stand for 93 and 97.
    for figure, grid in simulated.HELD.items():
        levels, sizes, rhos = grid
        some = ((levels[0], levels[-1]), (sizes[len(sizes) // 2],), (rhos[-1],))
        for made in simulated.simulate(figure, (5, 10), some, 4_000):
            assert 92 <= made[6] <= 98, made


def test_nearest_cell_is_found() -> None:
    want = row("cover", n_units=5, level=0.1, size=100, rho=0.1)
    found = find_coverage(TABLE, Figure.COVER, 5, 0.11, 90, float(want["spread"]) * 1.05)
    assert found == float(want["coverage_pct"])


def test_nearest_cell_is_that_of_a_plain_search() -> None:
    rng = np.random.default_rng(5)
    for _ in range(500):
        n, size = int(rng.integers(1, 40)), float(rng.choice([0, 25, 50, 100, 1e6]))
        level, spread = float(rng.choice([0.0, 0.05, 0.14, 30])), float(rng.exponential(0.2))
        for figure in (Figure.COVER, Figure.DENSITY, Figure.PREVALENCE):
            found = find_coverage(TABLE, figure, n, level, size, spread)
            assert found == plain_search(TABLE.cells[figure.value], n, level, size, spread)


def plain_search(cells, n, level, size, spread):
    """One column after the other, on a log scale; None outside what was simulated."""
    if n < cells[:, 0].min():
        return None
    for column, value in enumerate((float(n), level, size, spread)):
        if column == 1 and value < 0.6 * cells[:, 1].min():
            return None
        if column == 3 and value > 1.4 * cells[:, 3].max():
            return None
        away = np.abs(np.log(np.maximum(cells[:, column], 1e-9)) - np.log(max(value, 1e-9)))
        cells = cells[away <= away.min() + 1e-12]
    return float(cells[0, 4])


def test_flags_follow_the_coverage() -> None:
    low = row("cover", n_units=20, level=0.02, size=100, rho=0.4)
    high = row("cover", n_units=3, level=0.1, size=25, rho=0)
    assert float(low["coverage_pct"]) < 93
    assert float(high["coverage_pct"]) > 98
    for cell, flags in ((low, (Flag.COVERAGE_LOW,)), (high, (Flag.COVERAGE_HIGH,))):
        where = (float(cell[name]) for name in ("level", "size", "spread"))
        assert coverage_flags(TABLE, Figure.COVER, int(cell["n_units"]), *where) == flags


def test_outside_the_table_the_coverage_is_not_known() -> None:
    unknown = (Flag.COVERAGE_NOT_SIMULATED,)
    assert coverage_flags(TABLE, Figure.COVER, 5, 0.001, 100, 0.01) == unknown
    assert coverage_flags(TABLE, Figure.COVER, 5, 0.3, 100, 0.95) == unknown
    assert coverage_flags(TABLE, Figure.TISSUE_SHARE, 5, 0.3, 100, 0.1) == unknown


def test_figures_carry_the_flag() -> None:
    patchy = estimate_point_cover([40, 0, 0, 0, 0, 0, 1, 0], [100] * 8, CHECKED)
    assert Flag.COVERAGE_LOW in patchy.flags
    usual = estimate_point_cover([31, 44, 25, 38, 29, 35], [100] * 6, CHECKED)
    assert usual.flags == ()
    counts = estimate_density([20, 31, 18, 26, 40], [60] * 5, CHECKED, edge_rule="centre_inside")
    assert counts.flags == ()
    clumped = estimate_density([300, 2, 0, 5, 1, 0, 3, 1], [60] * 8, CHECKED, edge_rule=None)
    assert Flag.COVERAGE_LOW in clumped.flags or Flag.COVERAGE_NOT_SIMULATED in clumped.flags
    assert estimate_prevalence([9, 12, 7, 15, 8], [30] * 5, CHECKED).flags == ()
    limit = estimate_point_cover([0] * 5, [100] * 5, CHECKED)
    assert limit.flags == (Flag.UPPER_LIMIT_ONLY,)


def test_table_cannot_be_changed_by_whom_it_is_handed_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        TABLE.cells["cover"][0, 0] = 1.0
    assert np.isfinite(TABLE.cells["prevalence"]).all()


def test_units_that_are_all_alike_have_no_spread_to_look_up() -> None:
    found = estimate_line_cover([5.0, 5.0], [10.0, 10.0], CHECKED)
    assert set(found.flags) == {Flag.NO_SPREAD, Flag.COVERAGE_NOT_SIMULATED}
