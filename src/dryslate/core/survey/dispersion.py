"""Whether groups of units differ in how far their units lie apart (PERMDISP)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.exchange import Exchange, count_alike, deal_out, permutation_flags
from dryslate.core.survey.ordination import PrincipalCoordinates, fit_principal_coordinates

FloatArray = NDArray[np.float64]
Middle = Literal["centroid", "median"]
"""
The middle of a group: its mean point, or its spatial median, which one odd unit moves less. Each
is of the real and of the imaginary axes apart.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispersion:
    """
    Spread of groups compared.

    Parameters
    ----------
    middle : {"centroid", "median"}
    distances : tuple of float
        Of each unit to the middle of its group.
    group_means : tuple of (str, float)
        Mean distance of each group, by the alphabet.
    f, p : float
    df : tuple of int
    n_permutations, n_distinct : int
    p_smallest : float
    flags : tuple of Flag
    """

    middle: Middle
    distances: tuple[float, ...]
    group_means: tuple[tuple[str, float], ...]
    f: float
    p: float
    df: tuple[int, int]
    n_permutations: int
    n_distinct: int
    p_smallest: float
    flags: tuple[Flag, ...]


def compare_dispersion(
    dissimilarities: ArrayLike,
    groups: Sequence[str],
    how: Exchange,
    rng: np.random.Generator,
    middle: Middle = "centroid",
) -> Dispersion:
    r"""
    Compare how far units lie from the middle of their group.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)
    groups : sequence of str
        Of each unit.
    how : Exchange
    rng : numpy.random.Generator
    middle : {"centroid", "median"}

    Returns
    -------
    Dispersion

    Raises
    ------
    InputError
        ``community-groups-alike`` if there is one group only, or nothing to compare with;
        ``community-group-within-site``.

    Notes
    -----
    Distances in principal coordinates, :math:`\sqrt{|\Delta_+^2 - \Delta_-^2|}` with the negative
    eigenvalues counted as such [1]_; F of their analysis of variance; p by dealing the groups out
    over the distances. A group of few units lies nearer its own middle, so small groups beside
    large ones read as less spread.

    References
    ----------
    .. [1] Anderson, M.J. (2006). Biometrics 62, 245-253.

    Examples
    --------
    >>> far = np.abs(np.subtract.outer([0, 1, 2, 10, 20, 30.0], [0, 1, 2, 10, 20, 30.0]))
    >>> found = compare_dispersion(far, list("aaabbb"), Exchange(), np.random.default_rng(1))
    >>> [(group, round(mean, 2)) for group, mean in found.group_means]
    [('a', 0.67), ('b', 6.67)]
    """
    own = np.asarray(groups)
    names = sorted(set(groups))
    labels = np.array([names.index(group) for group in groups])
    n, k = len(own), len(names)
    if k < 2 or n <= k:
        raise InputError(
            "community-groups-alike",
            "Spread is compared between two groups or more, one of them of two units at least.",
            "Survey more units, or take groups together.",
        )
    distances = _distances(fit_principal_coordinates(dissimilarities), labels, middle)
    if np.ptp(distances) <= 1e-12:
        raise InputError(
            "community-groups-alike",
            "All units lie equally far from the middle of their group: spread cannot be compared.",
            "Survey more units, or take groups together.",
        )
    deals = deal_out(labels.tolist(), how, rng)
    observed = _f_of(distances, labels[None, :], k)[0]
    p = deals.p_of(_f_of(distances, deals.labels, k), observed)
    sites = how.sites if how.what == "units_within_sites" else ("",) * n
    first = how.first_of_each(n)
    known = {site: i for i, site in enumerate(dict.fromkeys(sites))}
    least = deals.p_smallest(
        count_alike([int(labels[i]) for i in first], [known[sites[i]] for i in first])
    )
    return Dispersion(
        middle=middle,
        distances=tuple(distances.tolist()),
        group_means=tuple(
            (name, float(distances[labels == i].mean())) for i, name in enumerate(names)
        ),
        f=float(observed),
        p=p,
        df=(k - 1, n - k),
        n_permutations=len(deals.labels),
        n_distinct=deals.n_distinct,
        p_smallest=least,
        flags=permutation_flags(least) + ((Flag.GROUPS_SPREAD_UNALIKE,) if p <= 0.05 else ()),
    )


def _distances(
    placed: PrincipalCoordinates, labels: NDArray[np.int64], middle: Middle
) -> FloatArray:
    """Return how far each unit lies from the middle of its group (Anderson 2006)."""
    squares = np.zeros(len(labels))
    for sign, points in ((1.0, placed.xy), (-1.0, placed.imaginary)):
        for group in np.unique(labels):
            held = labels == group
            at = points[held]
            centre = at.mean(axis=0) if middle == "centroid" else _spatial_median(at)
            squares[held] += sign * ((at - centre) ** 2).sum(axis=1)
    return np.asarray(np.sqrt(np.abs(squares)))


def _spatial_median(points: FloatArray) -> FloatArray:
    """Return the point with the least sum of distances (Weiszfeld's steps)."""
    centre = points.mean(axis=0)
    for _ in range(1000):
        weight = 1.0 / np.maximum(np.sqrt(((points - centre) ** 2).sum(axis=1)), 1e-12)
        moved = (weight[:, None] * points).sum(axis=0) / weight.sum()
        if np.abs(moved - centre).max(initial=0.0) < 1e-12:
            return np.asarray(moved)
        centre = moved
    return np.asarray(centre)


def _f_of(distances: FloatArray, labels: NDArray[np.int64], k: int) -> FloatArray:
    """Return F of one-way analyses of variance, one a row of labels."""
    held = np.stack([labels == g for g in range(k)], axis=2).astype(np.float64)
    counts, sums = held.sum(axis=1), np.einsum("i,big->bg", distances, held)
    n, middle = len(distances), distances.mean()
    between = (counts * (sums / counts - middle) ** 2).sum(axis=1)
    within = ((distances - middle) ** 2).sum() - between
    with np.errstate(all="ignore"):
        return np.asarray((between / (k - 1)) / (np.maximum(within, 0.0) / (n - k)))
