"""How often intervals like this one held the truth in simulated surveys; from a stored table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.quality import Flag
from dryslate.core.survey.methods import Figure

FloatArray = NDArray[np.float64]

_SIMULATED = {
    Figure.COVER: "cover",
    Figure.DENSITY: "density",
    Figure.PREVALENCE: "prevalence",
    Figure.LINE_DENSITY: "line_density",
    Figure.GEOMETRIC_MEAN: "geometric_mean",
    Figure.SITE_FRACTION: "site_fraction",
    Figure.SITE_DENSITY: "site_density",
}
LINE_SIZES = "line_geometric_mean"
"""Geometric mean of sizes that lines met, weighed by one over the width."""
_FARTHEST_LEVEL = 0.6
"""
A level below this share of the lowest simulated one is outside the table (our choice). So are two
means that differ by more than one over it times what was simulated.
"""
_FARTHEST_SPREAD = 1.4
"""A spread above so many times the greatest simulated one is outside the table (our choice)."""
_LEAST = 1e-9
"""What stands for nothing on a log scale."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoverageTable:
    """
    Simulated coverage by figure, number of units, level, size and spread.

    Parameters
    ----------
    cells : Mapping of str to ndarray of float, shape (m, 5)
        Columns: units, level, size, spread, coverage in percent.
    changes : Mapping of str to ndarray of float, shape (m, 6)
        Of changes, ``paired_`` or ``anew_`` before the figure: units, the larger mean, size, later
        mean over the first, spread at the larger mean, coverage.
    """

    cells: Mapping[str, FloatArray]
    changes: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedUp:
    """
    What a change is looked up by.

    Parameters
    ----------
    n_units : int
        Pairs, or units of the smaller visit.
    level : float
        Larger of the two means; of rates the colonies expected in one unit.
    size : float
        Points or colonies of one unit; 0 for rates.
    ratio : float
        Later mean over the first.
    spread : float
        Variance between units at the larger mean :math:`m` over :math:`m(1-m)`, of rates over
        :math:`m^2`.
    """

    n_units: int
    level: float
    size: float
    ratio: float
    spread: float


def target_pct(n_units: int) -> tuple[float, float]:
    """
    Return between which coverages a 95 % interval counts as sound.

    Parameters
    ----------
    n_units : int

    Returns
    -------
    lo, hi : float
        93 to 97 %; 90 to 98 % under five units.

    Examples
    --------
    >>> target_pct(4), target_pct(5)
    ((90.0, 98.0), (93.0, 97.0))
    """
    return (90.0, 98.0) if n_units < 5 else (93.0, 97.0)


def parse_coverage_table(
    rows: Iterable[Mapping[str, str]], changes: Iterable[Mapping[str, str]] = ()
) -> CoverageTable:
    """
    Read the rows of ``survey_coverage.csv``, ``other_coverage.csv`` and ``change_coverage.csv``.

    Parameters
    ----------
    rows : iterable of mapping
        With ``figure``, ``n_units``, ``level``, ``size``, ``spread`` and ``coverage_pct``.
    changes : iterable of mapping
        The same, with ``ratio``.

    Returns
    -------
    CoverageTable
    """
    return CoverageTable(
        cells=_by_figure(rows, ("n_units", "level", "size", "spread", "coverage_pct")),
        changes=_by_figure(
            changes, ("n_units", "level", "size", "ratio", "spread", "coverage_pct")
        ),
    )


def _by_figure(rows: Iterable[Mapping[str, str]], names: tuple[str, ...]) -> dict[str, FloatArray]:
    """Put the columns of each figure together, for reading only."""
    found: dict[str, list[list[float]]] = {}
    for row in rows:
        found.setdefault(row["figure"], []).append([float(row[name]) for name in names])
    cells = {figure: np.array(values) for figure, values in found.items()}
    for values in cells.values():
        values.setflags(write=False)
    return cells


def find_coverage(
    table: CoverageTable,
    figure: Figure | str,
    n_units: int,
    level: float,
    size: float,
    spread: float,
) -> float | None:
    r"""
    Find the coverage of the nearest simulated survey.

    Parameters
    ----------
    table : CoverageTable
    figure : Figure or str
        Or the table's own word for it: `LINE_SIZES`.
    n_units : int
    level : float
        Cover or prevalence (folded at 0.5), colonies expected in one unit, met by one line, or
        measured in one unit; 1 for a density of zones.
    size : float
        Points or colonies of one unit; of lines the standard deviation of log width in hundredths,
        of sizes from lines that of log size; otherwise 0.
    spread : float
        Variance between units over :math:`m(1-m)` for fractions, over :math:`m^2` for densities,
        over that of log size for the geometric mean.

    Returns
    -------
    float or None
        In percent; None outside what was simulated.

    Notes
    -----
    Nearest by units, then level, then size, then spread, each on a log scale. The spread is the
    survey's own and, at a few units, a rough one: the flag it leads to is a hint, not a figure.
    """
    name = _SIMULATED.get(figure, "") if isinstance(figure, Figure) else figure
    if name not in table.cells or n_units < table.cells[name][:, 0].min():
        return None
    return _look_up(table, name, (float(n_units), level, size, spread))


def find_coverage_of_change(table: CoverageTable, kind: str, change: LookedUp) -> float | None:
    """
    Find the coverage of the nearest simulated change.

    Parameters
    ----------
    table : CoverageTable
    kind : str
        Such as ``paired_cover`` or ``anew_density``.
    change : LookedUp

    Returns
    -------
    float or None
        In percent; None outside what was simulated.

    Notes
    -----
    As `find_coverage`, with the ratio of the means before the spread.
    """
    if kind not in table.changes or change.n_units < table.changes[kind][:, 0].min():
        return None
    ratios = table.changes[kind][:, 3]
    if not _FARTHEST_LEVEL * ratios.min() <= change.ratio <= ratios.max() / _FARTHEST_LEVEL:
        return None
    wanted = (float(change.n_units), change.level, change.size, change.ratio, change.spread)
    return _look_up(table, kind, wanted)


Branch = tuple[tuple[float, float, Any], ...]
"""Values of a column, each with its logarithm and what lies under it."""


def _look_up(table: CoverageTable, name: str, wanted: tuple[float, ...]) -> float | None:
    """Go down the tree, each time to the nearest; None below its levels or above its spreads."""
    if not all(map(math.isfinite, wanted)):
        return None
    n_units, level, *more, spread = wanted
    branches, lowest = _of_units(table, name, n_units)
    if level < _FARTHEST_LEVEL * lowest:
        return None
    for value in (level, *more):
        branches = _nearest(branches, value)
    highest = max(each for b in branches for each, _, _ in b)
    if spread > _FARTHEST_SPREAD * highest:
        return None
    return float(_nearest(branches, spread)[0])


@lru_cache(maxsize=256)
def _of_units(table: CoverageTable, name: str, n_units: float) -> tuple[list[Any], float]:
    """Return what was simulated of the nearest numbers of units, and its lowest level."""
    branches = _nearest([_tree(table, name)], n_units)
    return branches, min(level for b in branches for level, _, _ in b)


def _nearest(branches: Sequence[Branch], value: float) -> list[Any]:
    """Return what lies under the values nearest to this one, several where they tie."""
    at = math.log(max(value, _LEAST))
    away = [(abs(log - at), under) for branch in branches for _, log, under in branch]
    nearest = min(far for far, _ in away) + 1e-12
    return [under for far, under in away if far <= nearest]


@lru_cache(maxsize=32)
def _tree(table: CoverageTable, name: str) -> Branch:
    """Sort the cells of a figure by one column after the other, in the table's order."""
    tree: dict[float, Any] = {}
    cells = table.cells[name] if name in table.cells else table.changes[name]
    for *keys, last, coverage in cells.tolist():
        branch = tree
        for key in keys:
            branch = branch.setdefault(key, {})
        branch.setdefault(last, coverage)
    return _with_logs(tree)


def _with_logs(tree: Mapping[float, Any]) -> Branch:
    """Put the logarithm of each value beside it."""
    return tuple(
        (value, math.log(max(value, _LEAST)), _with_logs(u) if isinstance(u, dict) else u)
        for value, u in tree.items()
    )


def coverage_flags(
    table: CoverageTable,
    figure: Figure | str,
    n_units: int,
    level: float,
    size: float,
    spread: float,
) -> tuple[Flag, ...]:
    """
    Say what simulated surveys tell of an interval.

    Parameters
    ----------
    table : CoverageTable
    figure : Figure or str
    n_units : int
    level, size, spread : float
        As for `find_coverage`.

    Returns
    -------
    tuple of Flag
        Empty where the coverage is within `target_pct`.
    """
    return _flags(find_coverage(table, figure, n_units, level, size, spread), n_units)


def change_flags(table: CoverageTable, kind: str, change: LookedUp) -> tuple[Flag, ...]:
    """
    Say what simulated surveys tell of the interval of a change.

    Parameters
    ----------
    table : CoverageTable
    kind : str
    change : LookedUp
        As for `find_coverage_of_change`.

    Returns
    -------
    tuple of Flag
    """
    return _flags(find_coverage_of_change(table, kind, change), change.n_units)


def _flags(coverage_pct: float | None, n_units: int) -> tuple[Flag, ...]:
    """Say where a coverage lies against its target."""
    if coverage_pct is None:
        return (Flag.COVERAGE_NOT_SIMULATED,)
    lo, hi = target_pct(n_units)
    if coverage_pct < lo:
        return (Flag.COVERAGE_LOW,)
    return (Flag.COVERAGE_HIGH,) if coverage_pct > hi else ()
