"""Health of colonies that were noted one by one: which were examined, and what they showed."""

from __future__ import annotations

from collections.abc import Iterable

from dryslate.core.survey.designs import SurveyRow


def examined(colonies: Iterable[SurveyRow]) -> list[SurveyRow]:
    """
    Return the colonies whose health was noted and that were not wholly old dead.

    Parameters
    ----------
    colonies : iterable of SurveyRow

    Returns
    -------
    list of SurveyRow

    Notes
    -----
    A colony that has long been dead cannot bleach: it leaves prevalence. One of which a share is
    blank was not examined.

    Examples
    --------
    >>> sound = SurveyRow(
    ...     kind="colony", normal_pct=100, pale_pct=0, bleached_pct=0, recently_dead_pct=0
    ... )
    >>> len(examined([sound, SurveyRow(kind="colony")]))
    1
    """
    return [
        row
        for row in colonies
        if None not in (row.normal_pct, row.pale_pct, row.bleached_pct, row.recently_dead_pct)
        and (row.old_dead_pct or 0.0) < 100
    ]


def is_bleached(row: SurveyRow) -> bool:
    """
    Tell whether any of a colony is bleached.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    bool
    """
    return (row.bleached_pct or 0.0) > 0


def is_pale_or_bleached(row: SurveyRow) -> bool:
    """
    Tell whether any of a colony is pale or bleached.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    bool
    """
    return (row.bleached_pct or 0.0) + (row.pale_pct or 0.0) > 0
