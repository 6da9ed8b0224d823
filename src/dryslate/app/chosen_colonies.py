"""Colonies that were chosen because they were stressed: they say nothing of the rest of a reef."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def chosen_rows(store: SurveyStore) -> frozenset[int]:
    """
    Return the rows in units that are of colonies tagged because they were stressed.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    frozenset of int
        Their row numbers. None yet: no table says which row is of which tagged colony.
    """
    del store
    return frozenset()
