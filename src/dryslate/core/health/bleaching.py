"""Published bleaching indices, each by its written table; bleached share of live tissue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
ADDS_UP_PCT = 0.5
"""How far the shares of a colony may lie from 100 %, for rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BleachingClass:
    """
    One class of a published index.

    Parameters
    ----------
    words : str
        What the paper calls it, in plain words.
    weight : int
    bleached_pct : (float, float) or None
        Over the first, up to the second, of the tissue that was alive before; (0, 0): none. None:
        how shares of a colony fall into the class is not written down.
    pale : bool or None
        Whether some tissue is pale; None: either.
    all_dead : bool
        All that tissue recently died.
    """

    words: str
    weight: int
    bleached_pct: tuple[float, float] | None = None
    pale: bool | None = None
    all_dead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BleachingIndex:
    """
    A published index: 0 where all colonies are normal, 100 where all are recently dead.

    Parameters
    ----------
    name, paper : str
    classes : tuple of BleachingClass
        With weights rising from 0.
    """

    name: str
    paper: str
    classes: tuple[BleachingClass, ...]


SEVEN_CLASSES = BleachingIndex(
    name="seven_classes",
    paper="McClanahan, T.R. et al. (2007). Coral Reefs 26, 695-701",
    classes=(
        BleachingClass(words="normal", weight=0, bleached_pct=(0.0, 0.0), pale=False),
        BleachingClass(words="pale", weight=1, bleached_pct=(0.0, 0.0), pale=True),
        BleachingClass(words="up to 20 % bleached", weight=2, bleached_pct=(0.0, 20.0)),
        BleachingClass(words="21 to 50 % bleached", weight=3, bleached_pct=(20.0, 50.0)),
        BleachingClass(words="51 to 80 % bleached", weight=4, bleached_pct=(50.0, 80.0)),
        BleachingClass(words="81 to 100 % bleached", weight=5, bleached_pct=(80.0, 100.0)),
        BleachingClass(words="recently dead", weight=6, all_dead=True),
    ),
)
"""
The paper's classes. Ours to read: shares are of the surface without old dead; a colony with any
pale and nothing bleached is pale; beside a bleached part the rest may be normal or pale; 20.5 %
lies in the next class. A colony of which a part recently died has no class.
"""

FOUR_CLASSES = BleachingIndex(
    name="four_classes",
    paper="McClanahan, T.R. et al. (2004), Mar. Pollut. Bull. 48, 327-335 (weights from memory)",
    classes=(
        BleachingClass(words="normal", weight=0),
        BleachingClass(words="moderately bleached", weight=1),
        BleachingClass(words="severely bleached", weight=2),
        BleachingClass(words="recently dead", weight=3),
    ),
)
"""For colonies noted in these classes in the water: shares cannot be turned into them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IndexValue:
    """
    An index with the classes behind it.

    Parameters
    ----------
    index : str
    n_colonies : int
    class_pct : tuple of float
        Colonies in each class.
    value : float
        0 to 100.
    affected_pct : float
        Colonies that are not normal.
    """

    index: str
    n_colonies: int
    class_pct: tuple[float, ...]
    value: float
    affected_pct: float


def index_of_counts(counts: Sequence[int], index: BleachingIndex) -> IndexValue:
    r"""
    Return a bleaching index from the colonies in each class.

    Parameters
    ----------
    counts : sequence of int
        In the order of the index's classes.
    index : BleachingIndex

    Returns
    -------
    IndexValue

    Raises
    ------
    InputError
        ``bleaching-counts-wrong``.

    Notes
    -----
    :math:`\sum_k w_k c_k / w_{\max}` with :math:`c_k` the percentage of colonies in class k [1]_.
    The classes are ranks, so an index is one too: twice the index is not twice the bleaching.

    References
    ----------
    .. [1] McClanahan, T.R. et al. (2007). Coral Reefs 26, 695-701.

    Examples
    --------
    >>> print(f"{index_of_counts([40, 20, 15, 10, 5, 5, 5], SEVEN_CLASSES).value:.2f}")
    25.83
    """
    n = np.asarray(counts, np.float64)
    weights = np.array([c.weight for c in index.classes], np.float64)
    whole = n.shape == weights.shape and bool(np.isfinite(n).all() and (n == np.floor(n)).all())
    if not whole or n.min() < 0 or n.sum() <= 0:
        raise InputError(
            "bleaching-counts-wrong",
            f"The index has {weights.size} classes; each needs its number of colonies, and at "
            "least one colony has to be there.",
            "Give one whole number for each class, 0 where there was none.",
        )
    pct = 100.0 * n / n.sum()
    return IndexValue(
        index=index.name,
        n_colonies=int(n.sum()),
        class_pct=tuple(pct.tolist()),
        value=float(pct @ weights / weights.max()),
        affected_pct=float(100.0 * n[weights > 0].sum() / n.sum()),
    )


def site_index(taxa: Mapping[str, Sequence[int]], index: BleachingIndex) -> float:
    """
    Return the index of a site: that of each taxon, weighted by its colonies.

    Parameters
    ----------
    taxa : mapping of str to sequence of int
        Colonies in each class.
    index : BleachingIndex

    Returns
    -------
    float

    Raises
    ------
    InputError
        ``bleaching-counts-wrong``.
    """
    found = [index_of_counts(counts, index) for counts in taxa.values()]
    return sum(f.value * f.n_colonies for f in found) / sum(f.n_colonies for f in found)


def class_of_colony(shares_pct: Sequence[float], index: BleachingIndex) -> int | None:
    """
    Return the class of a colony from the shares of its surface.

    Parameters
    ----------
    shares_pct : sequence of float
        Normal, pale, bleached, recently dead, old dead; together 100.
    index : BleachingIndex

    Returns
    -------
    int or None
        Place in the index's classes; None for a colony that is wholly old dead, which leaves.

    Raises
    ------
    InputError
        ``bleaching-shares-wrong``; ``bleaching-mix-uncovered`` where the table has no class for
        such a colony.

    Examples
    --------
    >>> SEVEN_CLASSES.classes[class_of_colony([30, 30, 30, 0, 10], SEVEN_CLASSES)].words
    '21 to 50 % bleached'
    """
    shares = np.asarray(shares_pct, np.float64)
    if shares.shape != (5,) or not (shares >= 0).all() or abs(shares.sum() - 100) > ADDS_UP_PCT:
        raise InputError(
            "bleaching-shares-wrong",
            "The shares of a colony do not make 100 %.",
            "Give normal, pale, bleached, recently dead and old dead, 0 where there is none.",
        )
    before = float(shares[:4].sum())
    if before == 0.0:
        return None
    pale, bleached, dead = (float(s) for s in 100.0 * shares[1:4] / before)
    for k, row in enumerate(index.classes):
        if _falls_into(row, pale, bleached, dead):
            return k
    raise InputError(
        "bleaching-mix-uncovered",
        f"The index {index.name} has no class for a colony with {pale:.3g} % pale, {bleached:.3g} "
        f"% bleached and {dead:.3g} % recently dead of the tissue alive before.",
        "Report the shares themselves, or another index.",
    )


def _falls_into(row: BleachingClass, pale: float, bleached: float, dead: float) -> bool:
    """Return whether a colony falls into a class; shares in % of the tissue alive before."""
    if row.all_dead:
        return pale == bleached == 0.0 and dead > 0.0 and dead >= 100.0 - 1e-9
    if row.bleached_pct is None or dead > 0.0:
        return False
    lo, hi = row.bleached_pct
    inside = bleached == 0.0 if hi == 0.0 else lo + 1e-9 < bleached <= hi + 1e-9
    return inside and (row.pale is None or row.pale == (pale > 0.0))
