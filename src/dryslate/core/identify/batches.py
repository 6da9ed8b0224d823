"""What is worked out for a whole batch of corals before single answers are put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.conflicts import Looked, has_conflict
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import Columns, IntArray, Scores, score_evidence
from dryslate.core.identify.questions import by_worth, expected_bits
from dryslate.core.identify.reasons import find_fits, memory_of
from dryslate.core.identify.tables import FloatArray
from dryslate.core.identify.weights import Weights, weights_of_evidence

SET_MASS = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reasons:
    """
    Weights of evidence by record and listed genus, in the order they are told.

    Parameters
    ----------
    terms : list of lists of lists of int
        Which of the terms each is of.
    log_odds : list of lists of lists of float
    """

    terms: list[list[list[int]]]
    log_odds: list[list[list[float]]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """
    A batch of corals, worked out.

    Parameters
    ----------
    looked : Looked
        Scores, and how far profiles fit.
    order : ndarray of int, shape (n, n_genera)
        Genera, likeliest first.
    n_set : ndarray of int, shape (n,)
        Size of the 95 % set.
    p_first, first, best : list of lists, by record
        Probability, place and likeliest profile of the genera that are listed.
    also_fit : list of lists, by record
        Genera for which every state is usual, likeliest first.
    for_, against : Reasons
        The strongest of each sign.
    memory_share : list of float
    bits : ndarray of float, shape (n, n_questions), or None
    asks : list of list of int
        Questions by worth (`by_worth`), by record; empty where none are asked for.
    conflict : list of bool
    """

    looked: Looked
    order: IntArray
    n_set: IntArray
    p_first: list[list[float]]
    first: list[list[int]]
    best: list[list[int]]
    also_fit: list[list[int]]
    for_: Reasons
    against: Reasons
    memory_share: list[float]
    bits: FloatArray | None
    asks: list[list[int]]
    conflict: list[bool]


def work_out(
    part: Sequence[Evidence],
    model: Model,
    columns: Columns,
    n_listed: int,
    n_reasons: int,
    has_next: bool,
) -> Batch:
    """
    Work out a batch.

    Parameters
    ----------
    part : sequence of Evidence
    model : Model
    columns : Columns
        Of the same model.
    n_listed, n_reasons : int
        Reasons are made ready for so many genera, and so many for each and against it.
    has_next : bool
        Whether questions are asked for.

    Returns
    -------
    Batch
    """
    scores = score_evidence(part, model, columns)
    fits = find_fits(part, scores, model, columns)
    order, n_set = smallest_sets(scores.p_genus)
    first = order[:, :n_listed]
    usual = np.logical_or.reduceat(fits.all_usual, model.starts, axis=1)
    best = _best_profiles(scores.p_profile, model)
    bits = expected_bits(scores.p_profile, model) if has_next else None
    weights = weights_of_evidence(scores, model, first)
    upward = np.argsort(weights.log_odds, axis=2, kind="stable")
    return Batch(
        looked=Looked(scores=scores, fits=fits, rows=weights.rows.tolist()),
        order=order,
        n_set=n_set,
        p_first=np.take_along_axis(scores.p_genus, first, axis=1).tolist(),
        first=first.tolist(),
        best=np.take_along_axis(best, first, axis=1).tolist(),
        also_fit=_also_fit(usual, order),
        for_=_reasons(weights, upward[:, :, ::-1][:, :, :n_reasons]),
        against=_reasons(weights, upward[:, :, :n_reasons]),
        memory_share=_memory_shares(
            scores, weights, best, columns, model
        ),  # the first listed is the likeliest
        bits=bits,
        asks=[] if bits is None else by_worth(bits, model),
        conflict=has_conflict(fits).tolist(),
    )


def _reasons(weights: Weights, terms: IntArray) -> Reasons:
    """The weights of some terms of each record and genus."""
    log_odds = np.take_along_axis(weights.log_odds, terms, axis=2)
    return Reasons(terms=terms.tolist(), log_odds=log_odds.tolist())


def _also_fit(usual: NDArray[np.bool_], order: IntArray) -> list[list[int]]:
    """Genera for which every state is usual, likeliest first, by record."""
    rows, at = np.nonzero(np.take_along_axis(usual, order, axis=1))
    genera = order[rows, at].tolist()
    cuts = np.searchsorted(rows, np.arange(len(order) + 1)).tolist()
    return [genera[a:b] for a, b in pairwise(cuts)]


def _memory_shares(
    scores: Scores, weights: Weights, best: IntArray, columns: Columns, model: Model
) -> list[float]:
    """Share of the weight of evidence for and against the first genus that rests on memory."""
    first = scores.p_genus.argmax(axis=1)
    total, memory = np.zeros(len(first)), np.zeros(len(first))
    for t, term in enumerate(scores.terms):
        genus = first[term.rows]
        mine = np.abs(weights.log_odds[term.rows, 0, t])
        total[term.rows] += mine
        memory[term.rows] += mine * memory_of(term, best[term.rows, genus], model, columns)
    shares: list[float] = (memory / np.maximum(total, 1e-12)).tolist()
    return shares


def smallest_sets(p_genus: FloatArray) -> tuple[IntArray, IntArray]:
    """
    Return the smallest set of genera that holds 95 % of the probability.

    Parameters
    ----------
    p_genus : ndarray of float, shape (n, n_genera)

    Returns
    -------
    order : ndarray of int, shape (n, n_genera)
        Genera, likeliest first.
    n_set : ndarray of int, shape (n,)
        How many of them are in the set.
    """
    order = np.argsort(-p_genus, axis=1, kind="stable")
    mass = np.cumsum(np.take_along_axis(p_genus, order, axis=1), axis=1)
    n_set = np.minimum((mass < SET_MASS - 1e-12).sum(axis=1) + 1, p_genus.shape[1])
    return order, n_set


def _best_profiles(p_profile: FloatArray, model: Model) -> IntArray:
    """Likeliest profile of each genus by record."""
    best = np.broadcast_to(model.starts, (len(p_profile), len(model.starts))).copy()
    for g in range(len(model.genera)):
        rows = model.rows_of(g)
        if rows.stop - rows.start > 1:
            best[:, g] += p_profile[:, rows].argmax(axis=1)
    return best
