"""The answer to one coral: ranked genera with reasons, the verdict, and what to look at next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem
from dryslate.core.identify.conflicts import find_conflicts, has_conflict
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
    Fits,
    Reason,
    ReasonWords,
    find_fits,
    weights_of_evidence,
)
from dryslate.core.identify.tables import FloatArray
from dryslate.core.identify.verdict import find_verdict

SET_MASS = 0.95
P_POSSIBLE = 0.05
CHUNK = 512
FLAT_WORDS = "No local frequencies are given: every genus of the region counts as equally common."
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


BATCH = AnswerSettings(n_ranked=3, n_ranked_most=8, n_reasons=4, has_split=False)
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

    scores: Scores
    fits: Fits
    order: NDArray[np.intp]  # genera, likeliest first
    n_set: NDArray[np.intp]  # size of the 95 % set
    best: NDArray[np.intp]  # likeliest profile of each genus
    usual: NDArray[np.bool_]  # genera for which every state is usual
    weights: tuple[FloatArray, ...]  # by term
    places: list[list[tuple[int, int]]]  # (term, row in it) by record
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
    evidences: Sequence[Evidence], model: Model, settings: AnswerSettings = BATCH
) -> list[Answer]:
    """
    Answer many corals of one region at once.

    Parameters
    ----------
    evidences : sequence of Evidence
    model : Model
    settings : AnswerSettings

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
    words = ReasonWords(model)
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
    return _Batch(
        scores=scores,
        fits=fits,
        order=order,
        n_set=n_set,
        best=_best_profiles(scores.p_profile, model),
        usual=usual,
        weights=tuple(weights_of_evidence(scores, t, model) for t in scores.terms),
        places=places,
        bits=expected_bits(scores.p_profile, model) if settings.has_next else None,
        conflict=has_conflict(fits),
    )


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
    p_genus = batch.scores.p_genus[i]
    n_set = int(batch.n_set[i])
    n = min(max(settings.n_ranked, n_set), settings.n_ranked_most)
    order = batch.order[i].tolist()
    is_conflict = bool(batch.conflict[i])
    said = find_verdict(p_genus, evidence.is_small, is_conflict, model)
    ranked, memory_share = _ranked(evidence, i, order[:n], batch, words, settings)
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
        splits=find_split(evidence, batch.scores.p_profile[i], pair, model) if split else None,
        memory_share=memory_share,
        prior_words=FLAT_WORDS if model.is_prior_flat else LOCAL_WORDS,
        problems=_problems(evidence, i, batch, model),
    )


def _also_fit(evidence: Evidence, i: int, batch: _Batch, model: Model) -> tuple[str, ...]:
    """Genera for which every given state is usual; none where no state is given."""
    if not any(evidence.seen.values()) and not any(evidence.not_seen.values()):
        return ()
    return tuple(model.genera[g] for g in batch.order[i].tolist() if batch.usual[i, g])


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
    if batch.conflict[i] or evidence.uses_sizes:
        found += find_conflicts(evidence, i, batch.scores, batch.fits, model)
    return tuple(found)


def _ranked(
    evidence: Evidence,
    i: int,
    genera: list[int],
    batch: _Batch,
    words: ReasonWords,
    settings: AnswerSettings,
) -> tuple[tuple[Ranked, ...], float]:
    """The candidates with their reasons, and how much of the first one's rests on memory."""
    model = words.model
    terms = batch.scores.terms
    p = batch.scores.p_genus[i][genera].tolist()
    weights = [batch.weights[t][j][genera].tolist() for t, j in batch.places[i]]
    names = [terms[t].name for t, _ in batch.places[i]]
    profiles = batch.best[i][genera].tolist()
    ranked, memory_share = [], 0.0
    for k, genus in enumerate(genera):
        mine = sorted(zip((w[k] for w in weights), names, strict=True), reverse=True)
        for_ = _said(evidence, mine, profiles[k], words, settings.n_reasons)
        against = _said(evidence, mine[::-1], profiles[k], words, -settings.n_reasons)
        if k == 0:
            memory_share = _memory_share(evidence, mine, profiles[k], words)
        ranked.append(
            Ranked(
                genus=model.genera[genus],
                family=model.families[genus],
                probability=p[k],
                likelihood_word=_likelihood_word(k, p[k], k < int(batch.n_set[i])),
                for_=for_,
                against=against,
            )
        )
    return tuple(ranked), memory_share


def _said(
    evidence: Evidence,
    weighed: list[tuple[float, str]],
    profile: int,
    words: ReasonWords,
    n_signed: int,
) -> tuple[Reason, ...]:
    """The strongest reasons of one sign (that of `n_signed`), in words."""
    sign = 1.0 if n_signed > 0 else -1.0
    reasons = []
    for weight, name in weighed[: abs(n_signed)]:
        if sign * weight < LEAST_LOG_ODDS:
            break
        text, is_memory = words.say(evidence, name, profile)
        reasons.append(Reason(character=name, text=text, log_odds=weight, is_memory=is_memory))
    return tuple(reasons)


def _memory_share(
    evidence: Evidence, weighed: list[tuple[float, str]], profile: int, words: ReasonWords
) -> float:
    """Share of the weight of evidence that rests on memory."""
    total = sum(abs(w) for w, _ in weighed)
    memory = sum(abs(w) for w, name in weighed if words.say(evidence, name, profile)[1])
    return memory / total if total > 0 else 0.0


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
