"""What may be exchanged in a permutation test: units, units within sites, or whole sites."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag

IntArray = NDArray[np.int64]
N_PERMUTATIONS = 9_999
_TINY = 1e-10

Exchanged = Literal["units", "units_within_sites", "whole_sites"]
"""
Units over all, where they were placed anew without regard to anything; units within sites (or
within any stratum), for what differs within a site, such as zone or visit; whole sites, for what
is the same all over a site, such as protection: then the site is the replicate.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """
    What is exchanged, and how often.

    Parameters
    ----------
    what : {"units", "units_within_sites", "whole_sites"}
    sites : tuple of hashable
        The site or stratum of each unit; empty with ``units``.
    n_permutations : int
        Drawn at random; where there are no more distinct ones than this, all are taken.
    """

    what: Exchanged = "units"
    sites: tuple[Hashable, ...] = ()
    n_permutations: int = N_PERMUTATIONS

    def first_of_each(self, n_units: int) -> list[int]:
        """
        Return one unit of each that is exchanged: all units, or the first of each site.

        Parameters
        ----------
        n_units : int

        Returns
        -------
        list of int
        """
        if self.what != "whole_sites":
            return list(range(n_units))
        return [self.sites.index(site) for site in dict.fromkeys(self.sites)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deals:
    """
    Ways in which what units are labelled with was dealt out anew.

    Parameters
    ----------
    labels : ndarray of int, shape (deals, units)
    n_distinct : int
        Different ways of dealing them out, the one of the survey among them.
    is_all : bool
        All distinct ones are here, that of the survey too; else a random sample.
    """

    labels: IntArray
    n_distinct: int
    is_all: bool

    def p_of(self, statistics: NDArray[np.float64], observed: float) -> float:
        """
        Return the share of deals whose statistic is as large.

        Parameters
        ----------
        statistics : ndarray of float, shape (deals,)
        observed : float

        Returns
        -------
        float
            Of a random sample with the survey's own deal counted in (Phipson & Smyth 2010).
        """
        near = _TINY * max(abs(observed), 1.0) if math.isfinite(observed) else 0.0
        as_large = int((statistics >= observed - near).sum())
        if self.is_all:
            return as_large / len(self.labels)
        return (as_large + 1) / (len(self.labels) + 1)

    def p_smallest(self, n_alike: int) -> float:
        """
        Return the least p that so many deals can give.

        Parameters
        ----------
        n_alike : int
            Deals that part the units just as the survey does, groups changed over.

        Returns
        -------
        float
        """
        fewest = n_alike / self.n_distinct
        return fewest if self.is_all else max(fewest, 1.0 / (len(self.labels) + 1))


def deal_out(labels: Sequence[int], how: Exchange, rng: np.random.Generator) -> Deals:
    r"""
    Deal the labels of units out anew.

    Parameters
    ----------
    labels : sequence of int
        What each unit is labelled with: its group, or its combination of groups.
    how : Exchange
    rng : numpy.random.Generator
        Same seed, same deals.

    Returns
    -------
    Deals

    Raises
    ------
    ValueError
        If the sites are not as many as the units.
    InputError
        ``community-group-within-site`` if whole sites are exchanged, and the units of one differ in
        their label.

    Notes
    -----
    Within each site there are :math:`n!/\prod n_g!` ways, multiplied over sites.

    Examples
    --------
    >>> found = deal_out([0, 0, 1, 1], Exchange(), np.random.default_rng(1))
    >>> found.n_distinct, found.is_all, found.labels.shape
    (6, True, (6, 4))
    """
    own = np.asarray(labels, dtype=np.int64)
    if how.what != "units" and len(how.sites) != len(own):
        raise ValueError(f"expected a site for each of {len(own)} units, got {len(how.sites)}")
    if how.what == "whole_sites":
        names = list(dict.fromkeys(how.sites))
        where = np.array([names.index(site) for site in how.sites])
        label_of = [set(own[where == k].tolist()) for k in range(len(names))]
        split = [names[k] for k, found in enumerate(label_of) if len(found) > 1]
        if split:
            raise InputError(
                "community-group-within-site",
                f"The units of {split[0]} differ in their group, so that whole sites cannot be "
                "exchanged.",
                "Exchange units within sites, or group whole sites.",
            )
        dealt = _dealt(
            np.array([found.pop() for found in label_of]), [np.arange(len(names))], how, rng
        )
        return Deals(
            labels=dealt.labels[:, where], n_distinct=dealt.n_distinct, is_all=dealt.is_all
        )
    if how.what == "units":
        return _dealt(own, [np.arange(len(own))], how, rng)
    strata = [
        np.array([i for i, one in enumerate(how.sites) if one == site])
        for site in dict.fromkeys(how.sites)
    ]
    return _dealt(own, strata, how, rng)


def _dealt(own: IntArray, strata: list[IntArray], how: Exchange, rng: np.random.Generator) -> Deals:
    """Deal labels out within each stratum: all ways where they are few, else a sample."""
    n_distinct = math.prod(_n_ways(own[stratum]) for stratum in strata)
    if n_distinct <= how.n_permutations:
        found = own[None, :].copy()
        for stratum in strata:
            ways = np.array(list(_ways(sorted(own[stratum].tolist()))), dtype=np.int64)
            found = np.repeat(found, len(ways), axis=0)
            found[:, stratum] = np.tile(ways, (len(found) // len(ways), 1))
        return Deals(labels=found, n_distinct=n_distinct, is_all=True)
    found = np.tile(own, (how.n_permutations, 1))
    for stratum in strata:
        found[:, stratum] = rng.permuted(found[:, stratum], axis=1)
    return Deals(labels=found, n_distinct=n_distinct, is_all=False)


def _n_ways(labels: IntArray) -> int:
    """Number of distinct arrangements of labels, some of them alike."""
    _, counts = np.unique(labels, return_counts=True)
    return math.factorial(len(labels)) // math.prod(math.factorial(int(c)) for c in counts)


def _ways(labels: list[int]) -> Iterator[tuple[int, ...]]:
    """Yield each distinct arrangement once, from sorted labels in the order of the alphabet."""
    now = list(labels)
    while True:
        yield tuple(now)
        at = next((i for i in range(len(now) - 2, -1, -1) if now[i] < now[i + 1]), None)
        if at is None:
            return
        other = next(j for j in range(len(now) - 1, at, -1) if now[j] > now[at])
        now[at], now[other] = now[other], now[at]
        now[at + 1 :] = reversed(now[at + 1 :])


def count_alike(groups: Sequence[int], rest: Sequence[int]) -> int:
    r"""
    Count the deals that part units just as the survey does, only with groups changed over.

    Parameters
    ----------
    groups : sequence of int
        Group of each unit (with whole sites: of each site).
    rest : sequence of int
        What must stay as it is: stratum and other terms, as one label.

    Returns
    -------
    int

    Notes
    -----
    Two groups can be changed over where they have as many units in each stratum. Other deals can
    come out equal by chance, so this is the fewest.

    Examples
    --------
    >>> count_alike([0, 0, 1, 1, 2], [0, 0, 0, 0, 0])
    2
    """
    own, other = (
        np.unique(np.asarray(groups), return_inverse=True)[1],
        np.unique(np.asarray(rest), return_inverse=True)[1],
    )
    table = np.zeros((int(own.max()) + 1, int(other.max()) + 1), dtype=np.int64)
    np.add.at(table, (own, other), 1)
    _, counts = np.unique(table, axis=0, return_counts=True)
    return math.prod(math.factorial(int(c)) for c in counts)


def permutation_flags(p_smallest: float) -> tuple[Flag, ...]:
    """
    Return the flag of a test that cannot find anything.

    Parameters
    ----------
    p_smallest : float

    Returns
    -------
    tuple of Flag

    Examples
    --------
    >>> permutation_flags(1 / 3)
    (<Flag.FEW_PERMUTATIONS: 'few_permutations'>,)
    """
    return (Flag.FEW_PERMUTATIONS,) if p_smallest > 0.05 else ()
