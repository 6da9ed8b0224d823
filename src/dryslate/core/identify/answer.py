"""The answer to one coral: ranked genera with reasons, the verdict, and what to look at next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem
from dryslate.core.identify.conflicts import Looked, find_conflicts, has_conflict
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import Scores, score_evidence
from dryslate.core.identify.questions import (
    NextCharacter,
    TwoWayQuestion,
    expected_bits,
    find_next,
    find_split,
)
from dryslate.core.identify.reasons import (
    LEAST_LOG_ODDS,
    Reason,
    ReasonWords,
    find_fits,
    memory_of,
    weights_of_evidence,
)
from dryslate.core.identify.tables import FloatArray
from dryslate.core.identify.verdict import find_verdict

SET_MASS = 0.95
P_POSSIBLE = 0.05
P_UNSURE = 0.5  # under it, a size that fits nothing is asked about
CHUNK = 256
FLAT_WORDS = (
    "No local frequencies are given: every genus counts as equally common wherever it lives."
)
LOCAL_WORDS = "Local frequencies of the genera are weighed in."
JUVENILE_WORDS = "the coral is under 5 cm: sizes of adults are not applied"


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSettings:
    """
    How much of an answer is spelt out.

    Parameters
    ----------
    n_ranked : int
        At least so many genera are listed, and all of the 95 % set.
    n_ranked_most : int
        Not more than so many.
    n_reasons : int
        For, and as many against, at most, strongest first.
    has_next, has_split : bool
        Whether to say what to look at next, and what tells the first two apart.
    """

    n_ranked: int = 8
    n_ranked_most: int = 30
    n_reasons: int = 12
    has_next: bool = True
    has_split: bool = True


BATCH = AnswerSettings(n_ranked=3, n_ranked_most=3, n_reasons=3, has_split=False)
"""For batches of many thousands: what a table of names needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """
    One candidate.

    Parameters
    ----------
    genus, family : str
    probability : float
    likelihood_word : str
        ``most likely`` (the first, from 0.5), ``possible`` (in the 95 % set, or from 0.05), else
        ``unlikely``.
    for_, against : tuple of Reason
        Strongest first.
    """

    genus: str
    family: str
    probability: float
    likelihood_word: str
    for_: tuple[Reason, ...]
    against: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """
    What the evidence says of one coral.

    Parameters
    ----------
    region : str or None
    verdict, rank, qualifier : str
        See `Verdict`.
    ranked : tuple of Ranked
    set95 : tuple of str
        The smallest set of genera that holds 95 % of the probability, likeliest first.
    also_fit : tuple of str
        Every genus for which all given states are usual, whether in the set or not.
    next : tuple of NextCharacter
    splits : TwoWayQuestion or None
        What tells the first two apart.
    memory_share : float
        Share of the evidence for and against the first genus that rests on memory.
    prior_words : str
        Which prior was used.
    problems : tuple of Problem
    """

    region: str | None
    verdict: str
    rank: str
    qualifier: str
    ranked: tuple[Ranked, ...]
    set95: tuple[str, ...]
    also_fit: tuple[str, ...]
    next: tuple[NextCharacter, ...]
    splits: TwoWayQuestion | None
    memory_share: float
    prior_words: str
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Batch:
    """What is worked out for a whole chunk before single answers are put together."""

    looked: Looked
    order: NDArray[np.intp]  # genera, likeliest first
    n_set: NDArray[np.intp]  # size of the 95 % set
    best: NDArray[np.intp]  # likeliest profile of each genus
    usual: NDArray[np.bool_]  # genera for which every state is usual
    weights: tuple[FloatArray, ...]  # by term
    memory_share: FloatArray
    bits: FloatArray | None
    conflict: NDArray[np.bool_]


def identify(evidence: Evidence, model: Model, settings: AnswerSettings | None = None) -> Answer:
    """
    Say which genus a coral is, as far as the evidence goes.

    Parameters
    ----------
    evidence : Evidence
        Without errors of `check_evidence`.
    model : Model
        Of the same region.
    settings : AnswerSettings or None

    Returns
    -------
    Answer

    Raises
    ------
    ValueError
        If the evidence names a character, state or region that the model does not have.
    """
    return identify_many([evidence], model, settings or AnswerSettings())[0]


def identify_many(
    evidences: Sequence[Evidence],
    model: Model,
    settings: AnswerSettings = BATCH,
    words: ReasonWords | None = None,
) -> list[Answer]:
    """
    Answer many corals of one region at once.

    Parameters
    ----------
    evidences : sequence of Evidence
    model : Model
    settings : AnswerSettings
    words : ReasonWords or None
        Of the same model; kept between calls it saves making the same words again.

    Returns
    -------
    list of Answer
        As of `identify`, in the same order.

    Raises
    ------
    ValueError
        As of `identify`.
    """
    strange = {e.region for e in evidences} - {model.region, None}
    if strange:
        raise ValueError(f"expected evidence of {model.region}, got {sorted(map(str, strange))}")
    words = words or ReasonWords(model)
    answers: list[Answer] = []
    for start in range(0, len(evidences), CHUNK):
        part = evidences[start : start + CHUNK]
        batch = _worked_out(part, model, settings)
        answers += [_answer(e, i, batch, words, settings) for i, e in enumerate(part)]
    return answers


def _worked_out(part: Sequence[Evidence], model: Model, settings: AnswerSettings) -> _Batch:
    """All arrays of a chunk."""
    scores = score_evidence(part, model)
    fits = find_fits(part, scores, model)
    order, n_set = smallest_sets(scores.p_genus)
    usual = np.logical_or.reduceat(fits.all_usual, model.starts, axis=1)
    places: list[list[tuple[int, int]]] = [[] for _ in part]
    for t, term in enumerate(scores.terms):
        for j, row in enumerate(term.rows.tolist()):
            places[row].append((t, j))
    best = _best_profiles(scores.p_profile, model)
    weights = tuple(weights_of_evidence(scores, t, model) for t in scores.terms)
    return _Batch(
        looked=Looked(scores=scores, fits=fits, places=tuple(places)),
        order=order,
        n_set=n_set,
        best=best,
        usual=usual,
        weights=weights,
        memory_share=_memory_shares(scores, weights, order[:, 0], best, model),
        bits=expected_bits(scores.p_profile, model) if settings.has_next else None,
        conflict=has_conflict(fits),
    )


def _memory_shares(
    scores: Scores,
    weights: tuple[FloatArray, ...],
    first: NDArray[np.intp],
    best: NDArray[np.intp],
    model: Model,
) -> FloatArray:
    """Share of the weight of evidence for and against the first genus that rests on memory."""
    total, memory = np.zeros(len(first)), np.zeros(len(first))
    for term, weight in zip(scores.terms, weights, strict=True):
        genus = first[term.rows]
        mine = np.abs(weight[np.arange(len(genus)), genus])
        total[term.rows] += mine
        memory[term.rows] += mine * memory_of(term, best[term.rows, genus], model)
    return memory / np.maximum(total, 1e-12)


def smallest_sets(p_genus: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
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


def _best_profiles(p_profile: FloatArray, model: Model) -> NDArray[np.intp]:
    """Likeliest profile of each genus by record."""
    best = np.broadcast_to(model.starts, (len(p_profile), len(model.starts))).copy()
    for g in range(len(model.genera)):
        rows = model.rows_of(g)
        if rows.stop - rows.start > 1:
            best[:, g] += p_profile[:, rows].argmax(axis=1)
    return best


def _answer(
    evidence: Evidence, i: int, batch: _Batch, words: ReasonWords, settings: AnswerSettings
) -> Answer:
    """One answer of a chunk."""
    model = words.model
    p_genus = batch.looked.scores.p_genus[i]
    n_set = int(batch.n_set[i])
    n = min(max(settings.n_ranked, n_set), settings.n_ranked_most)
    order = batch.order[i].tolist()
    is_conflict = bool(batch.conflict[i])
    said = find_verdict(p_genus, evidence.is_small, is_conflict, model)
    ranked = _ranked(evidence, i, order[:n], batch, words, settings)
    pair = (order[0], order[min(1, len(order) - 1)])
    split = settings.has_split and pair[0] != pair[1]
    return Answer(
        region=model.region,
        verdict=said.verdict,
        rank=said.rank,
        qualifier=said.qualifier,
        ranked=ranked,
        set95=tuple(model.genera[g] for g in order[:n_set]),
        also_fit=_also_fit(evidence, i, batch, model),
        next=() if batch.bits is None else find_next(evidence, batch.bits[i], model),
        splits=find_split(evidence, batch.looked.scores.p_profile[i], pair, model)
        if split
        else None,
        memory_share=float(batch.memory_share[i]),
        prior_words=FLAT_WORDS if model.is_prior_flat else LOCAL_WORDS,
        problems=_problems(evidence, i, batch, model),
    )


def _also_fit(evidence: Evidence, i: int, batch: _Batch, model: Model) -> tuple[str, ...]:
    """Genera for which every given state is usual; none where no state is given."""
    if not any(evidence.seen.values()) and not any(evidence.not_seen.values()):
        return ()
    return tuple(model.genera[g] for g in batch.order[i][batch.usual[i][batch.order[i]]].tolist())


def _problems(evidence: Evidence, i: int, batch: _Batch, model: Model) -> tuple[Problem, ...]:
    """What is contradictory or left out."""
    found: list[Problem] = []
    if evidence.is_small and evidence.sizes:
        found.append(
            Problem(
                slug="identify-juvenile-sizes",
                severity="note",
                place=", ".join(sorted(evidence.sizes)),
                message=JUVENILE_WORDS,
                fix="Come back when it has grown, or keep the name at family.",
            )
        )
    unsure = evidence.uses_sizes and batch.looked.scores.p_genus[i].max() < P_UNSURE
    if batch.conflict[i] or unsure:
        found += find_conflicts(evidence, i, batch.looked, model)
    return tuple(found)


def _ranked(
    evidence: Evidence,
    i: int,
    genera: list[int],
    batch: _Batch,
    words: ReasonWords,
    settings: AnswerSettings,
) -> tuple[Ranked, ...]:
    """The candidates with their reasons."""
    model, places = words.model, batch.looked.places[i]
    p = batch.looked.scores.p_genus[i][genera].tolist()
    weights = [batch.weights[t][j][genera].tolist() for t, j in places]
    profiles = batch.best[i][genera].tolist()
    ranked = []
    for k, genus in enumerate(genera):
        mine = sorted([(w[k], place) for w, place in zip(weights, places, strict=True)])

        def said(
            weighed: list[tuple[float, tuple[int, int]]], sign: float, profile: int = profiles[k]
        ) -> tuple[Reason, ...]:
            reasons = []
            for weight, (t, j) in weighed[: settings.n_reasons]:
                if sign * weight < LEAST_LOG_ODDS:
                    break
                term = batch.looked.scores.terms[t]
                text, is_memory = words.say(term, j, evidence, profile)
                reasons.append(
                    Reason(character=term.name, text=text, log_odds=weight, is_memory=is_memory)
                )
            return tuple(reasons)

        ranked.append(
            Ranked(
                genus=model.genera[genus],
                family=model.families[genus],
                probability=p[k],
                likelihood_word=_likelihood_word(k, p[k], k < int(batch.n_set[i])),
                for_=said(mine[::-1], 1.0),
                against=said(mine, -1.0),
            )
        )
    return tuple(ranked)


def _likelihood_word(place: int, p: float, is_in_set: bool) -> str:
    """Plain word for a probability."""
    if place == 0 and p >= 0.5:
        return "most likely"
    return "possible" if is_in_set or p >= P_POSSIBLE else "unlikely"


def answer_to_dict(answer: Answer) -> dict[str, Any]:
    """
    Return an answer as plain values, for JSON.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    dict
        Keys as documented in docs/identify.md; probabilities with four decimals, log-odds and
        bits with two.
    """
    split = answer.splits
    return {
        "region": answer.region,
        "verdict": answer.verdict,
        "rank": answer.rank,
        "qualifier": answer.qualifier,
        "ranked": [
            {
                "genus": r.genus,
                "family": r.family,
                "probability": round(r.probability, 4),
                "likelihood": r.likelihood_word,
                "for": [_reason_to_dict(x) for x in r.for_],
                "against": [_reason_to_dict(x) for x in r.against],
            }
            for r in answer.ranked
        ],
        "set95": list(answer.set95),
        "also_fit": list(answer.also_fit),
        "next": [
            {
                "character": n.character,
                "question": n.question,
                "expected_bits": round(n.expected_bits, 3),
                "seen_with": n.seen_with,
            }
            for n in answer.next
        ],
        "splits": None if split is None else {k: getattr(split, k) for k in split.__slots__},
        "memory_share": round(answer.memory_share, 3),
        "prior": answer.prior_words,
        "problems": [p.as_dict() for p in answer.problems],
    }


def _reason_to_dict(reason: Reason) -> dict[str, Any]:
    """One reason as plain values."""
    return {
        "character": reason.character,
        "text": reason.text,
        "log_odds": round(reason.log_odds, 2),
        "memory": reason.is_memory,
    }


def with_problems(answer: Answer, problems: Sequence[Problem]) -> Answer:
    """
    Return the answer with what was found in its evidence before.

    Parameters
    ----------
    answer : Answer
    problems : sequence of Problem
        As of `check_evidence`.

    Returns
    -------
    Answer
    """
    return replace(answer, problems=(*problems, *answer.problems))
