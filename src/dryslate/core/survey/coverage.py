"""How often intervals like this one held the truth in simulated surveys; from a stored table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
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
}
_FARTHEST_LEVEL = 0.6
"""A level below this share of the lowest simulated one is outside the table."""
_FARTHEST_SPREAD = 1.4
"""A spread above so many times the greatest simulated one is outside the table."""
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
    """

    cells: Mapping[str, FloatArray]


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


def parse_coverage_table(rows: Iterable[Mapping[str, str]]) -> CoverageTable:
    """
    Read the rows of ``data/tables/survey_coverage.csv``.

    Parameters
    ----------
    rows : iterable of mapping
        With ``figure``, ``n_units``, ``level``, ``size``, ``spread`` and ``coverage_pct``.

    Returns
    -------
    CoverageTable
    """
    found: dict[str, list[list[float]]] = {}
    names = ("n_units", "level", "size", "spread", "coverage_pct")
    for row in rows:
        found.setdefault(row["figure"], []).append([float(row[name]) for name in names])
    cells = {figure: np.array(values) for figure, values in found.items()}
    for values in cells.values():
        values.setflags(write=False)
    return CoverageTable(cells=cells)


def find_coverage(
    table: CoverageTable, figure: Figure, n_units: int, level: float, size: float, spread: float
) -> float | None:
    r"""
    Find the coverage of the nearest simulated survey.

    Parameters
    ----------
    table : CoverageTable
    figure : Figure
    n_units : int
    level : float
        Cover or prevalence (folded at 0.5), or colonies expected in one unit.
    size : float
        Points or colonies of one unit; 0 for densities.
    spread : float
        Variance between units over :math:`m(1-m)` for fractions, over :math:`m^2` for densities.

    Returns
    -------
    float or None
        In percent; None outside what was simulated.

    Notes
    -----
    Nearest by units, then level, then size, then spread, each on a log scale. The spread is the
    survey's own and, at a few units, a rough one: the flag it leads to is a hint, not a figure.
    """
    name = _SIMULATED.get(figure, "")
    if name not in table.cells or n_units < table.cells[name][:, 0].min():
        return None
    if not all(map(math.isfinite, (level, size, spread))):
        return None
    branches = _nearest([_tree(table, name)], float(n_units))
    if level < _FARTHEST_LEVEL * min(value for b in branches for value, _, _ in b):
        return None
    branches = _nearest(_nearest(branches, level), size)
    if spread > _FARTHEST_SPREAD * max(value for b in branches for value, _, _ in b):
        return None
    return float(_nearest(branches, spread)[0])


Branch = tuple[tuple[float, float, Any], ...]
"""Values of a column, each with its logarithm and what lies under it."""


def _nearest(branches: Sequence[Branch], value: float) -> list[Any]:
    """Return what lies under the values nearest to this one, several where they tie."""
    at = math.log(max(value, _LEAST))
    away = [(abs(log - at), under) for branch in branches for _, log, under in branch]
    nearest = min(far for far, _ in away) + 1e-12
    return [under for far, under in away if far <= nearest]


@lru_cache(maxsize=16)
def _tree(table: CoverageTable, name: str) -> Branch:
    """Sort the cells of a figure by units, then level, size and spread, in the table's order."""
    tree: dict[float, Any] = {}
    for *keys, last, coverage in table.cells[name].tolist():
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
    table: CoverageTable, figure: Figure, n_units: int, level: float, size: float, spread: float
) -> tuple[Flag, ...]:
    """
    Say what simulated surveys tell of an interval.

    Parameters
    ----------
    table : CoverageTable
    figure : Figure
    n_units : int
    level, size, spread : float
        As for `find_coverage`.

    Returns
    -------
    tuple of Flag
        Empty where the coverage is within `target_pct`.
    """
    found = find_coverage(table, figure, n_units, level, size, spread)
    if found is None:
        return (Flag.COVERAGE_NOT_SIMULATED,)
    lo, hi = target_pct(n_units)
    if found < lo:
        return (Flag.COVERAGE_LOW,)
    return (Flag.COVERAGE_HIGH,) if found > hi else ()
