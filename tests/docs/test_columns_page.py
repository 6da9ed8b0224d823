"""The page of columns has a row for every column of the tables of figures and of changes."""

from __future__ import annotations

import re
from pathlib import Path

from dryslate.app import change_rows, result_rows
from dryslate.core.survey.methods import Method

PAGE = Path(__file__).resolve().parents[2] / "docs" / "estimators" / "columns.md"


def named(text: str) -> set[str]:
    return set(re.findall(r"`([a-z][a-z0-9_]*)`", text))


def test_every_column_is_told() -> None:
    figures, changes = PAGE.read_text("utf-8").split("## Changes")
    assert set(result_rows.COLUMNS) <= named(figures)
    assert set(change_rows.COLUMNS) <= named(changes)


def test_every_method_is_on_the_page_of_intervals() -> None:
    page = (PAGE.parent / "intervals.md").read_text("utf-8")
    assert {str(method) for method in Method} <= named(page)
