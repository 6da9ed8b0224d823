"""Amounts by name corrected by second looks at part of them, units as clusters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
FEWEST_SETTLED = 20
"""Settled second looks that a class needs to be corrected by itself."""


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
    q, n = len(classes), len(units)
    tables = np.zeros((len(clusters), q, q))
    numbers = np.zeros((q, q))
    for look in looks:
        if look.first in at and look.settled in at:
            tables[where[look.unit], at[look.first], at[look.settled]] += 1 / look.p_drawn
            numbers[at[look.first], at[look.settled]] += 1
    with_looks = int((tables.sum(axis=(1, 2)) > 0).sum())
    if n < 2 or with_looks < 2:
        raise InputError(
            "confusion-not-usable",
            "Amounts of two units and second looks at two units are the least that a correction "
            "needs: nothing tells its doubt.",
            "State the figures as read.",
        )
    whole = tables.sum(axis=0)
    mean = x.mean(axis=0)
    estimate = mean @ _shares(whole, whole)
    own = np.array([where[unit] for unit in units])
    # one unit of the figure left out: its amounts, and its second looks
    means = (x.sum(axis=0) - x) / (n - 1)
    tables_left = np.array([_shares(whole - tables[k], whole) for k in own])
    inside = np.einsum("nj,njk->nk", means, tables_left)
    v_units = (n - 1) / n * ((inside - inside.mean(axis=0)) ** 2).sum(axis=0)
    others = [k for k in range(len(clusters)) if k not in set(own.tolist())]
    m = len(others)
    v_looks = np.zeros(q)
    if m > 1:
        outside = np.array([mean @ _shares(whole - tables[k], whole) for k in others])
        v_looks = (m - 1) / m * ((outside - outside.mean(axis=0)) ** 2).sum(axis=0)
    v_rare = _rare(mean, numbers)
    variance = v_units + v_looks + v_rare
    free = v_units**2 / (n - 1) + v_looks**2 / max(m - 1, 1) + v_rare**2 / max(len(looks) - q, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = np.where(free > 0, variance**2 / free, n - 1.0)
    return CorrectedAmounts(
        classes=tuple(classes), raw=mean, estimate=estimate, u=np.sqrt(variance), df=df
    )


def _shares(table: FloatArray, whole: FloatArray) -> FloatArray:
    """Settled shares of each first name; a row that lost all its looks takes those of the whole."""
    found = np.where(table.sum(axis=1, keepdims=True) > 1e-9, table, whole)
    total = found.sum(axis=1, keepdims=True)
    return np.where(total > 1e-9, found / np.where(total > 1e-9, total, 1.0), np.eye(len(table)))


def _rare(mean: FloatArray, numbers: FloatArray) -> FloatArray:
    """Variance from confusions that no second look met, as if half a one had been met."""
    total = numbers.sum(axis=1, keepdims=True)
    share = np.where(numbers > 0, 0.0, 0.5) / np.where(total > 0, total + 1, np.inf)
    np.fill_diagonal(share, 0.0)
    each = mean[:, None] ** 2 * share * (1 - share) / np.where(total > 0, total + 1, np.inf)
    gained = each.sum(axis=0)
    return np.asarray(gained + each.sum(axis=1))


def correct_by_table(
    values: ArrayLike, table: ArrayLike, checked: ArrayLike | None = None
) -> CorrectedAmounts:
    r"""
    Correct mean amounts of classes by the inverse of an outside table of confusions.

    Parameters
    ----------
    values : array_like of float, shape (n, q)
    table : array_like of float, shape (q, q)
        Chance of being read as each class (columns), given the true one (rows).
    checked : array_like of float, shape (q), or None
        Items behind each row; None: taken as exact.

    Returns
    -------
    CorrectedAmounts
        Classes numbered; an amount may come out below 0 and is not cut off.

    Raises
    ------
    InputError
        ``confusion-not-usable``.

    Notes
    -----
    :math:`\hat\theta = (P^T)^{-1}\bar x`, the covariance of unit means carried through, plus
    :math:`\theta_i^2` times the multinomial variance of each row of the table (Rogan and Gladen
    1978, for several classes).
    """
    from dryslate.core.survey.misnaming import correct_shares

    x, p = np.asarray(values, dtype=np.float64), np.asarray(table, dtype=np.float64)
    n, q = x.shape
    mean = x.mean(axis=0)
    if n < 2 or not mean.sum() > 0:
        raise InputError(
            "confusion-not-usable",
            "Nothing was found, or in one unit only: there is nothing to correct.",
            "State the figures as read.",
        )
    rows = None if checked is None else np.asarray(checked, dtype=np.float64)
    correct_shares(mean / mean.sum(), 1.0, p, rows)  # refuses what cannot be used
    back = np.linalg.inv(p.T)
    estimate = back @ mean
    spread = back @ (np.cov(x, rowvar=False) / n) @ back.T
    v_units = np.diag(spread).copy()
    v_table = np.zeros(q)
    if rows is not None:
        for amount, row, m in zip(estimate, p, rows, strict=True):
            cov = back @ (np.diag(row) - np.outer(row, row)) @ back.T / m
            v_table += amount**2 * np.diag(cov)
    variance = np.maximum(v_units, 0.0) + v_table
    free = v_units**2 / (n - 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = np.where(free > 0, variance**2 / free, n - 1.0)
    return CorrectedAmounts(
        classes=tuple(str(k) for k in range(q)),
        raw=mean,
        estimate=estimate,
        u=np.sqrt(variance),
        df=df,
    )
