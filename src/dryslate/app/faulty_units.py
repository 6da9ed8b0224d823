"""Units whose notes do not add up, and units of which nothing was noted."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.core.survey.designs import SurveyRow

MOST_CHECKED = 5_000
"""Rows that are read for it; a larger survey is checked where its rows come in."""


def blank_units(store: SurveyStore) -> frozenset[str]:
    """Return the units that say how they were sampled, and in which nothing is noted."""
    noted = store.n_survey_rows()
    return frozenset(one.unit_id for one in store.unit_designs() if not noted.get(one.unit_id))


def faulty_units(store: SurveyStore) -> dict[str, Counter[str]]:
    """
    Return the units with faults in what was noted, and how often each.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    dict
        Slugs of errors by unit; empty where the survey has more rows than are read here.
    """
    if sum(store.n_survey_rows().values()) > MOST_CHECKED:
        return {}
    rows: dict[str, list[SurveyRow]] = {}
    for noted in store.survey_rows():
        rows.setdefault(noted.unit_id, []).append(noted.row)
    found = {}
    for stated in store.unit_designs():
        own = rows.get(stated.unit_id)
        if own is None:
            continue
        slugs = Counter(p.slug for p in check_unit(stated.design, own, "") if p.severity == "error")
        if slugs:
            found[stated.unit_id] = slugs
    return found
