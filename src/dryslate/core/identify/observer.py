"""How observers err: from the true state of a character to the one that is written down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.taxa import Character, Frequency, TaxaData

FloatArray = NDArray[np.float64]

CLASS_ERROR = {
    ("eye", False): 0.02,
    ("eye", True): 0.05,
    ("lens", False): 0.04,
    ("lens", True): 0.08,
    ("broken", False): 0.03,
    ("broken", True): 0.05,
}
"""Error rate where nothing is fitted, by how a character is seen and whether it is hard: of a
trained observer who may say "could not tell". A judgement; no study of it was found."""
CLASS_UNCLEAR = {"eye": 0.05, "lens": 0.20, "broken": 0.50}
"""How often a look ends in "could not tell", where nothing is fitted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorRates:
    """
    What is known of observers and of the data's own faults.

    Parameters
    ----------
    error, unclear : Mapping of str to float
        By character: chance that a wrong state is written down; chance that it cannot be told. A
        character that is not listed takes the rate of its class (`CLASS_ERROR`).
    slip : float
        Chance that an observation has nothing to do with the coral or that the data are wrong on
        it, at any character: the tail that keeps every genus in.
    size_slip : float
        The same for a size.
    second_state : float
        Chance that a colony's second state is noted too where it shows one.
    asked_anyway : float
        How often a character that can be asked of some corals only is noted on one that has no such
        thing, relative to one that has.
    weights : Mapping of str to float
        Relative weight of ``usual``, ``sometimes`` and ``rare`` states.
    temperature : float
        Power that the joint likelihood is raised to, 0 to 1: characters of one genus depend on each
        other, so that ten agreeing ones are worth less than ten independent ones.
    """

    error: Mapping[str, float] = field(default_factory=dict)
    unclear: Mapping[str, float] = field(default_factory=dict)
    slip: float = 0.03
    size_slip: float = 0.05
    second_state: float = 0.15
    asked_anyway: float = 0.1
    weights: Mapping[Frequency, float] = field(
        default_factory=lambda: {"usual": 1.0, "sometimes": 0.36, "rare": 0.09}
    )
    temperature: float = 1.0


def error_of(character: Character, rates: ErrorRates) -> float:
    """
    Return the chance that a wrong state of a character is written down.

    Parameters
    ----------
    character : Character
    rates : ErrorRates

    Returns
    -------
    float
        Its own rate, or that of its class.
    """
    known = rates.error.get(character.character)
    return CLASS_ERROR[character.seen_with, character.is_hard] if known is None else known


def unclear_of(character: Character, rates: ErrorRates) -> float:
    """
    Return the chance that a look at a character ends in "could not tell".

    Parameters
    ----------
    character : Character
    rates : ErrorRates

    Returns
    -------
    float
    """
    known = rates.unclear.get(character.character)
    return CLASS_UNCLEAR[character.seen_with] if known is None else known


def nearness_of(character: Character, taxa: TaxaData) -> FloatArray:
    """
    Return to which states a slip goes from each state, rows summing to one.

    States that genera show together (as usual and sometimes of one character) are near each other
    and are taken for each other more often; a quarter of all slips goes anywhere.

    Parameters
    ----------
    character : Character
    taxa : TaxaData

    Returns
    -------
    ndarray of float, shape (n_states, n_states)
        Zero diagonal; all zero for a character of one state.
    """
    states = list(character.states)
    n = len(states)
    if n < 2:
        return np.zeros((n, n))
    place = {state: j for j, state in enumerate(states)}
    listed = np.zeros((len(taxa.profiles), n))
    for i, profile in enumerate(taxa.profiles):
        for state in profile.states.get(character.character, ()):
            if state in place:
                listed[i, place[state]] = 1.0
    together = listed.T @ listed
    np.fill_diagonal(together, 0.0)
    together += 1e-9 * (1.0 - np.eye(n))
    anywhere = (1.0 - np.eye(n)) / (n - 1)
    nearness: FloatArray = 0.75 * together / together.sum(axis=1, keepdims=True) + 0.25 * anywhere
    return nearness


def confusion_of(character: Character, rates: ErrorRates, nearness: FloatArray) -> FloatArray:
    r"""
    Return the chance of each written state given the true one.

    Parameters
    ----------
    character : Character
    rates : ErrorRates
    nearness : ndarray of float, shape (n_states, n_states)
        As of `nearness_of`.

    Returns
    -------
    ndarray of float, shape (n_states, n_states)
        Rows are true states and sum to one.

    Notes
    -----
    :math:`C = (1 - \varepsilon)\,[(1 - e) I + e K] + \varepsilon / n` with the error rate
    :math:`e`, the slips' targets :math:`K` and the tail :math:`\varepsilon` (`ErrorRates.slip`):
    no entry is below :math:`\varepsilon / n`.
    """
    n = len(nearness)
    if n < 2:
        return np.ones((n, n))
    e = error_of(character, rates)
    plain = (1.0 - e) * np.eye(n) + e * nearness
    return (1.0 - rates.slip) * plain + rates.slip / n


def state_shares(
    listed: Mapping[str, Frequency], states: tuple[str, ...], rates: ErrorRates
) -> FloatArray:
    """
    Return how often a colony shows each state, by the weights of the frequencies.

    Parameters
    ----------
    listed : Mapping of str to str
        Frequency by state, of one profile and character.
    states : tuple of str
        All states of the character, in order.
    rates : ErrorRates

    Returns
    -------
    ndarray of float, shape (n_states,)
        Sums to one; even where nothing is listed.

    Examples
    --------
    >>> state_shares({"a": "usual", "b": "sometimes"}, ("a", "b", "c"), ErrorRates()).round(2)
    array([0.74, 0.26, 0.  ])
    """
    weights = np.array([rates.weights[listed[s]] if s in listed else 0.0 for s in states])
    total = weights.sum()
    return weights / total if total > 0 else np.full(len(states), 1.0 / max(len(states), 1))


def shares_by_code(frequency: NDArray[np.int8], rates: ErrorRates) -> FloatArray:
    """
    Return how often colonies show each state, as `state_shares`, for many profiles at once.

    Parameters
    ----------
    frequency : ndarray of int, shape (n, n_states)
        3 usual, 2 sometimes, 1 rare, 0 not listed.
    rates : ErrorRates

    Returns
    -------
    ndarray of float, shape (n, n_states)
        Rows sum to one; even where nothing is listed.
    """
    by_code = np.array([0.0, *(rates.weights[f] for f in ("rare", "sometimes", "usual"))])
    weights: FloatArray = by_code[frequency]
    weights[weights.sum(axis=1) <= 0.0] = 1.0
    weights /= weights.sum(axis=1, keepdims=True)
    return weights
