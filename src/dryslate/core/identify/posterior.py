"""From evidence to probabilities: many corals at once, every term kept for the reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.kinds import GROWTH
from dryslate.core.identify.model import Model
from dryslate.core.identify.tables import BoolArray, CharacterTable, FloatArray

Key = tuple[frozenset[str], frozenset[str]]
IntArray = NDArray[np.intp]
NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Term:
    """
    What one character or size says of each profile.

    Parameters
    ----------
    name : str
        Character or measure.
    rows : ndarray of int, shape (n,)
        Records that have it, in order.
    keys : tuple of (frozenset of str, frozenset of str)
        Distinct findings (states seen, states that are not there); empty for a size.
    index : ndarray of int, shape (n,)
        Which of them each record has.
    log_lik : ndarray of float, shape (n, n_profiles)
        Natural log-likelihood, before tempering. For the growth form and sizes, which belong
        together: given the other of them.
    by_key : ndarray of float, shape (len(keys), n_profiles), or None
        ``log_lik`` is ``by_key[index]``; None where a row depends on more than the finding.
    """

    name: str
    rows: IntArray
    keys: tuple[Key, ...] = ()
    index: IntArray
    log_lik: FloatArray
    by_key: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scores:
    """
    Probabilities of a batch.

    Parameters
    ----------
    log_lik : ndarray of float, shape (n, n_profiles)
        Of all evidence of each record, before tempering.
    p_profile : ndarray of float, shape (n, n_profiles)
    p_genus : ndarray of float, shape (n, n_genera)
    terms : tuple of Term
    """

    log_lik: FloatArray
    p_profile: FloatArray
    p_genus: FloatArray
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeKinds:
    """
    The distinct sizes of a measure over the kinds: many kinds share theirs with their profile.

    Parameters
    ----------
    log_mean, log_sd, measured_share : ndarray of float, shape (n_distinct,)
        As of `KindTable`.
    of_kind : ndarray of int, shape (n_kinds,)
        Which of them each kind has.
    """

    log_mean: FloatArray
    log_sd: FloatArray
    measured_share: FloatArray
    of_kind: IntArray


class Columns:
    """What single findings say of every profile, kept from one batch to the next."""

    def __init__(self) -> None:
        self.log_lik: dict[tuple[str, Key], FloatArray] = {}
        self.fits: dict[tuple[str, Key], tuple[BoolArray, BoolArray]] = {}
        self.memory: dict[tuple[str, Key], BoolArray] = {}
        self.growth: dict[Key, tuple[FloatArray, FloatArray]] = {}  # weighed kinds; log by profile
        self.sizes: dict[str, SizeKinds] = {}
        self.keys: dict[Key, Key] = {}  # one object a finding: look-ups need not compare sets


def score_evidence(
    evidences: Sequence[Evidence], model: Model, columns: Columns | None = None
) -> Scores:
    r"""
    Return the probability of each genus for each of many corals.

    Parameters
    ----------
    evidences : sequence of Evidence
        Without errors (`check_evidence`); unknown words are an error of the caller. A few hundred
        at once are fastest.
    model : Model
    columns : Columns or None
        Of the same model; kept between calls they save work.

    Returns
    -------
    Scores

    Notes
    -----
    :math:`P(p \mid E) \propto \pi_p \left[\prod_c P(E_c \mid p)\right]^T`, summed over the
    profiles of each genus, with the temperature :math:`T <= 1` [1]_. Several states that were
    seen are drawn one by one; states that are not there count as
    :math:`1 - \sum P(s \mid p)`, and beside a state that was seen as
    :math:`1 - \kappa \sum P(s \mid p)`, since a colony rarely shows two (:math:`\kappa` is
    `ErrorRates.second_state`). Growth form and sizes belong together:
    :math:`P(g, x \mid p) = \sum_k \lambda_k P(g \mid k) \prod_m f_k(x_m)` over the kinds of the
    profile, with log-normal :math:`f_k` widened by the stated uncertainty and a wide tail.

    References
    ----------
    .. [1] Hand, D. J. & Yu, K. (2001). Idiot's Bayes: not so stupid after all? International
       Statistical Review 69, 385-398 (dependence makes such posteriors too sure).
    """
    n, n_profiles = len(evidences), len(model.profiles)
    columns = columns or Columns()
    made = columns.log_lik
    terms: list[Term] = []
    log_lik = np.zeros((n, n_profiles))
    sized = np.array([bool(e.uses_sizes) for e in evidences], np.bool_)
    for name, (rows, index, keys) in _grouped(evidences, model, columns).items():
        for key in keys:
            if (name, key) not in made:
                made[name, key] = log_column(model.tables[name], key, model)
        log_column_of = np.array([made[name, key] for key in keys])
        term = Term(
            name=name,
            rows=rows,
            keys=keys,
            index=index,
            log_lik=log_column_of[index],
            by_key=log_column_of,
        )
        terms.append(term)
        log_lik[rows] += term.log_lik
    if sized.any():
        rows = np.flatnonzero(sized)
        log_lik, terms = _with_sizes(evidences, model, columns, rows, log_lik, terms)
    p_profile = probabilities(log_lik, model)
    return Scores(
        log_lik=log_lik,
        p_profile=p_profile,
        p_genus=model.sum_by_genus(p_profile),
        terms=tuple(t for t in terms if len(t.rows)),
    )


def probabilities(
    log_lik: FloatArray, model: Model, temperature: float | None = None
) -> FloatArray:
    """
    Temper log-likelihoods, weigh them by the prior and make them sum to one.

    Parameters
    ----------
    log_lik : ndarray of float, shape (n, n_profiles)
    model : Model
    temperature : float or None
        None: the model's own.

    Returns
    -------
    ndarray of float, shape (n, n_profiles)
    """
    power = model.rates.temperature if temperature is None else temperature
    scaled = power * log_lik
    scaled -= scaled.max(axis=1, keepdims=True)
    p = np.exp(scaled)
    p *= model.prior
    p /= p.sum(axis=1, keepdims=True)
    return p


def log_column(table: CharacterTable, key: Key, model: Model) -> FloatArray:
    """
    Return the log-likelihood of what was noted of one character, for each profile.

    Parameters
    ----------
    table : CharacterTable
    key : (frozenset of str, frozenset of str)
        States seen, and states that are not there.
    model : Model

    Returns
    -------
    ndarray of float, shape (n_profiles,)
    """
    if table.character.character == GROWTH and len(key[0]) > 1:
        return np.log(_by_profile(model.kinds.share * _growth_lik(key, model), model))
    log_lik = np.log(_state_lik(table.p_written, table.states, key, model))
    return log_lik + table.log_noted if key[0] else log_lik


def _state_lik(
    p_written: FloatArray, states: tuple[str, ...], key: Key, model: Model
) -> FloatArray:
    """Likelihood of states seen and not there, by rows of `p_written`."""
    seen, not_seen = key
    lik: FloatArray = np.ones(len(p_written))
    for state in sorted(seen):
        lik = lik * p_written[:, states.index(state)]
    absent = [states.index(s) for s in sorted(not_seen - seen)]
    if not absent or len(absent) == len(states):
        return lik
    p_absent = p_written[:, absent].sum(axis=1)
    factor = 1.0 - (model.rates.second_state if seen else 1.0) * p_absent
    told: FloatArray = np.maximum(factor, model.rates.slip / len(states))
    return lik * told


def _growth_lik(key: Key, model: Model) -> FloatArray:
    """Likelihood of the growth form by kind."""
    return _state_lik(model.kinds.p_growth, model.tables[GROWTH].states, key, model)


def _by_profile(by_kind: FloatArray, model: Model) -> FloatArray:
    """Sum kinds, weighed by their shares, up by profile, along the last axis."""
    return np.add.reduceat(by_kind, model.kinds.starts, axis=-1)


def _grouped(
    evidences: Sequence[Evidence], model: Model, columns: Columns
) -> dict[str, tuple[IntArray, IntArray, tuple[Key, ...]]]:
    """By character: records that have it, which of the findings each has, and the findings."""
    lists: dict[str, tuple[list[int], list[int], dict[Key, int]]] = {}
    for i, e in enumerate(evidences):
        names = e.seen if not e.not_seen else dict.fromkeys((*e.seen, *e.not_seen))
        for name in names:
            key = (e.seen.get(name, NOTHING), e.not_seen.get(name, NOTHING))
            if key[0] or key[1]:
                rows, index, keys = lists.setdefault(name, ([], [], {}))
                rows.append(i)
                index.append(keys.setdefault(key, len(keys)))
    unknown = set(lists) - set(model.tables)
    if unknown:
        raise ValueError(f"expected characters of the data, got {sorted(unknown)}")
    return {
        name: (
            np.array(lists[name][0], np.intp),
            np.array(lists[name][1]),
            tuple(columns.keys.setdefault(key, key) for key in lists[name][2]),
        )
        for name in model.tables
        if name in lists
    }


def _with_sizes(
    evidences: Sequence[Evidence],
    model: Model,
    columns: Columns,
    rows: IntArray,
    log_lik: FloatArray,
    terms: list[Term],
) -> tuple[FloatArray, list[Term]]:
    """Weigh sizes together with the growth form over the kinds of each profile."""
    measured = [evidences[i].sizes for i in rows]
    densities = {
        m: _densities([evidences[i] for i in rows], m, model, columns)
        for m in model.kinds.wide
        if any(m in sizes for sizes in measured)
    }
    growth, alone = _growth_of(rows, terms, model, columns)
    sizes = _product(list(densities.values()))
    joint = np.log(_by_profile(growth * sizes, model))
    added = log_lik.copy()
    added[rows] += joint - alone
    made = [_regrown(t, rows, joint, sizes, model) if t.name == GROWTH else t for t in terms]
    for measure in densities:
        has = np.array([measure in given for given in measured])
        without = alone[has]  # where it is the only size, the growth form is left
        several = np.array([len(given.keys() & densities.keys()) > 1 for given in measured])
        if (several & has).any():
            others = _product([d[several & has] for m, d in densities.items() if m != measure])
            without[several[has]] = np.log(_by_profile(growth[several & has] * others, model))
        made.append(
            Term(
                name=measure,
                rows=rows[has],
                index=np.zeros(int(has.sum()), np.intp),
                log_lik=joint[has] - without,
            )
        )
    return added, made


def _growth_of(
    rows: IntArray, terms: Sequence[Term], model: Model, columns: Columns
) -> tuple[FloatArray, FloatArray]:
    """Share of each kind times the likelihood of the growth form; and the log by profile."""
    keys: list[Key] = [(NOTHING, NOTHING)]
    index = np.zeros(len(rows), np.intp)
    for term in terms:
        if term.name == GROWTH:
            _, here, there = np.intersect1d(rows, term.rows, True, return_indices=True)
            index[here] = 1 + term.index[there]
            keys += term.keys
    for key in keys:
        if key not in columns.growth:
            by_kind = model.kinds.share * _growth_lik(key, model)
            columns.growth[key] = by_kind, np.log(_by_profile(by_kind, model))
    made = [columns.growth[key] for key in keys]
    return np.array([m[0] for m in made])[index], np.array([m[1] for m in made])[index]


def _product(factors: Sequence[FloatArray]) -> FloatArray:
    """Return the product of one array or more."""
    product = factors[0]
    for factor in factors[1:]:
        product = product * factor
    return product


def _regrown(
    term: Term, rows: IntArray, joint: FloatArray, sizes: FloatArray, model: Model
) -> Term:
    """The growth form's term, given the sizes where a record has some."""
    _, here, there = np.intersect1d(rows, term.rows, True, return_indices=True)
    values = term.log_lik.copy()
    values[there] = joint[here] - np.log(_by_profile(model.kinds.share * sizes[here], model))
    return replace(term, log_lik=values, by_key=None)


def _densities(
    evidences: Sequence[Evidence], measure: str, model: Model, columns: Columns
) -> FloatArray:
    """Density of each record's log size by kind; one where a record has no such size."""
    if measure not in columns.sizes:
        columns.sizes[measure] = _size_kinds(measure, model)
    kinds = columns.sizes[measure]
    has = [i for i, e in enumerate(evidences) if measure in e.sizes]
    value = np.array([evidences[i].sizes[measure].value_mm for i in has])
    doubt = np.array([evidences[i].sizes[measure].u_mm for i in has])
    x, u = np.log(value)[:, None], (doubt / value)[:, None]
    density = size_density(x, u, measure, model, kinds)[:, kinds.of_kind]
    if len(has) == len(evidences):
        return density
    out = np.ones((len(evidences), len(kinds.of_kind)))
    out[has] = density
    return out


def _size_kinds(measure: str, model: Model) -> SizeKinds:
    """Find the distinct sizes of a measure."""
    kinds = model.kinds
    every = (kinds.log_mean, kinds.log_sd, kinds.measured_share)
    distinct, of_kind = np.unique(
        np.stack([table[measure] for table in every]), axis=1, return_inverse=True
    )
    return SizeKinds(
        log_mean=distinct[0],
        log_sd=distinct[1],
        measured_share=distinct[2],
        of_kind=of_kind.reshape(-1),
    )


def size_density(
    log_size: FloatArray,
    log_u: FloatArray,
    measure: str,
    model: Model,
    distinct: SizeKinds | None = None,
) -> FloatArray:
    r"""
    Return the density of the log of a size for each kind, with its tail.

    Parameters
    ----------
    log_size, log_u : ndarray of float, shape (n, 1)
        Natural logarithm of the size in millimetres and its standard uncertainty (relative).
    measure : str
    model : Model
    distinct : SizeKinds or None
        Of the same measure and model: then for each distinct size instead of each kind.

    Returns
    -------
    ndarray of float, shape (n, n_kinds) or (n, n_distinct)
        :math:`(1 - \varepsilon) m_k N(\ln x; \mu_k, \sigma_k^2 + u^2) + \varepsilon W(\ln x)`: the
        share :math:`m_k` is `KindTable.measured_share`, the
        tail :math:`W`, a normal distribution of all sizes of the measure that is three times as
        wide, is the same for all kinds, so that no size can exclude any.
    """
    kinds, slip = model.kinds, model.rates.size_slip
    mean, wide = kinds.wide[measure]
    of = distinct or _each_kind(measure, model)
    variance = of.log_sd**2 + log_u**2
    offset = log_size - of.log_mean
    near = np.exp(-0.5 * offset**2 / variance) / np.sqrt(2.0 * np.pi * variance)
    near *= of.measured_share
    tail_variance = (3.0 * wide) ** 2 + log_u**2
    tail = np.exp(-0.5 * (log_size - mean) ** 2 / tail_variance)
    tail = np.maximum(tail, 1e-6) / np.sqrt(2.0 * np.pi * tail_variance)
    density: FloatArray = (1.0 - slip) * near + slip * tail
    return density


def _each_kind(measure: str, model: Model) -> SizeKinds:
    """All kinds, each for itself."""
    kinds = model.kinds
    return SizeKinds(
        log_mean=kinds.log_mean[measure],
        log_sd=kinds.log_sd[measure],
        measured_share=kinds.measured_share[measure],
        of_kind=np.arange(len(kinds.share)),
    )
