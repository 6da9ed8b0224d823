"""At which cell of a typed line a fault is shown, and which faults hold a line back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryslate.core.survey.designs import HEALTH

if TYPE_CHECKING:
    from dryslate.base.problems import Problem
    from dryslate.core.survey.designs import SurveyRow

MORE_TO_COME = frozenset({"intercepts-gap", "points-not-as-many", "cells-missing", "cell-sum"})
"""What further lines may put right: such lines are stored, and the unit is unfinished."""
_FIELDS: Mapping[str, str] = {
    "row-category-unknown": "category",
    "row-read-and-unreadable": "unreadable",
    "row-count-negative": "n",
    "row-cover-outside": "cover_pct",
    "row-size-across-longer": "across_cm",
    "row-size-implausible": "longest_cm",
    "intercepts-gap": "from_m",
    "intercepts-overlap": "from_m",
    "point-off-its-place": "at_m",
    "point-twice": "at_m",
    "cell-not-in-quadrat": "cell",
    "none-seen-and-seen": "none_seen",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFault:
    """
    A fault with the cell it is shown at.

    Parameters
    ----------
    key : str
        The line's mark; empty: of the whole unit.
    field : str
        The cell; empty: of the whole line or unit.
    problem : Problem
    """

    key: str
    field: str
    problem: Problem

    @property
    def holds_back(self) -> bool:
        """Tell whether its line is not stored while it stands."""
        is_error = self.problem.severity == "error"
        return bool(self.key) and is_error and self.problem.slug not in MORE_TO_COME

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for JSON."""
        return {"key": self.key, "field": self.field, **self.problem.as_dict()}


def field_of(problem: Problem, row: SurveyRow) -> str:
    """Return the cell at which a fault of a row is shown."""
    slug = problem.slug
    if slug.startswith("name-"):
        return "name"
    if slug == "row-blank":
        return "n" if row.kind == "count" else "category"
    if slug == "row-size-not-positive":
        return problem.message.split(maxsplit=1)[0]
    if slug == "intercept-order":
        return "from_m" if row.from_m is None else "to_m"
    if slug == "intercept-off-tape":
        return "from_m" if (row.from_m or 0.0) < 0 else "to_m"
    if slug == "row-health-blank":
        return next(name for name in HEALTH if getattr(row, name) is None)
    if slug == "row-health-sum":
        wrong = [n for n in HEALTH if not 0 <= (getattr(row, n) or 0.0) <= 100]
        return wrong[0] if wrong else HEALTH[-1]
    return _FIELDS.get(slug, "")


def is_at_end(problem: Problem, row: SurveyRow) -> bool:
    """Tell whether a gap lies behind a row, to the end of the tape: of the unit, not of the row."""
    return problem.slug == "intercepts-gap" and f"from {row.to_m or 0.0:g} " in problem.message
