"""Tables of a model: characters over profiles, and the questions side by side."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.evidence import MEASURES
from dryslate.core.identify.kinds import LOOKS_MIXED, KindTable, Looks
from dryslate.core.identify.observer import (
    ErrorRates,
    confusion_of,
    nearness_of,
    shares_by_code,
    unclear_of,
)
from dryslate.core.identify.taxa import (
    Character,
    Profile,
    TaxaData,
)

FloatArray = NDArray[np.float64]
ERF = np.vectorize(math.erf, otypes=[np.float64])
"""Of the standard library: the one in scipy takes longer to load than a whole answer."""
BoolArray = NDArray[np.bool_]

FREQUENCY_CODE: Mapping[str, int] = {"rare": 1, "sometimes": 2, "usual": 3}
EFFORT: Mapping[str, float] = {"eye": 1.0, "lens": 2.0, "scale": 2.0}
HARD_EFFORT = 1.5
UNMEASURED = 0.1  # of tries to measure fail
SIZE_STEPS_LN = np.linspace(math.log(0.1), math.log(1000.0), 33)  # classes of sizes asked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CharacterTable:
    """
    One character over the profiles of a region.

    Parameters
    ----------
    character : Character
    states : tuple of str
    p_written : ndarray of float, shape (n_profiles, n_states)
        Chance that an observer writes each state, rows summing to one.
    frequency : ndarray of int, shape (n_profiles, n_states)
        3 usual, 2 sometimes, 1 rare, 0 not listed.
    is_memory : ndarray of bool, shape (n_profiles, n_states)
        Whether what is known of the state rests on memory; a state that is not listed counts so.
    is_known : ndarray of bool, shape (n_profiles,)
        False: the character is not scored, and the row is what its family and the region show.
    log_noted : ndarray of float, shape (n_profiles,)
        Natural log of how often it is noted at all, relative to profiles that have it: below zero
        only where it can be asked of some corals only, and not of this one.
    entropy_bits : ndarray of float, shape (n_profiles,)
        Of the rows of `p_written`.
    p_unclear : float
        Chance that a look ends in "could not tell".
    """

    character: Character
    states: tuple[str, ...]
    p_written: FloatArray
    frequency: NDArray[np.int8]
    is_memory: BoolArray
    is_known: BoolArray
    log_noted: FloatArray
    entropy_bits: FloatArray
    p_unclear: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AskTable:
    """
    All questions that can be asked next, side by side.

    Parameters
    ----------
    names : tuple of str
        Characters that are not seen on broken surfaces only, then measures.
    seen_with : tuple of str
        ``eye``, ``lens``, or ``scale`` for a measure.
    p_answer : ndarray of float, shape (n_profiles, n_answers)
        Chance of each answer; sizes are cut into classes of their logarithm.
    first : ndarray of int, shape (n_questions,)
        Column of the first answer of each question.
    entropy_bits, is_known : ndarray of float, shape (n_profiles, n_questions)
    p_told : ndarray of float, shape (n_questions,)
        Chance that the look ends in an answer.
    effort : ndarray of float, shape (n_questions,)
        Relative: 1 by eye, 2 with a lens or a scale, half as much again where it is hard.
    """

    names: tuple[str, ...]
    seen_with: tuple[str, ...]
    p_answer: FloatArray
    first: NDArray[np.intp]
    entropy_bits: FloatArray
    is_known: FloatArray
    p_told: FloatArray
    effort: FloatArray


def character_table(
    character: Character,
    taxa: TaxaData,
    profiles: tuple[Profile, ...],
    family_of: NDArray[np.str_],
    rates: ErrorRates,
    looks: Looks,
) -> CharacterTable:
    """One character over the profiles."""
    name, states = character.character, tuple(character.states)
    confusion = confusion_of(character, rates, nearness_of(character, taxa))
    shape = (len(profiles), len(states))
    p_written, frequency = np.zeros(shape), np.zeros(shape, np.int8)
    is_memory = np.ones(shape, np.bool_)
    is_known = np.array([name in p.states for p in profiles])
    place = {state: j for j, state in enumerate(states)}
    for i in np.flatnonzero(is_known).tolist():
        for state, row in profiles[i].states[name].items():
            if state in place:
                frequency[i, place[state]] = FREQUENCY_CODE[row.frequency]
                is_memory[i, place[state]] = row.is_memory
    shown = shares_by_code(frequency[is_known], rates)
    of_genus = looks.mean(shown, np.flatnonzero(is_known))
    p_written[is_known] = ((1.0 - LOOKS_MIXED) * shown + LOOKS_MIXED * of_genus) @ confusion
    _fill_unknown(p_written, is_known, family_of)
    return CharacterTable(
        character=character,
        states=states,
        p_written=p_written,
        frequency=frequency,
        is_memory=is_memory,
        is_known=is_known,
        log_noted=np.where(
            is_known | (not character.is_for_some), 0.0, math.log(rates.asked_anyway)
        ),
        entropy_bits=_entropy_bits(p_written),
        p_unclear=unclear_of(character, rates),
    )


def _fill_unknown(p_written: FloatArray, is_known: BoolArray, family_of: NDArray[np.str_]) -> None:
    """Give the rows that are not known what their family and the region show (in place)."""
    n_states = p_written.shape[1]
    known = p_written[is_known]
    average = known.mean(axis=0) if len(known) else np.full(n_states, 1.0 / max(n_states, 1))
    for family in set(family_of[~is_known].tolist()):
        mine = family_of == family
        kin = p_written[mine & is_known]
        p_written[mine & ~is_known] = 0.5 * average + 0.5 * (
            kin.mean(axis=0) if len(kin) else average
        )


def growth_table(table: CharacterTable, kinds: KindTable) -> CharacterTable:
    """The growth form's table with the kinds weighed in, so that it agrees with sizes."""
    p_written = np.add.reduceat(kinds.share[:, None] * kinds.p_growth, kinds.starts, axis=0)
    return CharacterTable(
        character=table.character,
        states=table.states,
        p_written=p_written,
        frequency=table.frequency,
        is_memory=table.is_memory,
        is_known=table.is_known,
        log_noted=table.log_noted,
        entropy_bits=_entropy_bits(p_written),
        p_unclear=table.p_unclear,
    )


def ask_table(
    tables: Mapping[str, CharacterTable], kinds: KindTable, profiles: tuple[Profile, ...]
) -> AskTable:
    """
    Lay all questions out side by side.

    Parameters
    ----------
    tables : Mapping of str to CharacterTable
    kinds : KindTable
    profiles : tuple of Profile

    Returns
    -------
    AskTable
    """
    asked = [t for t in tables.values() if t.character.seen_with != "broken"]
    measures = [m for m in MEASURES if any(_has_measure(p, m) for p in profiles)]
    blocks = [t.p_written for t in asked] + [_size_classes(kinds, m) for m in measures]
    known = [t.is_known for t in asked] + [
        np.array([_has_measure(p, m) for p in profiles]) for m in measures
    ]
    with_eye = [t.character.seen_with for t in asked] + ["scale"] * len(measures)
    is_hard = [t.character.is_hard for t in asked] + [False] * len(measures)
    widths = [b.shape[1] for b in blocks]
    return AskTable(
        names=(*(t.character.character for t in asked), *measures),
        seen_with=tuple(with_eye),
        p_answer=np.hstack(blocks),
        first=np.concatenate([[0], np.cumsum(widths)[:-1]]).astype(np.intp),
        entropy_bits=np.stack([_entropy_bits(b) for b in blocks], axis=1),
        is_known=np.stack(known, axis=1).astype(float),
        p_told=1.0 - np.array([t.p_unclear for t in asked] + [UNMEASURED] * len(measures)),
        effort=np.array(
            [
                EFFORT[w] * (HARD_EFFORT if h else 1.0)
                for w, h in zip(with_eye, is_hard, strict=True)
            ]
        ),
    )


def _has_measure(profile: Profile, measure: str) -> bool:
    """Whether a size is known for a profile or one of its kinds."""
    return measure in profile.sizes or any(measure in k.sizes for k in profile.kinds)


def _size_classes(kinds: KindTable, measure: str) -> FloatArray:
    """Chance of each size class by profile."""
    z = (SIZE_STEPS_LN[None, :] - kinds.log_mean[measure][:, None]) / kinds.log_sd[measure][:, None]
    below = 0.5 * (1.0 + ERF(z / math.sqrt(2.0)))
    below[:, 0], below[:, -1] = 0.0, 1.0
    by_kind = 0.98 * np.diff(below, axis=1) + 0.02 / (len(SIZE_STEPS_LN) - 1)
    classes: FloatArray = np.add.reduceat(by_kind * kinds.share[:, None], kinds.starts, axis=0)
    return classes


def _entropy_bits(p: FloatArray) -> FloatArray:
    """Entropy of each row, in bits."""
    bits: FloatArray = -(p * np.log2(np.maximum(p, 1e-300))).sum(axis=1)
    return bits
