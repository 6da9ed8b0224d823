"""The answer to one coral: ranked genera with reasons, the verdict, and what to look at next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from dryslate.base.problems import Problem
from dryslate.core.identify.batches import Batch, work_out
from dryslate.core.identify.conflicts import find_conflicts
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import Model, PriorKind
from dryslate.core.identify.questions import (
    NextCharacter,
    TwoWayQuestion,
    find_next,
    find_split,
)
from dryslate.core.identify.reasons import LEAST_LOG_ODDS, Reason, ReasonWords
from dryslate.core.identify.verdict import find_verdict

P_POSSIBLE = 0.05
P_UNSURE = 0.5  # under it, a size that fits nothing is asked about
CHUNK = 512
PRIOR_WORDS: Mapping[PriorKind, str] = {
    "local": "Local frequencies of the genera are weighed in.",
    "met": "No local frequencies are given: how often surveyors meet a genus is weighed in mildly, "
    "from 1 for those met seldom to 8 for those met on nearly every dive (a judgement).",
    "equal": "Every genus of the region counts as equally common.",
}
"""What an answer says of how common it takes the genera to be."""
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
    n_next : int
        So many characters to look at next, at most.
    has_split : bool
        Whether to say what tells the first two apart.
    """

    n_ranked: int = 8
    n_ranked_most: int = 30
    n_reasons: int = 12
    n_next: int = 5
    has_split: bool = True


BATCH = AnswerSettings(n_ranked=3, n_ranked_most=3, n_reasons=3, n_next=3, has_split=False)
"""For batches of many thousands: what a table of names needs."""


class Ranked(NamedTuple):
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
        batch = work_out(
            part,
            model,
            words.columns,
            n_listed=settings.n_ranked_most,
            n_reasons=settings.n_reasons,
            has_next=settings.n_next > 0,
        )
        answers += [_answer(e, i, batch, words, settings) for i, e in enumerate(part)]
    return answers


def _answer(
    evidence: Evidence, i: int, batch: Batch, words: ReasonWords, settings: AnswerSettings
) -> Answer:
    """One answer of a chunk."""
    model = words.model
    p_genus = batch.looked.scores.p_genus[i]
    order = batch.order[i, : int(batch.n_set[i])].tolist()
    pair = int(batch.order[i, 0]), int(batch.order[i, min(1, len(p_genus) - 1)])
    said = find_verdict(p_genus, evidence.is_small, batch.conflict[i], model, pair)
    ranked = _ranked(evidence, i, batch, words, settings)
    split = settings.has_split and pair[0] != pair[1]
    return Answer(
        region=model.region,
        verdict=said.verdict,
        rank=said.rank,
        qualifier=said.qualifier,
        ranked=ranked,
        set95=tuple(model.genera[g] for g in order),
        also_fit=_also_fit(evidence, i, batch, model),
        next=()
        if batch.bits is None
        else find_next(evidence, batch.bits[i], model, settings.n_next, batch.asks[i]),
        splits=find_split(evidence, batch.looked.scores.p_profile[i], pair, model)
        if split
        else None,
        memory_share=batch.memory_share[i],
        prior_words=PRIOR_WORDS[model.prior_kind],
        problems=_problems(evidence, i, batch, model),
    )


def _also_fit(evidence: Evidence, i: int, batch: Batch, model: Model) -> tuple[str, ...]:
    """Genera for which every given state is usual; none where no state is given."""
    if not any(evidence.seen.values()) and not any(evidence.not_seen.values()):
        return ()
    return tuple(model.genera[g] for g in batch.also_fit[i])


def _problems(evidence: Evidence, i: int, batch: Batch, model: Model) -> tuple[Problem, ...]:
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
    unsure = evidence.uses_sizes and batch.p_first[i][0] < P_UNSURE
    if batch.conflict[i] or unsure:
        found += find_conflicts(evidence, i, batch.looked, model)
    return tuple(found)


def _ranked(
    evidence: Evidence, i: int, batch: Batch, words: ReasonWords, settings: AnswerSettings
) -> tuple[Ranked, ...]:
    """The candidates with their reasons."""
    model, n_set = words.model, int(batch.n_set[i])
    n = min(max(settings.n_ranked, n_set), settings.n_ranked_most)
    p, profiles = batch.p_first[i], batch.best[i]
    return tuple(
        Ranked(
            genus=model.genera[genus],
            family=model.families[genus],
            probability=p[k],
            likelihood_word=_likelihood_word(k, p[k], k < n_set),
            for_=_said(evidence, (i, k), profiles[k], batch, words, is_for=True),
            against=_said(evidence, (i, k), profiles[k], batch, words, is_for=False),
        )
        for k, genus in enumerate(batch.first[i][:n])
    )


def _said(
    evidence: Evidence,
    place: tuple[int, int],
    profile: int,
    batch: Batch,
    words: ReasonWords,
    *,
    is_for: bool,
) -> tuple[Reason, ...]:
    """The strongest reasons for or against one candidate (record, place), in words."""
    i, k = place
    strongest, sign = (batch.for_, 1.0) if is_for else (batch.against, -1.0)
    terms, rows = batch.looked.scores.terms, batch.looked.rows[i]
    reasons = []
    for t, weight in zip(strongest.terms[i][k], strongest.log_odds[i][k], strict=True):
        if sign * weight < LEAST_LOG_ODDS:
            break
        term = terms[t]
        text, is_memory = words.say(term, rows[t], evidence, profile, is_for=is_for)
        reasons.append(Reason(term.name, text, weight, is_memory))
    return tuple(reasons)


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
