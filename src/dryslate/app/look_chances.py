"""Chances of corals to be drawn and settled, while some of those drawn still wait."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.identification_rows import ReviewChanceRow


def settled_chances(
    chances: Iterable[ReviewChanceRow], settled: Collection[str]
) -> dict[str, float]:
    """
    Return the chance that each settled first name had to be drawn and settled.

    Parameters
    ----------
    chances : iterable of ReviewChanceRow
    settled : collection of str
        Identifications whose second look tells something.

    Returns
    -------
    dict
        By identification: its chance in the draw, times the share settled of those drawn in the
        same draw with the same chance. Doubtful names are drawn for certain and often looked at
        first; without that share they would count for more than their part while others wait.

    Examples
    --------
    >>> from dryslate.app.identification_rows import ReviewChanceRow
    >>> drawn = [
    ...     ReviewChanceRow(identification_id=f"i{k}", record_id=f"r{k}", draw_id="d", p_drawn=p,
    ...                     is_drawn=True, reasons=())
    ...     for k, p in enumerate((1.0, 1.0, 0.1, 0.1))
    ... ]
    >>> settled_chances(drawn, {"i0", "i1", "i2"})
    {'i0': 1.0, 'i1': 1.0, 'i2': 0.05}
    """
    rows = list(chances)
    drawn = Counter((one.draw_id, one.p_drawn) for one in rows if one.is_drawn)
    told = [one for one in rows if one.identification_id in settled]
    among = Counter((one.draw_id, one.p_drawn) for one in told)
    return {
        one.identification_id: one.p_drawn
        * among[one.draw_id, one.p_drawn]
        / max(drawn[one.draw_id, one.p_drawn], among[one.draw_id, one.p_drawn])
        for one in told
    }


def is_of_doubtful_only(chances: Iterable[ReviewChanceRow], settled: Collection[str]) -> bool:
    """
    Tell whether all settled looks are at names drawn for certain, though there were others.

    Parameters
    ----------
    chances : iterable of ReviewChanceRow
    settled : collection of str

    Returns
    -------
    bool
        What they say of names is then said of doubtful ones only.
    """
    by_chance = [one for one in chances if one.p_drawn < 1]
    return bool(by_chance) and not any(one.identification_id in settled for one in by_chance)
