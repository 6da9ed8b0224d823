"""What speaks for and against a genus, character by character."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dryslate.base.figures import with_doubt
from dryslate.core.identify.evidence import MEASURES, Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import NOTHING, Columns, IntArray, Key, Scores, Term
from dryslate.core.identify.tables import CharacterTable
from dryslate.core.identify.taxa import Profile

BoolArray = NDArray[np.bool_]
LEAST_LOG_ODDS = 0.1  # below: says nothing worth a line
SIZE_U_FACTOR = 2.0  # a size is outside a range where it is so with this many uncertainties
FREQUENCY_WORD = ("not known in", "rare in", "sometimes in", "usual in")
YET_AGAINST = "but more so in the others"
"""Said where what a genus shows speaks against it: the other candidates show it more often."""
YET_FOR = "but even less so in the others"
"""Said where what a genus hardly shows speaks for it: the other candidates show it less often."""
MEASURE_WORD = {
    "corallite_diameter": "calice width",
    "valley_width": "valley width",
    "colony_diameter": "width of the coral",
}


class Reason(NamedTuple):
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


def find_fits(
    evidences: Sequence[Evidence], scores: Scores, model: Model, columns: Columns
) -> Fits:
    """
    Find which profiles are known to show what was given.

    Parameters
    ----------
    evidences : sequence of Evidence
    scores : Scores
    model : Model
    columns : Columns

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
            found = [_fits_of(term.name, key, model, columns) for key in term.keys]
            misfit, usual = (np.array(c)[term.index] for c in zip(*found, strict=True))
            all_usual[term.rows] &= usual
        n_misfits[term.rows] += misfit
        by_term.append(misfit)
    return Fits(n_misfits=n_misfits, all_usual=all_usual, by_term=tuple(by_term))


def _fits_of(name: str, key: Key, model: Model, columns: Columns) -> tuple[BoolArray, BoolArray]:
    """Misfit and usual by profile, made once."""
    if (name, key) not in columns.fits:
        columns.fits[name, key] = _fit_columns(model.tables[name], key)
    return columns.fits[name, key]


def _fit_columns(table: CharacterTable, key: Key) -> tuple[BoolArray, BoolArray]:
    """Misfit and usual by profile, for one finding."""
    seen = [table.states.index(s) for s in sorted(key[0])]
    absent = [table.states.index(s) for s in sorted(key[1] - key[0])]
    frequency = table.frequency
    shown = frequency[:, seen]
    misfit, usual = (shown == 0).any(axis=1), (shown == 3).all(axis=1)
    if absent:
        misfit |= (np.delete(frequency, absent, axis=1) == 0).all(axis=1)
        usual &= (frequency[:, absent] < 3).all(axis=1)
    return misfit & table.is_known, usual & table.is_known


def _size_misfits(evidences: Sequence[Evidence], measure: str, model: Model) -> BoolArray:
    """Whether a size lies outside all that is known of each profile."""
    ranges = model.ranges[measure]
    sizes = [e.sizes[measure] for e in evidences]
    value = np.array([s.value_mm for s in sizes])[:, None]
    slack = SIZE_U_FACTOR * np.array([s.u_mm for s in sizes])[:, None]
    misfit: BoolArray = (value + slack < ranges[:, 0]) | (value - slack > ranges[:, 1])
    return misfit


def memory_of(term: Term, profiles: IntArray, model: Model, columns: Columns) -> BoolArray:
    """
    Tell whether what a term says of one profile of each record rests on memory.

    Parameters
    ----------
    term : Term
    profiles : ndarray of int, shape (len(term.rows),)
    model : Model
    columns : Columns

    Returns
    -------
    ndarray of bool, shape (len(term.rows),)
    """
    if term.name in MEASURES:
        place = (term.name, (NOTHING, NOTHING))
        if place not in columns.memory:
            is_memory = [_is_size_memory(p, term.name) for p in model.profiles]
            columns.memory[place] = np.array(is_memory, np.bool_)
        return columns.memory[place][profiles]
    for key in term.keys:
        if (term.name, key) not in columns.memory:
            columns.memory[term.name, key] = _memory_column(model.tables[term.name], key)
    by_key = np.array([columns.memory[term.name, key] for key in term.keys])
    told: BoolArray = by_key[term.index, profiles]
    return told


def _memory_column(table: CharacterTable, key: Key) -> BoolArray:
    """Whether any row of a finding rests on memory, by profile."""
    at = [table.states.index(s) for s in sorted(key[0] | key[1])]
    memory: BoolArray = table.is_memory[:, at].any(axis=1) | ~table.is_known
    return memory


def _is_size_memory(profile: Profile, measure: str) -> bool:
    """Whether no source was opened for a size."""
    row = profile.sizes.get(measure)
    return row.source.startswith("memory") if row else not profile.kinds


class ReasonWords:
    """
    Plain words of reasons, made once for each finding and profile.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.columns = Columns()
        self._made: dict[tuple[str, Key, int, bool], tuple[str, bool]] = {}
        self._spans: dict[tuple[str, int], SizeSpan] = {}
        self._started: tuple[Evidence | None, str, str] = (None, "", "")

    def say(
        self, term: Term, j: int, evidence: Evidence, profile: int, *, is_for: bool
    ) -> tuple[str, bool]:
        """
        Return the words of row `j` of a term, and whether they rest on memory.

        A genus is weighed against all others: where a usual state speaks against it, or a rare one
        for it, the words say so.
        """
        if not term.keys:
            return self._size(evidence, term.name, profile, is_for=is_for)
        place = (term.name, term.keys[term.index[j]], profile, is_for)
        made = self._made.get(place)
        if made is None:
            made = self._made[place] = self._states(*place)
        return made

    def _states(self, name: str, key: Key, profile: int, is_for: bool) -> tuple[str, bool]:
        """Words for the states of a character."""
        table, genus = self.model.tables[name], self.model.profiles[profile].genus
        topic, words = name.replace("_", " "), table.character.states
        if not table.is_known[profile]:
            told = " and ".join(words[s] for s in sorted(key[0])) or "what is not there"
            why = "nothing to look at in" if table.character.is_for_some else "not scored for"
            return f"{topic}: {told}; {why} {genus}", True
        frequency = table.frequency[profile]
        parts = [
            f"{no}{words[s]}, {FREQUENCY_WORD[frequency[table.states.index(s)]]} {genus}"
            for no, states in (("", key[0]), ("not ", key[1] - key[0]))
            for s in sorted(states)
        ]
        often = [frequency[table.states.index(s)] for s in key[0]]
        denied = [frequency[table.states.index(s)] for s in key[1] - key[0]]
        shows = [f == 3 for f in often] + [f == 0 for f in denied]
        lacks = [f <= 1 for f in often] + [f == 3 for f in denied]
        if all(lacks if is_for else shows):
            parts.append(YET_FOR if is_for else YET_AGAINST)
        at = [table.states.index(s) for s in key[0] | key[1]]
        return f"{topic}: {'; '.join(parts)}", bool(table.is_memory[profile, at].any())

    def _size(
        self, evidence: Evidence, name: str, profile: int, *, is_for: bool
    ) -> tuple[str, bool]:
        """Words for a size."""
        size = evidence.sizes[name]
        span = self._spans.get((name, profile))
        if span is None:
            span = self._spans[name, profile] = _span_of(name, profile, self.model)
        if self._started[0] is not evidence or self._started[1] != name:
            words = f"{MEASURE_WORD[name]} {with_doubt(size.value_mm, size.u_mm)}"
            self._started = (evidence, name, words)
        return self._started[2] + span.words(size.value_mm, is_for), span.is_memory


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeSpan:
    """
    What is known of a size of a profile, in words that follow the size.

    Parameters
    ----------
    low, high, usual_low, usual_high : float
        In millimetres; not a number where it is not known.
    unknown, usual, inside, outside : str
        Said where nothing is known, and of a size in the usual range, within the full range, or
        beyond.
    is_memory : bool
    """

    low: float
    high: float
    usual_low: float
    usual_high: float
    unknown: str
    usual: str
    inside: str
    outside: str
    is_memory: bool

    def words(self, value_mm: float, is_for: bool) -> str:
        """Return what to say of a size."""
        if not math.isfinite(self.low):
            return self.unknown
        inside = self.low <= value_mm <= self.high
        usual = self.usual_low <= value_mm <= self.usual_high
        said = self.usual if usual else self.inside if inside else self.outside
        if inside != is_for and (usual or not inside):
            said += f"; {YET_FOR if is_for else YET_AGAINST}"
        return said


def _span_of(name: str, profile: int, model: Model) -> SizeSpan:
    """What is known of a size of a profile."""
    of, measure = model.profiles[profile], MEASURE_WORD[name]
    low, high = model.ranges[name][profile].tolist()
    row = of.sizes.get(name)
    usual_low, usual_high = (row.usual_low_mm, row.usual_high_mm) if row else (math.nan, math.nan)
    full = f"of {of.genus} ({low:g} to {high:g} mm)"
    return SizeSpan(
        low=low,
        high=high,
        usual_low=usual_low,
        usual_high=usual_high,
        unknown=f"; no {measure} is known for {of.genus}",
        usual=f", usual in {of.genus} ({usual_low:g} to {usual_high:g} mm)",
        inside=f", within the range {full}",
        outside=f", outside the range {full}",
        is_memory=_is_size_memory(of, name) if math.isfinite(low) else True,
    )
