"""Where each fault of imported tables stands: table, row and column, with the cells of that row."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.entry_faults import field_of

if TYPE_CHECKING:
    from dryslate.app.import_rows import ImportPlan
    from dryslate.base.problems import Problem
    from dryslate.core.survey.designs import SurveyRow
    from dryslate.formats.table_csv import Table

_ROW = re.compile(r"row (\d+)(?:, column (.+))?$")
_CELL = re.compile(r"cell ([A-Z]+)(\d+)$")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedFault:
    """A fault with its place: table (-1: none), row and column as the table has them."""

    problem: Problem
    table: int = -1
    row: int | None = None
    column: str = ""


def placed_faults(plan: ImportPlan) -> tuple[PlacedFault, ...]:
    """
    Tell of each fault where it stands.

    Parameters
    ----------
    plan : ImportPlan

    Returns
    -------
    tuple of PlacedFault
        In the order of the plan.
    """
    rows = {
        f"{' '.join(unit.key)}, {noted.row.place}": noted.row
        for unit in plan.units
        for noted in unit.rows
    }
    return tuple(_placed(problem, plan, rows) for problem in plan.problems)


def _placed(problem: Problem, plan: ImportPlan, rows: Mapping[str, SurveyRow]) -> PlacedFault:
    """Find the place of one fault."""
    table = next((n for n, t in enumerate(plan.tables) if t.name in problem.place), -1)
    at = _ROW.search(problem.place)
    if at is not None:
        column = at[2] or ""
        if not column and problem.place in rows:
            field = field_of(problem, rows[problem.place])
            column = plan.mapping.columns.get(field, field)
        return PlacedFault(problem=problem, table=table, row=int(at[1]), column=column)
    cell = _CELL.search(problem.place)
    if cell is not None:
        return PlacedFault(problem=problem, table=table, row=int(cell[2]), column=cell[1])
    return PlacedFault(problem=problem, table=table)


def rows_at_fault(table: Table, numbers: set[int], most: int) -> list[tuple[int, tuple[str, ...]]]:
    """Return the rows of a table that faults stand in, `most` at most."""
    return [row for row in table.rows if row[0] in numbers][:most]
