"""Colonies that were chosen because they were stressed: they say nothing of the rest of a reef."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def tagged_because_stressed(store: SurveyStore) -> frozenset[str]:
    """Return the identities of the colonies that were tagged because they looked unwell."""
    return frozenset(c.organism_id for c in store.colonies() if c.why_tagged == "stressed")


def chosen_rows(store: SurveyStore) -> frozenset[int]:
    """
    Return the rows in units that are of colonies tagged because they were stressed.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    frozenset of int
        Their row numbers: rows that name the tag of such a colony of the same site.

    Notes
    -----
    The label as it stands holds for every visit: one that was replaced is known by the change log
    only.
    """
    stressed = tagged_because_stressed(store)
    if not stressed:
        return frozenset()
    labels = {(c.site, c.label.casefold()) for c in store.colonies() if c.organism_id in stressed}
    sites = {visit.visit_id: visit.site for visit in store.visits()}
    site_of = {unit.unit_id: sites[unit.visit_id] for unit in store.units()}
    return frozenset(
        row_no
        for row_no, unit_id, tag in store.tagged_rows()
        if (site_of[unit_id], tag.casefold()) in labels
    )
