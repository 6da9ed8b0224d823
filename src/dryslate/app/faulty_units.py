"""Units whose notes do not add up, and units of which nothing or not all was noted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Set
from typing import TYPE_CHECKING

from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.unit_records import UnitPhoto
    from dryslate.core.survey.designs import SurveyRow

MOST_CHECKED = 5_000
"""Rows that are read for it; a larger survey is checked where its rows come in."""


def blank_units(store: SurveyStore) -> frozenset[str]:
    """Return the units that say how they were sampled, and in which nothing is noted."""
    noted = store.n_survey_rows()
    return frozenset(one.unit_id for one in store.unit_designs() if not noted.get(one.unit_id))


def open_points(
    store: SurveyStore, joins: Iterable[UnitPhoto], left_out: Set[str]
) -> frozenset[str]:
    """
    Return the units of points on photos some of whose points are named, and not all.

    Parameters
    ----------
    store : SurveyStore
    joins : iterable of UnitPhoto
        Of all photos.
    left_out : set of str
        Photos that are set aside or cannot be read: their points are not waited for.

    Returns
    -------
    frozenset of str
    """
    n_photos = Counter(
        join.unit_id for join in joins if join.how != "slate" and join.photo_id not in left_out
    )
    noted = store.n_survey_rows()
    return frozenset(
        one.unit_id
        for one in store.unit_designs()
        if one.design.design == "photo_points"
        and 0 < noted.get(one.unit_id, 0) < (one.design.n_points or 0) * n_photos[one.unit_id]
    )


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
