"""Whether groups of units differ in what they hold: PERMANOVA, and ANOSIM beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.dissimilarity import require_dissimilarities
from dryslate.core.survey.exchange import (
    Deals,
    Exchange,
    count_alike,
    deal_out,
    permutation_flags,
)
from dryslate.core.survey.ordination import gower_centred

FloatArray = NDArray[np.float64]
_AT_ONCE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """
    What units are told apart by.

    Parameters
    ----------
    name : str
    values : tuple of str or of float
        Of each unit: its group, or a number.
    """

    name: str
    values: tuple[str, ...] | tuple[float, ...]

    @property
    def is_number(self) -> bool:
        """True for a covariate."""
        return not any(isinstance(value, str) for value in self.values)

    def columns(self) -> FloatArray:
        """Return its columns of a design."""
        if self.is_number:
            return np.asarray(self.values, dtype=np.float64)[:, None]
        levels = sorted({str(value) for value in self.values})
        return np.array([[float(v == level) for level in levels] for v in self.values])


@dataclass(frozen=True, slots=True, kw_only=True)
class TermTest:
    """
    One line of the table.

    Parameters
    ----------
    name : str
    df : int
    ss, r2, f : float
        Sum of squares, its share of the total, pseudo-F.
    p : float
    n_permutations, n_distinct : int
        Deals taken; distinct ones that there are.
    p_smallest : float
        The least `p` that these can give.
    flags : tuple of Flag
    """

    name: str
    df: int
    ss: float
    r2: float
    f: float
    p: float
    n_permutations: int
    n_distinct: int
    p_smallest: float
    flags: tuple[Flag, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Permanova:
    """
    The table: a line for each term in their order, what is left, and the total.

    Parameters
    ----------
    terms : tuple of TermTest
    residual_df : int
    residual_ss, total_ss : float
    """

    terms: tuple[TermTest, ...]
    residual_df: int
    residual_ss: float
    total_ss: float


def compare_terms(
    dissimilarities: ArrayLike, terms: Sequence[Term], how: Exchange, rng: np.random.Generator
) -> Permanova:
    r"""
    Tell how much of what units differ by goes with each term, and how likely by chance alone.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)
    terms : sequence of Term
        In their order: each is about what the earlier ones leave.
    how : Exchange
    rng : numpy.random.Generator

    Returns
    -------
    Permanova

    Raises
    ------
    ValueError
        If a term has not one value a unit.
    InputError
        ``community-groups-alike`` if a term tells no units apart, or nothing is left to compare
        with; ``community-group-within-site``.

    Notes
    -----
    :math:`SS = \operatorname{tr}(H G)` with H the projection on what a term adds and G the
    centred squares [1]_; :math:`F = (SS / df) / (SS_r / df_r)`. Whole rows of the design are dealt
    out. The test answers to spread as well as to place where groups differ in size
    (`dispersion.test_dispersion`); terms that go together share what the first takes.

    References
    ----------
    .. [1] Anderson, M.J. (2001). Austral Ecol. 26, 32-46; McArdle, B.H. & Anderson, M.J. (2001).
       Ecology 82, 290-297.
    .. [2] Phipson, B. & Smyth, G.K. (2010). Stat. Appl. Genet. Mol. Biol. 9, 39.

    Examples
    --------
    >>> far = [[0, 1, 9, 9], [1, 0, 9, 9], [9, 9, 0, 1], [9, 9, 1, 0]]
    >>> depth = Term(name="zone", values=("crest", "crest", "slope", "slope"))
    >>> found = compare_terms(far, [depth], Exchange(), np.random.default_rng(1))
    >>> print(f"{found.terms[0].f:.0f} {found.terms[0].p:.2f} {found.terms[0].p_smallest:.2f}")
    161 0.33 0.33
    """
    gower = gower_centred(require_dissimilarities(dissimilarities))
    n = len(gower)
    for term in terms:
        if len(term.values) != n:
            raise ValueError(f"expected {n} values of {term.name}, got {len(term.values)}")
    design = _design_of(terms, n)
    spans = np.diff([1, *(rank for _, rank in design.ends)])
    total, left_df = float(np.trace(gower)), n - design.ends[-1][1]
    own = design.sums(gower, design.labels[None, :], keeps_rows=True)[0]
    residual = total - float(own.sum())
    if left_df < 1 or not residual > 1e-12 * max(total, 1e-300):
        raise InputError(
            "community-groups-alike",
            "Nothing is left to compare with: each group holds one unit, or units that are alike.",
            "Take units together, or survey more of each group.",
        )
    deals = deal_out(design.labels.tolist(), how, rng)
    keeps_rows = how.what != "whole_sites"
    sums = np.concatenate(
        [
            design.sums(gower, deals.labels[at : at + _AT_ONCE], keeps_rows)
            for at in range(0, len(deals.labels), _AT_ONCE)
        ]
    )
    left = (total - sums.sum(axis=1)) / left_df
    lines = []
    for k, term in enumerate(terms):
        f = float(own[k] / spans[k] / (residual / left_df))
        with np.errstate(all="ignore"):  # a deal may leave nothing within groups
            p = deals.p_of(sums[:, k] / spans[k] / left, f)
        least = _least(term, terms, how, deals)
        lines.append(
            TermTest(
                name=term.name,
                df=int(spans[k]),
                ss=float(own[k]),
                r2=float(own[k] / total),
                f=f,
                p=p,
                n_permutations=len(deals.labels),
                n_distinct=deals.n_distinct,
                p_smallest=least,
                flags=permutation_flags(least),
            )
        )
    return Permanova(terms=tuple(lines), residual_df=left_df, residual_ss=residual, total_ss=total)


def _least(term: Term, terms: Sequence[Term], how: Exchange, deals: Deals) -> float:
    """Return the smallest p: the deals with a term's groups changed over, the others as is."""
    n = len(term.values)
    sites = how.sites if how.what == "units_within_sites" else ("",) * n
    if len(set(zip(sites, term.values, strict=True))) == len(set(sites)):
        return 1.0  # alike all over each site: exchange within sites cannot test it
    if term.is_number:
        return deals.p_smallest(1)
    rest = [(sites[i], *(t.values[i] for t in terms if t is not term)) for i in range(n)]
    first = how.first_of_each(n)
    keys = {key: k for k, key in enumerate(dict.fromkeys(rest))}
    levels = {value: k for k, value in enumerate(dict.fromkeys(term.values))}
    return deals.p_smallest(
        count_alike([levels[term.values[i]] for i in first], [keys[rest[i]] for i in first])
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Design:
    """
    Terms as columns: distinct rows, the row that each unit has, and what each term adds.

    Parameters
    ----------
    rows : ndarray of float, shape (distinct rows, columns)
    labels : ndarray of int, shape (units,)
    ends : tuple of (int, int)
        For each term: columns up to it, and their rank.
    """

    rows: FloatArray
    labels: NDArray[np.int64]
    ends: tuple[tuple[int, int], ...]

    def sums(self, gower: FloatArray, deals: NDArray[np.int64], keeps_rows: bool) -> FloatArray:
        """
        Return the sums of squares of each term for each deal, shape (deals, terms).

        Parameters
        ----------
        gower : ndarray of float
        deals : ndarray of int, shape (deals, units)
        keeps_rows : bool
            Each deal has every row as often as the survey: one basis serves for all.
        """
        found, before = [], np.zeros(len(deals))
        for n_columns, rank in self.ends:
            part = self.rows[:, :n_columns]
            if keeps_rows:
                _, size, turn = np.linalg.svd(part[self.labels], full_matrices=False)
                basis = (part @ turn[:rank].T / size[:rank])[deals]
            else:
                basis = np.linalg.svd(part[deals], full_matrices=False)[0][:, :, :rank]
            through = ((gower @ basis) * basis).sum(axis=(1, 2))
            found.append(through - before)
            before = through
        return np.stack(found, axis=1)


def _design_of(terms: Sequence[Term], n: int) -> _Design:
    """Lay terms out as columns; refuse one that adds nothing."""
    design = np.hstack([np.ones((n, 1)), *(term.columns() for term in terms)])
    rows, labels = np.unique(design, axis=0, return_inverse=True)
    rank, at, ends = 1, 1, []
    for term in terms:
        at += term.columns().shape[1]
        now = int(np.linalg.matrix_rank(design[:, :at]))
        if now == rank:
            raise InputError(
                "community-groups-alike",
                f"{term.name} tells no units apart that are not told apart already.",
                "Leave it out, or compare what differs within the other groups.",
            )
        rank = now
        ends.append((at, rank))
    return _Design(rows=rows, labels=labels.ravel(), ends=tuple(ends))


def measure_anosim(dissimilarities: ArrayLike, groups: Sequence[str]) -> float:
    r"""
    Return ANOSIM's R: how much higher the ranks between groups are than those within.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)
    groups : sequence of str

    Returns
    -------
    float
        About 0 where groups do not differ, 1 where all pairs between are farther apart.

    Raises
    ------
    InputError
        ``community-groups-alike`` if there are no pairs within, or none between.

    Notes
    -----
    :math:`R = (\bar r_B - \bar r_W) / (M / 2)` with M pairs [1]_. It answers to spread more than
    PERMANOVA does, and has no table for two factors; for comparison with older reports.

    References
    ----------
    .. [1] Clarke, K.R. (1993). Aust. J. Ecol. 18, 117-143.

    Examples
    --------
    >>> far = [[0, 1, 9, 8], [1, 0, 7, 9], [9, 7, 0, 1], [8, 9, 1, 0]]
    >>> measure_anosim(far, ["a", "a", "b", "b"])
    1.0
    """
    from scipy.stats import rankdata

    table = require_dissimilarities(dissimilarities)
    i, j = np.triu_indices(len(table), 1)
    ranks = rankdata(np.round(table[i, j], 12))
    own = np.asarray(groups)
    within = own[i] == own[j]
    if within.all() or not within.any():
        raise InputError(
            "community-groups-alike",
            "There are no pairs of units within groups, or none between them.",
            "Compare at least two groups, with two units or more in one of them.",
        )
    return float((ranks[~within].mean() - ranks[within].mean()) / (len(ranks) / 2))
