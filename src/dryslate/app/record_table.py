"""Rows of units as a table for other programs: what import reads, with row, visit and who."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from dryslate.core.survey.designs import SurveyRow

if TYPE_CHECKING:
    from dryslate.app.survey_records import FoundRow

_ROW = tuple(f.name for f in fields(SurveyRow))
COLUMNS = (
    *("row_no", "visit_id", "zone", "unit", "design"),
    *("current_name", "rank"),
    *_ROW,
    *("observer", "noted_at"),
)
"""Columns of the table, in their order; `name` is as recorded."""


def table_lines(found: Iterable[FoundRow]) -> Iterator[list[Any]]:
    """Yield a line for each row, in the order of `COLUMNS`; what was not noted is empty."""
    for one in found:
        noted = one.noted
        around = [noted.row_no, one.visit_id, one.zone, one.unit, one.design]
        values = [getattr(noted.row, name) for name in _ROW]
        said = ["" if value is None else value for value in values]
        yield [*around, noted.name, noted.rank, *said, noted.observer, noted.noted_at]
