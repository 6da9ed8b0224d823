"""What to look at next: the expected information of each character, weighed by the effort."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from dryslate.core.identify.evidence import CALICES, MEASURES, Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.tables import SIZE_STEPS_LN, FloatArray

LEAST_BITS = 0.02  # below: not worth a look
LEAST_SPLIT_BITS = 0.05  # below: the answer would not tell two genera apart
LEAST_MASS = 1e-3  # of a genus: below, its looks matter for nothing
N_NEXT = 5
MEASURE_QUESTION = {
    "corallite_diameter": "How wide is one calice, from wall to wall, in millimetres?",
    "valley_width": "How wide is a valley, from ridge to ridge, in millimetres?",
    "colony_diameter": "How wide is the whole coral, in millimetres?",
}


class NextCharacter(NamedTuple):
    """
    A character or size worth looking at.

    Parameters
    ----------
    character : str
    question : str
    expected_bits : float
        Expected information on the genus, with the chance that it cannot be told.
    seen_with : str
        ``eye``, ``lens`` or ``scale``.
    """

    character: str
    question: str
    expected_bits: float
    seen_with: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoWayQuestion:
    """
    What tells the two most probable genera apart.

    Parameters
    ----------
    genus_a, genus_b : str
    character, question : str
        Empty where no character in the data does.
    shown_by_a, shown_by_b : str
        Plain words of the state (or size) that speaks for each.
    expected_bits : float
        Of one bit that would decide.
    seen_with : str
    how_to_tell, source : str
        Text of the look-alike pair and its source; empty where there is none.
    """

    genus_a: str
    genus_b: str
    character: str
    question: str
    shown_by_a: str
    shown_by_b: str
    expected_bits: float
    seen_with: str
    how_to_tell: str
    source: str


def expected_bits(p_profile: FloatArray, model: Model) -> FloatArray:
    r"""
    Return how much each question is expected to tell of the genus.

    Parameters
    ----------
    p_profile : ndarray of float, shape (n, n_profiles)
    model : Model

    Returns
    -------
    ndarray of float, shape (n, n_questions)
        Bits, in the order of ``model.ask``; zero or more.

    Notes
    -----
    Mutual information of genus and answer [1]_:
    :math:`I(G; O) = H(O) - \sum_g P(g)\,H(O \mid g)`, times the share of the probability for which
    the question is scored at all, times the chance that it can be told. The answer to come is
    taken as independent of what was seen, given the profile, and is not tempered: the figure is a
    little too high, the order stays.

    References
    ----------
    .. [1] Lindley, D. V. (1956). On a measure of the information provided by an experiment.
       Annals of Mathematical Statistics 27, 986-1005.
    """
    ask = model.ask
    p_answer = p_profile @ ask.p_answer
    of_answer = _sum_blocks(_plogp(p_answer), model)
    bits = -of_answer - p_profile @ ask.entropy_bits
    for g in range(len(model.genera)):
        rows = model.rows_of(g)
        if rows.stop - rows.start > 1:  # telling looks of one genus apart tells nothing of it
            total = p_profile[:, rows].sum(axis=1, keepdims=True)
            few = np.flatnonzero(total[:, 0] > LEAST_MASS)
            within = p_profile[few, rows]
            joint = within @ ask.p_answer[rows]
            entropy = _plogp(total[few]) - _sum_blocks(_plogp(joint), model)
            bits[few] -= entropy - within @ ask.entropy_bits[rows]
    bits *= (p_profile @ ask.is_known) * ask.p_told
    return np.maximum(bits, 0.0)


def _plogp(p: FloatArray) -> FloatArray:
    """Return p log2 p, zero at zero."""
    value: FloatArray = p * np.log2(np.maximum(p, 1e-300))
    return value


def _sum_blocks(values: FloatArray, model: Model) -> FloatArray:
    """Sum over the answers of each question."""
    return np.add.reduceat(values, model.ask.first, axis=1)


def by_worth(bits: FloatArray, model: Model) -> list[list[int]]:
    """
    Order questions by what they tell over the effort, for many records at once.

    Parameters
    ----------
    bits : ndarray of float, shape (n, n_questions)
        As of `expected_bits`.
    model : Model

    Returns
    -------
    list of list of int
        Questions by their place in ``model.ask``, the best first; -1 stands after the last that
        tells enough to be worth a look.
    """
    worth = np.where(bits >= LEAST_BITS, bits / model.ask.effort, 0.0)
    order = np.argsort(-worth, axis=1, kind="stable")
    order[np.take_along_axis(worth, order, axis=1) <= 0.0] = -1
    found: list[list[int]] = order.tolist()
    return found


def find_next(
    evidence: Evidence,
    bits: FloatArray,
    model: Model,
    n_most: int = N_NEXT,
    order: Sequence[int] | None = None,
) -> tuple[NextCharacter, ...]:
    """
    Return the characters most worth looking at next.

    Parameters
    ----------
    evidence : Evidence
        What it has, or could not tell, is not asked again.
    bits : ndarray of float, shape (n_questions,)
        One row of `expected_bits`.
    model : Model
    n_most : int
    order : sequence of int or None
        The same row of `by_worth`, where it was worked out for many at once.

    Returns
    -------
    tuple of NextCharacter
        By bits over effort; empty where nothing would tell anything.
    """
    ask = model.ask
    done = _done(evidence)
    open_: list[int] = []
    for i in by_worth(bits[None], model)[0] if order is None else order:
        if i < 0 or len(open_) == n_most:
            break
        if ask.names[i] not in done:
            open_.append(i)
    return tuple(
        NextCharacter(
            character=ask.names[i],
            question=question_of(ask.names[i], model),
            expected_bits=float(bits[i]),
            seen_with=ask.seen_with[i],
        )
        for i in open_
    )


def _done(evidence: Evidence) -> AbstractSet[str]:
    """Characters and measures that were looked at already."""
    done = {*evidence.seen, *evidence.unclear, *evidence.sizes}
    done.update(c for c, states in evidence.not_seen.items() if states)
    if not done.isdisjoint(CALICES):
        done.update(CALICES)
    if evidence.is_small:
        done.update(MEASURES)
    return done


def question_of(name: str, model: Model) -> str:
    """
    Return what to ask of a character or measure.

    Parameters
    ----------
    name : str
    model : Model

    Returns
    -------
    str
    """
    character = model.taxa.characters.get(name)
    return character.question if character else MEASURE_QUESTION[name]


def find_split(
    evidence: Evidence, p_profile: FloatArray, pair: tuple[int, int], model: Model
) -> TwoWayQuestion:
    """
    Return the question that best tells two genera apart.

    Parameters
    ----------
    evidence : Evidence
    p_profile : ndarray of float, shape (n_profiles,)
    pair : (int, int)
        Two genera, by their place in the model.
    model : Model

    Returns
    -------
    TwoWayQuestion
        By the Jensen-Shannon divergence of their answers [1]_ over the effort; without a
        character where none reaches 0.05 bits.

    References
    ----------
    .. [1] Lin, J. (1991). Divergence measures based on the Shannon entropy. IEEE Transactions on
       Information Theory 37, 145-151.
    """
    ask = model.ask
    both = np.stack([_answers_of(p_profile, g, model) for g in pair])
    middle = both.mean(axis=0, keepdims=True)
    bits = _sum_blocks(0.5 * _plogp(both).sum(axis=0, keepdims=True) - _plogp(middle), model)[0]
    known = np.prod([_known_of(g, model) for g in pair], axis=0)
    bits = np.maximum(bits, 0.0) * known * ask.p_told
    done = _done(evidence)
    open_ = np.array([name not in done for name in ask.names])
    best = int(np.argmax(np.where(open_, bits / ask.effort, -1.0)))
    a, b = (model.genera[g] for g in pair)
    text = model.pairs.get(frozenset((a, b)))
    is_told = bool(open_[best]) and bits[best] >= LEAST_SPLIT_BITS
    shown = _shown_by(both, best, model) if is_told else ("", "")
    return TwoWayQuestion(
        genus_a=a,
        genus_b=b,
        character=ask.names[best] if is_told else "",
        question=question_of(ask.names[best], model) if is_told else "",
        shown_by_a=shown[0],
        shown_by_b=shown[1],
        expected_bits=float(bits[best]) if is_told else 0.0,
        seen_with=ask.seen_with[best] if is_told else "",
        how_to_tell=text.how_to_tell if text else "",
        source=text.source if text else "",
    )


def _answers_of(p_profile: FloatArray, genus: int, model: Model) -> FloatArray:
    """Chance of each answer for a genus, its profiles weighed by their probability."""
    rows = model.rows_of(genus)
    weights = p_profile[rows] + 1e-12 * model.prior[rows]
    answers: FloatArray = (weights / weights.sum()) @ model.ask.p_answer[rows]
    return answers


def _known_of(genus: int, model: Model) -> FloatArray:
    """Whether each question is scored for any profile of a genus."""
    known: FloatArray = model.ask.is_known[model.rows_of(genus)].max(axis=0)
    return known


def _shown_by(both: FloatArray, question: int, model: Model) -> tuple[str, str]:
    """Plain words of what speaks for each of the two."""
    ask, name = model.ask, model.ask.names[question]
    first = ask.first[question]
    if name not in model.tables:
        sizes = [_middle_mm(p[first : first + _n_answers(question, model)]) for p in both]
        return f"about {sizes[0]:.2g} mm", f"about {sizes[1]:.2g} mm"
    states = model.tables[name].states
    block = both[:, first : first + len(states)]
    difference = block[0] - block[1]
    words = model.taxa.characters[name].states
    return words[states[int(difference.argmax())]], words[states[int(difference.argmin())]]


def _n_answers(question: int, model: Model) -> int:
    """Number of answers of a question."""
    last = question + 1 == len(model.ask.first)
    stop = model.ask.p_answer.shape[1] if last else model.ask.first[question + 1]
    return int(stop - model.ask.first[question])


def _middle_mm(p_class: FloatArray) -> float:
    """Median of the sizes over their classes, in millimetres."""
    i = int(np.searchsorted(np.cumsum(p_class), 0.5))
    i = min(i, len(p_class) - 1)
    return float(np.exp(0.5 * (SIZE_STEPS_LN[i] + SIZE_STEPS_LN[i + 1])))
