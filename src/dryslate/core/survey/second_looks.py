"""Amounts by name corrected by second looks at part of them, units as clusters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
FEWEST_SETTLED = 20
"""Settled second looks that a class needs to be corrected by itself (our choice; 10 also held)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondLook:
    """
    A coral that was named, looked at again and settled.

    Parameters
    ----------
    unit : str
        Cluster that it belongs to.
    first, settled : str
    p_drawn : float
        Chance that it had of being looked at again.
    """

    unit: str
    first: str
    settled: str
    p_drawn: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooling:
    """
    Which names are corrected together.

    Parameters
    ----------
    pool_of : mapping of str to str
        Each name that can be corrected, and what it is pooled to (itself, or "A or B").
    too_few : mapping of str to int
        Names that cannot be, with their settled second looks.
    """

    pool_of: Mapping[str, str]
    too_few: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrectedAmounts:
    """
    Mean amounts of classes, raw and corrected.

    Parameters
    ----------
    classes : tuple of str
    raw, estimate, u, df : ndarray of float, shape (q)
        With leading axes where several surveys were corrected at once.
    """

    classes: tuple[str, ...]
    raw: FloatArray
    estimate: FloatArray
    u: FloatArray
    df: FloatArray


def pool_names(
    looks: Iterable[SecondLook],
    lookalikes: Iterable[tuple[str, str]],
    families: Mapping[str, str],
    fewest: int = FEWEST_SETTLED,
) -> Pooling:
    """
    Put names with too few settled second looks together with what they are taken for.

    Parameters
    ----------
    looks : iterable of SecondLook
    lookalikes : iterable of (str, str)
        Names that are taken for each other.
    families : mapping of str to str
    fewest : int

    Returns
    -------
    Pooling

    Notes
    -----
    Looks count for the name first given, since the correction asks what is behind that name. A
    name with too few goes to its look-alikes among the names, together with these; then to its
    family; else it is not corrected.

    Examples
    --------
    >>> names = ["Favites"] * 30 + ["Goniastrea"] * 5 + ["Porites"] * 25 + ["Acropora"]
    >>> looks = [SecondLook(unit="T1", first=n, settled=n, p_drawn=0.1) for n in names]
    >>> found = pool_names(looks, [("Favites", "Goniastrea")], {})
    >>> found.pool_of["Goniastrea"], found.pool_of["Porites"], dict(found.too_few)
    ('Favites or Goniastrea', 'Porites', {'Acropora': 1})
    """
    seen = list(looks)
    counts = Counter(look.first for look in seen)
    names = sorted({name for look in seen for name in (look.first, look.settled)})
    pools = {name: frozenset([name]) for name in names}

    def settled(pool: frozenset[str]) -> int:
        """Count the looks at any name of a pool."""
        return sum(counts[name] for name in pool)

    def join(with_whom: Mapping[str, set[str]]) -> None:
        """Pool each name with too few with its partners."""
        for name in names:
            if settled(pools[name]) < fewest and with_whom.get(name):
                together = frozenset().union(pools[name], *(pools[o] for o in with_whom[name]))
                for one in together:
                    pools[one] = together

    alike: dict[str, set[str]] = {}
    for a, b in lookalikes:
        if a in pools and b in pools:
            alike.setdefault(a, set()).add(b)
            alike.setdefault(b, set()).add(a)
    join(alike)
    kin: dict[str, set[str]] = {}
    for name in names:
        family = families.get(name)
        if family:
            kin[name] = {o for o in names if families.get(o) == family and o != name}
    join(kin)
    return Pooling(
        pool_of={
            name: " or ".join(sorted(pool))
            for name, pool in pools.items()
            if settled(pool) >= fewest
        },
        too_few={name: counts[name] for name, pool in pools.items() if settled(pool) < fewest},
    )


def correct_by_second_looks(
    values: ArrayLike, units: Sequence[str], looks: Sequence[SecondLook], classes: Sequence[str]
) -> CorrectedAmounts:
    r"""
    Correct mean amounts of classes by what second looks settled.

    Parameters
    ----------
    values : array_like of float, shape (n, q)
        Cover or density of each class, as first named, in each unit.
    units : sequence of str, shape (n)
    looks : sequence of SecondLook
        At any units; names that are no class are left out.
    classes : sequence of str, shape (q)

    Returns
    -------
    CorrectedAmounts

    Raises
    ------
    InputError
        ``confusion-not-usable`` with fewer than two units, or second looks at fewer than two.

    Notes
    -----
    :math:`\hat\theta_k = \sum_j \bar x_j \hat P(k|j)` with :math:`\hat P(k|j)` the share settled as
    `k` of those first named `j`, each weighted by the inverse of its chance of being looked at:
    double sampling with the second sample inside [1]_ [2]_. A class that was never looked at
    stays as it is. The doubt comes from leaving out one unit at a time, its amounts and its second
    looks together, so that alike errors within a unit are in it. What no second look changed is
    not taken as sure: half a look at each other class is spread over each row when doubt, not when
    the figure, is reckoned.

    References
    ----------
    .. [1] Tenenbein, A. (1970). A double sampling scheme for estimating from binomial data with
       misclassifications. J. Am. Stat. Assoc. 65, 1350-1361.
    .. [2] Horvitz, D.G. & Thompson, D.J. (1952). J. Am. Stat. Assoc. 47, 663-685.

    Examples
    --------
    >>> looks = [SecondLook(unit=f"T{i % 4}", first="A", settled="A" if i % 4 else "B", p_drawn=0.2)
    ...          for i in range(40)]
    >>> found = correct_by_second_looks([[0.2, 0.1], [0.3, 0.1]], ["T0", "T1"], looks, ["A", "B"])
    >>> [round(float(v), 4) for v in found.estimate]
    [0.1875, 0.1625]
    """
    x = np.asarray(values, dtype=np.float64)
    at = {name: k for k, name in enumerate(classes)}
    clusters = list(dict.fromkeys([*units, *(look.unit for look in looks)]))
    where = {unit: k for k, unit in enumerate(clusters)}
    weights = np.zeros((len(clusters), len(classes), len(classes)))
    numbers = np.zeros((len(classes), len(classes)))
    for look in looks:
        if look.first in at and look.settled in at:
            weights[where[look.unit], at[look.first], at[look.settled]] += 1 / look.p_drawn
            numbers[at[look.first], at[look.settled]] += 1
    if len(units) < 2 or int((weights.sum(axis=(1, 2)) > 0).sum()) < 2:
        raise InputError(
            "confusion-not-usable",
            "Amounts of two units and second looks at two units are the least that a correction "
            "needs: nothing tells its doubt.",
            "State the figures as read.",
        )
    return replace(correct_by_tallies(x, weights, numbers), classes=tuple(classes))


def correct_by_tallies(
    values: ArrayLike, weights: ArrayLike, numbers: ArrayLike
) -> CorrectedAmounts:
    """
    Correct mean amounts by tallied second looks: `correct_by_second_looks` for arrays.

    Parameters
    ----------
    values : array_like of float, shape (..., n, q)
        Amounts as first named in each unit; leading axes are surveys.
    weights : array_like of float, shape (..., c, q, q)
        Weighted looks of each cluster, first name by settled name: the `n` units, then places that
        were looked at but are none of them.
    numbers : array_like of float, shape (..., q, q)
        Looks of all clusters, not weighted.

    Returns
    -------
    CorrectedAmounts
        Classes numbered; arrays of shape (..., q).

    Examples
    --------
    >>> looks = [[[10.0, 0.0], [0.0, 10.0]], [[5.0, 5.0], [0.0, 10.0]]]
    >>> found = correct_by_tallies([[0.2, 0.1], [0.3, 0.1]], looks, [[3, 1], [0, 4]])
    >>> [round(float(v), 4) for v in found.estimate]
    [0.1875, 0.1625]
    """
    x, tables, seen = (np.asarray(a, dtype=np.float64) for a in (values, weights, numbers))
    n, q = x.shape[-2:]
    whole = tables.sum(axis=-3)
    mean = x.mean(axis=-2)
    estimate = _times(mean, _shares(whole, whole))
    # one unit of the figure left out: its amounts, and its second looks
    means = (x.sum(axis=-2, keepdims=True) - x) / (n - 1)
    every = whole[..., None, :, :]
    inside = _times(means, _shares(every - tables[..., :n, :, :], every))
    v_units = (n - 1) * inside.var(axis=-2)
    # then the places that were looked at only
    others = tables[..., n:, :, :]
    has = (others.sum(axis=(-1, -2)) > 0)[..., None]
    m = has.sum(axis=-2)
    outside = _times(mean[..., None, :], _shares(every - others, every))
    middle = np.where(has, outside, 0.0).sum(axis=-2) / np.maximum(m, 1)
    apart = np.where(has, outside - middle[..., None, :], 0.0)
    v_looks = np.where(m > 1, (m - 1) / np.maximum(m, 1), 0.0) * (apart**2).sum(axis=-2)
    v_rare = _rare(mean, seen)
    variance = v_units + v_looks + v_rare
    n_looks = seen.sum(axis=(-1, -2))[..., None]
    free = v_units**2 / (n - 1) + v_looks**2 / np.maximum(m - 1, 1)
    free += v_rare**2 / np.maximum(n_looks - q, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = np.where(free > 0, variance**2 / free, n - 1.0)
    return CorrectedAmounts(
        classes=tuple(str(k) for k in range(q)),
        raw=mean,
        estimate=estimate,
        u=np.sqrt(variance),
        df=df,
    )


def _times(amounts: FloatArray, shares: FloatArray) -> FloatArray:
    """Spread amounts of first names over settled ones."""
    return np.asarray((amounts[..., None, :] @ shares)[..., 0, :])


def _shares(table: FloatArray, whole: FloatArray) -> FloatArray:
    """Settled shares of each first name; a row that lost all its looks takes those of the whole."""
    found = np.where(table.sum(axis=-1, keepdims=True) > 1e-9, table, whole)
    total = found.sum(axis=-1, keepdims=True)
    own = np.eye(table.shape[-1])
    return np.where(total > 1e-9, found / np.where(total > 1e-9, total, 1.0), own)


def _rare(mean: FloatArray, numbers: FloatArray) -> FloatArray:
    """Variance from confusions that no second look met, as if half a one had been met."""
    total = numbers.sum(axis=-1, keepdims=True)
    never = (numbers == 0) & ~np.eye(numbers.shape[-1], dtype=bool)
    share = np.where(never, 0.5, 0.0) / np.where(total > 0, total + 1, np.inf)
    each = mean[..., None] ** 2 * share * (1 - share) / np.where(total > 0, total + 1, np.inf)
    return np.asarray(each.sum(axis=-2) + each.sum(axis=-1))
