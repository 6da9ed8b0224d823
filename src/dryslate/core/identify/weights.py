"""What each character adds to the log-odds of the likeliest genera, for many corals at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import IntArray, Scores, Term
from dryslate.core.identify.tables import FloatArray

P_EDGE = 1e-12
N_DECIMALS = 9  # what lies behind is noise, and must not put one of two equal reasons first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """
    Weights of evidence of a batch.

    Parameters
    ----------
    log_odds : ndarray of float, shape (n, k, n_terms)
        Of the listed genera of each record, each against all others; natural logarithm. Zero
        where a record does not have the term.
    rows : ndarray of int, shape (n, n_terms)
        Row of each record in each term; -1 where it does not have it.
    """

    log_odds: FloatArray
    rows: IntArray


def weights_of_evidence(scores: Scores, model: Model, genera: IntArray) -> Weights:
    r"""
    Return what each character adds to the log-odds of genera, each against all others.

    Parameters
    ----------
    scores : Scores
    model : Model
    genera : ndarray of int, shape (n, k)
        The genera that are asked for, by record.

    Returns
    -------
    Weights

    Notes
    -----
    The weight of evidence [1]_ :math:`\ln O(g \mid E) - \ln O(g \mid E \setminus c)`, exact: the
    posterior without the character is :math:`P(p \mid E) / L_c(p)^T`, made to sum to one.

    References
    ----------
    .. [1] Good, I. J. (1950). Probability and the Weighing of Evidence. Griffin, London.
    """
    shape = (*genera.shape, len(scores.terms))
    log_odds, place = np.zeros(shape), np.full((len(genera), len(scores.terms)), -1)
    with_all = _logit(np.take_along_axis(scores.p_genus, genera, axis=1))
    looks = model.looks[genera]
    record = np.arange(len(genera))[:, None, None]
    p_looks = scores.p_profile[record, looks] * model.is_look[genera]
    for t, term in enumerate(scores.terms):
        rows = term.rows
        undoing = _undoing(term, model)
        index = np.arange(len(rows)) if term.by_key is None else term.index
        without = (p_looks[rows] * undoing[index[:, None, None], looks[rows]]).sum(axis=2)
        without /= _totals(scores.p_profile[rows], undoing, term)[:, None]
        log_odds[rows, :, t] = with_all[rows] - _logit(without)
        place[rows, t] = np.arange(len(rows))
    return Weights(log_odds=log_odds.round(N_DECIMALS), rows=place)


def _undoing(term: Term, model: Model) -> FloatArray:
    """What takes a term out of the posterior, up to a factor; once a finding where that is all."""
    log_lik = term.log_lik if term.by_key is None else term.by_key
    tempered = model.rates.temperature * log_lik
    tempered -= tempered.min(axis=1, keepdims=True)
    undoing: FloatArray = np.exp(-tempered)
    return undoing


def _totals(p_profile: FloatArray, undoing: FloatArray, term: Term) -> FloatArray:
    """Sum over all profiles of what is left of each row without the term."""
    total: FloatArray
    if term.by_key is None:
        total = np.einsum("ij,ij->i", p_profile, undoing)
    else:
        total = (p_profile @ undoing.T)[np.arange(len(p_profile)), term.index]
    return total


def _logit(p: FloatArray) -> FloatArray:
    """Log-odds, kept finite."""
    p = np.clip(p, P_EDGE, 1.0 - P_EDGE)
    value: FloatArray = np.log(p) - np.log1p(-p)
    return value
