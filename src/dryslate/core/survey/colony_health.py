"""Health of colonies that were noted one by one: which were examined, and what they showed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dryslate.core.survey.designs import SurveyRow
from dryslate.core.survey.sizes import ellipse_area_cm2

NO_LESION = ("none", "no lesion", "no lesions", "0")
"""Words that say that a colony was looked at and had no lesion."""


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


def live_pct(row: SurveyRow) -> float:
    """
    Return how much of a colony lives: normal, pale and bleached, in per cent of its surface.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    float
    """
    return (row.normal_pct or 0.0) + (row.pale_pct or 0.0) + (row.bleached_pct or 0.0)


def area_cm2(row: SurveyRow) -> float | None:
    """
    Return a colony's area as that of an ellipse; None where a diameter was not noted.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    float or None
    """
    if row.longest_cm is None or row.across_cm is None:
        return None
    return float(ellipse_area_cm2(row.longest_cm, row.across_cm))


def lesions_of(row: SurveyRow) -> tuple[str, ...]:
    """
    Return a colony's lesions in the words they were noted in; several stand between semicolons.

    Parameters
    ----------
    row : SurveyRow

    Returns
    -------
    tuple of str
        In small letters, each once.

    Examples
    --------
    >>> lesions_of(SurveyRow(kind="colony", lesion="Tissue loss; growth"))
    ('tissue loss', 'growth')
    >>> lesions_of(SurveyRow(kind="colony", lesion="none"))
    ()
    """
    words = (" ".join(word.split()).casefold() for word in row.lesion.split(";"))
    return tuple(dict.fromkeys(w for w in words if w and w not in NO_LESION))


def looked_for_lesions(colonies: Sequence[SurveyRow]) -> list[SurveyRow] | None:
    """
    Return the colonies of a unit that were looked at for lesions.

    Parameters
    ----------
    colonies : sequence of SurveyRow

    Returns
    -------
    list of SurveyRow or None
        Those whose shares or lesions were noted, without wholly old dead ones. None: lesions were
        noted of some whose shares were not while others were left blank, so that nobody knows how
        many were looked at.

    Examples
    --------
    >>> sick, blank = SurveyRow(kind="colony", lesion="tissue loss"), SurveyRow(kind="colony")
    >>> looked_for_lesions([sick, blank]) is None
    True
    """
    alive = [row for row in colonies if (row.old_dead_pct or 0.0) < 100]
    by_shares = {id(row) for row in examined(alive)}
    found = [row for row in alive if id(row) in by_shares or row.lesion]
    is_partly = any(id(row) not in by_shares for row in found)
    return None if is_partly and len(found) < len(alive) else found
