"""Changing the list of categories line by line: renamed, taken out, added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.category_list import COLUMNS, read_categories
from dryslate.formats.table_csv import Table

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category


@dataclass(frozen=True, slots=True, kw_only=True)
class CategoryForm:
    """
    One line of the form.

    Parameters
    ----------
    was : str
        The category before; empty: a new one.
    category, group, definition : str
        An empty category takes the line out.
    is_hard : {"yes", "no"}
    instead : str
        What stands for a category that is taken out, from now on.
    """

    was: str = ""
    category: str = ""
    group: str = ""
    is_hard: str = "no"
    definition: str = ""
    instead: str = ""

    @classmethod
    def of(cls, one: Category) -> CategoryForm:
        """Return the line of a category."""
        return cls(
            was=one.category,
            category=one.category,
            group=one.group,
            is_hard="yes" if one.is_hard_coral else "no",
            definition=one.definition,
        )


def changed_list(lines: Sequence[CategoryForm]) -> tuple[tuple[Category, ...], Mapping[str, str]]:
    """
    Return the new list, and what stands for each earlier category.

    Raises
    ------
    InputError
        ``categories-row`` where a category has no definition, or stands twice.
    """
    kept = [(n, line) for n, line in enumerate(lines, 1) if line.category.strip()]
    rows = tuple((n, tuple(" ".join(text.split()) for text in _cells(line))) for n, line in kept)
    found = read_categories(Table(name="list", columns=COLUMNS, rows=rows))
    renamed = {
        line.was: " ".join((line.category if line.category.strip() else line.instead).split())
        for line in lines
        if line.was
    }
    return found, {was: to for was, to in renamed.items() if to}


def _cells(line: CategoryForm) -> tuple[str, str, str, str]:
    """Return a line in the order of a list's columns."""
    return line.category, line.group, line.is_hard, line.definition


def uses_of(store: SurveyStore) -> Mapping[str, int]:
    """Count the rows that use each category."""
    return Counter(noted.row.category for noted in store.survey_rows() if noted.row.category)
