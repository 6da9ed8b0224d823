"""Which things make two groups of units differ: shares of their dissimilarity (SIMPER)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from dryslate.base.errors import InputError
from dryslate.core.survey.dissimilarity import require_amounts


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """
    What one thing adds to the difference of two groups.

    Parameters
    ----------
    thing : str
    average : float
        Of the mean Bray-Curtis dissimilarity between units of the two groups.
    sd : float or None
        Over the pairs of units; None with a single pair.
    mean_first, mean_second : float
        Mean amount in each group.
    cumulative : float
        Share of the whole that this thing and those before it make.
    """

    thing: str
    average: float
    sd: float | None
    mean_first: float
    mean_second: float
    cumulative: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupDifference:
    """
    Two groups taken apart.

    Parameters
    ----------
    first, second : str
    overall : float
        Mean Bray-Curtis dissimilarity between their units.
    contributions : tuple of Contribution
        The largest first; things alike by the alphabet.
    """

    first: str
    second: str
    overall: float
    contributions: tuple[Contribution, ...]


def find_contributions(
    amounts: ArrayLike, things: Sequence[str], groups: Sequence[str], first: str, second: str
) -> GroupDifference:
    r"""
    Take the mean dissimilarity of two groups apart by things.

    Parameters
    ----------
    amounts : array_like of float, shape (units, things)
    things, groups : sequence of str
    first, second : str
        Two of the groups.

    Returns
    -------
    GroupDifference

    Raises
    ------
    InputError
        ``community-groups-alike`` if a group has no unit; as `require_amounts`.

    Notes
    -----
    A thing's part in a pair of units is :math:`|x_i - y_i| / \sum (x + y)` [1]_. It says what the
    groups differ by, not whether they do; things of great amount and great spread stand first even
    where groups do not differ in them [2]_.

    References
    ----------
    .. [1] Clarke, K.R. (1993). Aust. J. Ecol. 18, 117-143.
    .. [2] Warton, D.I., Wright, S.T. & Wang, Y. (2012). Methods Ecol. Evol. 3, 89-101.

    Examples
    --------
    >>> found = find_contributions([[8, 2], [2, 2]], ["coral", "algae"], ["a", "b"], "a", "b")
    >>> print(f"{found.overall:.3f} {found.contributions[0].thing}")
    0.429 coral
    """
    table, own = require_amounts(amounts), np.asarray(groups)
    one, other = table[own == first], table[own == second]
    if not len(one) or not len(other):
        raise InputError(
            "community-groups-alike",
            f"No unit belongs to {first if not len(one) else second}.",
            "Name two groups that have units.",
        )
    apart = np.abs(one[:, None, :] - other[None, :, :])
    whole = one.sum(axis=1)[:, None] + other.sum(axis=1)[None, :]
    parts = (apart / whole[:, :, None]).reshape(-1, table.shape[1])
    average = parts.mean(axis=0)
    overall = float(average.sum())
    sd = parts.std(axis=0, ddof=1) if len(parts) > 1 else None
    order = sorted(range(len(things)), key=lambda k: (-round(float(average[k]), 12), things[k]))
    grown = np.cumsum(average[order])
    return GroupDifference(
        first=first,
        second=second,
        overall=overall,
        contributions=tuple(
            Contribution(
                thing=things[k],
                average=float(average[k]),
                sd=None if sd is None else float(sd[k]),
                mean_first=float(one[:, k].mean()),
                mean_second=float(other[:, k].mean()),
                cumulative=float(grown[rank] / overall) if overall > 0 else 0.0,
            )
            for rank, k in enumerate(order)
        ),
    )
