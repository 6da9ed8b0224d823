"""The benthic categories of a project, in versions: a list changes, what was noted stays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from dryslate.app.survey_records import Category, CategoryMapping
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.formats.table_csv import Table

COLUMNS = ("category", "group", "is_hard_coral", "definition")


def newest_version(store: SurveyStore) -> int | None:
    """Return the newest version of the project's list; None where it has none."""
    return max((one.list_version for one in store.categories()), default=None)


def read_categories(table: Table) -> tuple[Category, ...]:
    """
    Read a list of categories, its version still 0.

    Raises
    ------
    InputError
        ``categories-columns``, ``categories-row``.
    """
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing or table.problems:
        raise InputError(
            "categories-columns",
            f"{table.name}: no column {', '.join(missing)}."
            if missing
            else f"{table.name}: {table.problems[0]}",
            f"A list has the columns {', '.join(COLUMNS)}.",
        )
    at = {name: table.columns.index(name) for name in COLUMNS}
    found: dict[str, Category] = {}
    for number, cells in table.rows:
        said = {name: cells[k] for name, k in at.items()}
        if not said["category"] or not said["definition"] or said["category"] in found:
            raise InputError(
                "categories-row",
                f"{table.name}, row {number}: a category stands once, with a definition.",
                "Write what counts to it and what does not.",
            )
        if said["is_hard_coral"] not in ("yes", "no"):
            raise InputError(
                "categories-row",
                f"{table.name}, row {number}: is_hard_coral is {said['is_hard_coral']!r} "
                "(expected yes or no).",
            )
        found[said["category"]] = Category(
            list_version=0,
            category=said["category"],
            group=said["group"] or said["category"],
            is_hard_coral=said["is_hard_coral"] == "yes",
            definition=said["definition"],
        )
    return tuple(found.values())


def set_categories(
    store: SurveyStore, categories: Sequence[Category], renamed: Mapping[str, str] | None = None
) -> int:
    """
    Make a list the project's newest; the same list again changes nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    categories : sequence of Category
    renamed : Mapping, optional
        Category of the list before to the one that stands for it; those of the same name stand
        for themselves.

    Returns
    -------
    int
        The version.

    Raises
    ------
    InputError
        ``categories-not-mapped`` where rows use a category that nothing stands for.
    """
    before = newest_version(store)
    old = store.categories(before) if before is not None else ()
    if [replace(one, list_version=0) for one in old] == list(categories):
        return before or 1
    version = (before or 0) + 1
    names = {one.category for one in categories}
    stands = {one.category: (renamed or {}).get(one.category, one.category) for one in old}
    used = store.categories_in_use() if old else frozenset()
    lost = sorted(name for name, to in stands.items() if to not in names and name in used)
    if lost:
        raise InputError(
            "categories-not-mapped",
            f"Rows use {', '.join(lost)}, and nothing in the new list stands for that.",
            "Say which category takes its place.",
        )
    mappings = [
        CategoryMapping(from_version=before or 0, category=name, to_version=version, to_category=to)
        for name, to in stands.items()
        if to in names
    ]
    with store.write():
        store.save_categories([replace(one, list_version=version) for one in categories])
        store.save_category_mappings(mappings)
    return version
