"""What speaks for and against a genus, character by character."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.identify.evidence import MEASURES, Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import NOTHING, Key, Scores, Term
from dryslate.core.identify.tables import CharacterTable, FloatArray

BoolArray = NDArray[np.bool_]
LEAST_LOG_ODDS = 0.1  # below: says nothing worth a line
SIZE_U_FACTOR = 2.0  # a size is outside a range where it is so with this many uncertainties
P_EDGE = 1e-12
FREQUENCY_WORD = ("not known in", "rare in", "sometimes in", "usual in")
MEASURE_WORD = {
    "corallite_diameter": "calice width",
    "valley_width": "valley width",
    "colony_diameter": "width of the coral",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """
    What one character or size says of a genus.

    Parameters
    ----------
    character : str
        Character or measure.
    text : str
        In plain words.
    log_odds : float
        Natural log-odds for the genus against all others that this character adds to what the
        rest of the evidence says; below zero: against.
    is_memory : bool
        Whether it rests on rows that no source was opened for.
    """

    character: str
    text: str
    log_odds: float
    is_memory: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """
    How far profiles show what was given, by the data alone.

    Parameters
    ----------
    n_misfits : ndarray of int, shape (n, n_profiles)
        Characters and sizes that the profile is not known to show.
    all_usual : ndarray of bool, shape (n, n_profiles)
        Whether every given state is usual for it; sizes are not looked at.
    by_term : tuple of ndarray of bool, shape (len(term.rows), n_profiles)
        Misfits, in the order of the terms.
    """

    n_misfits: NDArray[np.int16]
    all_usual: BoolArray
    by_term: tuple[BoolArray, ...]


def weights_of_evidence(scores: Scores, term: Term, model: Model) -> FloatArray:
    r"""
    Return what one character adds to the log-odds of each genus against all others.

    Parameters
    ----------
    scores : Scores
    term : Term
        One of its terms.
    model : Model

    Returns
    -------
    ndarray of float, shape (len(term.rows), n_genera)
        Natural logarithm.

    Notes
    -----
    The weight of evidence [1]_ :math:`\ln O(g \mid E) - \ln O(g \mid E \setminus c)`, exact: the
    posterior without the character is :math:`P(p \mid E) / L_c(p)^T`, made to sum to one.

    References
    ----------
    .. [1] Good, I. J. (1950). Probability and the Weighing of Evidence. Griffin, London.
    """
    tempered = model.rates.temperature * term.log_lik
    tempered -= tempered.min(axis=1, keepdims=True)
    without = model.sum_by_genus(scores.p_profile[term.rows] * np.exp(-tempered))
    without /= without.sum(axis=1, keepdims=True)
    return _logit(scores.p_genus[term.rows]) - _logit(without)


def _logit(p: FloatArray) -> FloatArray:
    """Log-odds, kept finite."""
    p = np.clip(p, P_EDGE, 1.0 - P_EDGE)
    value: FloatArray = np.log(p) - np.log1p(-p)
    return value


def find_fits(evidences: Sequence[Evidence], scores: Scores, model: Model) -> Fits:
    """
    Find which profiles are known to show what was given.

    Parameters
    ----------
    evidences : sequence of Evidence
    scores : Scores
    model : Model

    Returns
    -------
    Fits
        A character that is not scored for a profile is no misfit, but not usual either.
    """
    shape = scores.log_lik.shape
    n_misfits, all_usual = np.zeros(shape, np.int16), np.ones(shape, np.bool_)
    by_term = []
    for term in scores.terms:
        if term.name in MEASURES:
            misfit = _size_misfits([evidences[i] for i in term.rows], term.name, model)
        else:
            misfit, usual = _state_fits([evidences[i] for i in term.rows], term.name, model)
            all_usual[term.rows] &= usual
        n_misfits[term.rows] += misfit
        by_term.append(misfit)
    return Fits(n_misfits=n_misfits, all_usual=all_usual, by_term=tuple(by_term))


def _state_fits(
    evidences: Sequence[Evidence], name: str, model: Model
) -> tuple[BoolArray, BoolArray]:
    """Misfit and usual by record and profile, for one character."""
    columns: dict[Key, int] = {}
    index: list[int] = []
    made: list[tuple[BoolArray, BoolArray]] = []
    table = model.tables[name]
    for e in evidences:
        key = key_of(e, name)
        if key not in columns:
            columns[key] = len(made)
            made.append(_fit_columns(table, key))
        index.append(columns[key])
    both = np.array(made)[index]
    return both[:, 0], both[:, 1]


def _fit_columns(table: CharacterTable, key: Key) -> tuple[BoolArray, BoolArray]:
    """Misfit and usual by profile, for one finding."""
    seen = [table.states.index(s) for s in sorted(key[0])]
    absent = [table.states.index(s) for s in sorted(key[1] - key[0])]
    frequency = table.frequency
    others = np.delete(frequency, absent, axis=1)
    misfit = (frequency[:, seen] == 0).any(axis=1) | (others == 0).all(axis=1)
    usual = (frequency[:, seen] == 3).all(axis=1) & (frequency[:, absent] < 3).all(axis=1)
    return misfit & table.is_known, usual & table.is_known


def _size_misfits(evidences: Sequence[Evidence], measure: str, model: Model) -> BoolArray:
    """Whether a size lies outside all that is known of each profile."""
    ranges = model.ranges[measure]
    sizes = [e.sizes[measure] for e in evidences]
    value = np.array([s.value_mm for s in sizes])[:, None]
    slack = SIZE_U_FACTOR * np.array([s.u_mm for s in sizes])[:, None]
    misfit: BoolArray = (value + slack < ranges[:, 0]) | (value - slack > ranges[:, 1])
    return misfit


def key_of(evidence: Evidence, name: str) -> Key:
    """
    Return what a record has of a character.

    Parameters
    ----------
    evidence : Evidence
    name : str

    Returns
    -------
    (frozenset of str, frozenset of str)
        States seen, and states that are not there.
    """
    return evidence.seen.get(name, NOTHING), evidence.not_seen.get(name, NOTHING)


class ReasonWords:
    """
    Plain words of reasons, made once for each finding and profile.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self._made: dict[tuple[str, Key, int], tuple[str, bool]] = {}

    def say(self, evidence: Evidence, name: str, profile: int) -> tuple[str, bool]:
        """Return the words of one reason, and whether it rests on memory."""
        if name in MEASURES:
            return self._size(evidence, name, profile)
        place = (name, key_of(evidence, name), profile)
        made = self._made.get(place)
        if made is None:
            made = self._made[place] = self._states(*place)
        return made

    def _states(self, name: str, key: Key, profile: int) -> tuple[str, bool]:
        """Words for the states of a character."""
        table, genus = self.model.tables[name], self.model.profiles[profile].genus
        topic, words = name.replace("_", " "), table.character.states
        if not table.is_known[profile]:
            told = " and ".join(words[s] for s in sorted(key[0])) or "what is not there"
            return f"{topic}: {told}; not scored for {genus}", True
        parts, memory = [], False
        for state in sorted(key[0]):
            j = table.states.index(state)
            parts.append(f"{words[state]}, {FREQUENCY_WORD[table.frequency[profile, j]]} {genus}")
            memory |= bool(table.is_memory[profile, j])
        for state in sorted(key[1] - key[0]):
            j = table.states.index(state)
            parts.append(
                f"no {words[state]}, {FREQUENCY_WORD[table.frequency[profile, j]]} {genus}"
            )
            memory |= bool(table.is_memory[profile, j])
        return f"{topic}: {'; '.join(parts)}", memory

    def _size(self, evidence: Evidence, name: str, profile: int) -> tuple[str, bool]:
        """Words for a size."""
        size, of = evidence.sizes[name], self.model.profiles[profile]
        low, high = self.model.ranges[name][profile]
        doubt = f" ± {size.u_mm:.2g}" if size.u_mm else ""
        start = f"{MEASURE_WORD[name]} {size.value_mm:.3g}{doubt} mm"
        if not np.isfinite(low):
            return f"{start}; no size is known for {of.genus}", True
        inside = low <= size.value_mm <= high
        row = of.sizes.get(name)
        memory = row is None or row.source.startswith("memory")
        usual = row is not None and row.usual_low_mm <= size.value_mm <= row.usual_high_mm
        if usual and row is not None:
            span = f"usual in {of.genus} ({row.usual_low_mm:g} to {row.usual_high_mm:g} mm)"
        else:
            place = "within the range" if inside else "outside the range"
            span = f"{place} of {of.genus} ({low:g} to {high:g} mm)"
        return f"{start}, {span}", memory
