"""Evidence that no genus of the region shows: which of it would have to be a slip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from dryslate.base.problems import Problem
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import Model
from dryslate.core.identify.posterior import Scores
from dryslate.core.identify.reasons import MEASURE_WORD, BoolArray, Fits
from dryslate.core.identify.tables import FloatArray

FAR_FACTOR = 2.5  # a size this far beyond a range is asked about if a power of ten would fit
NO_STATE = ""  # a character without a state
MUCH = 0.25  # of the probability by all else: a size that fits so much of it is not asked about


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looked:
    """
    What was worked out for a batch.

    Parameters
    ----------
    scores : Scores
    fits : Fits
    rows : list of list of int
        By record: its row in each term, -1 where it does not have it.
    """

    scores: Scores
    fits: Fits
    rows: list[list[int]]


def find_conflicts(evidence: Evidence, record: int, looked: Looked, model: Model) -> list[Problem]:
    """
    Name evidence that contradicts itself.

    Parameters
    ----------
    evidence : Evidence
    record : int
        Its row.
    looked : Looked
    model : Model

    Returns
    -------
    list of Problem
        ``identify-nothing-has-all`` if no genus of the region is known to show all that was
        given, with the one thing without which one would fit; ``identify-size-misfit`` if a
        size fits by a power of ten only.
    """
    found = _size_slips(evidence, record, looked, model)
    misfits = looked.fits.n_misfits[record]
    least = int(misfits.min())
    if least == 0:
        return found
    fitting = np.where(misfits == least, looked.scores.p_profile[record], 0.0)
    looks = model.rows_of(int(model.sum_by_genus(fitting).argmax()))
    best = looks.start + int(fitting[looks].argmax())
    missing = _missing(record, best, looked)
    genus = model.profiles[best].genus
    if least == 1:
        told = f"without {missing[0]} it would be {genus}"
    else:
        told = f"the nearest is {genus}, without {' and '.join(missing)}"
    where = f"in {model.region}" if model.region else "in the data"
    message = f"nothing {where} has all of these; {told}"
    elsewhere = _elsewhere(evidence, model)
    if elsewhere:
        message += f"; {' and '.join(elsewhere)}, not known from there, would have them all"
    return [
        *found,
        Problem(
            slug="identify-nothing-has-all",
            severity="warning",
            place=", ".join(missing),
            message=message,
            fix="Look at it again; if it stays, say so in the remarks.",
        ),
    ]


def has_conflict(fits: Fits) -> BoolArray:
    """
    Tell for which records no profile shows all that was given.

    Parameters
    ----------
    fits : Fits

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    conflict: BoolArray = fits.n_misfits.min(axis=1) > 0
    return conflict


def _missing(record: int, profile: int, looked: Looked) -> list[str]:
    """Characters and sizes of a record that a profile is not known to show."""
    return [
        looked.scores.terms[t].name
        for t, j in enumerate(looked.rows[record])
        if j >= 0 and looked.fits.by_term[t][j, profile]
    ]


def _elsewhere(evidence: Evidence, model: Model) -> list[str]:
    """Genera of other regions that are known to show every state; at most three."""
    left = (1 << len(model.elsewhere)) - 1 if evidence.seen else 0
    for name, states in evidence.seen.items():
        for state in states or (NO_STATE,):
            left &= _who_shows(model, name, state)
        if not left:
            return []
    return sorted({p.genus for i, p in enumerate(model.elsewhere) if left >> i & 1})[:3]


@lru_cache(maxsize=4096)
def _who_shows(model: Model, name: str, state: str) -> int:
    """
    Profiles of other regions that are known to show a state, as bits.

    With `NO_STATE`: those of which the character is scored.
    """
    shown = 0
    for i, profile in enumerate(model.elsewhere):
        states = profile.states.get(name)
        if states is not None and (state == NO_STATE or state in states):
            shown |= 1 << i
    return shown


def _size_slips(evidence: Evidence, record: int, looked: Looked, model: Model) -> list[Problem]:
    """Ask about sizes that fit the likeliest profile by a power of ten only."""
    found: list[Problem] = []
    scores = looked.scores
    for term, j in zip(scores.terms, looked.rows[record], strict=True):
        if term.keys or j < 0:
            continue
        value = evidence.sizes[term.name].value_mm
        best = _best_without(scores.log_lik[record] - term.log_lik[j], term.name, value, model)
        if best is None:
            continue
        low, high = model.ranges[term.name][best]
        if low / FAR_FACTOR <= value <= high * FAR_FACTOR:
            continue
        power = 10.0 ** round(math.log10(math.sqrt(low * high) / value))
        if low <= value * power <= high:
            found.append(
                Problem(
                    slug="identify-size-misfit",
                    severity="warning",
                    place=term.name,
                    message=f"{MEASURE_WORD[term.name]} {value:g} mm, but by all else it would be "
                    f"{model.profiles[best].genus} with {low:g} to {high:g} mm",
                    fix=f"Was it {value * power:g} mm? Sizes are in millimetres.",
                )
            )
    return found


def _best_without(log_lik: FloatArray, measure: str, value_mm: float, model: Model) -> int | None:
    """
    Likeliest profile by all but the size, if that much is clear and the measure is known of it.

    Where only the calices of the likeliest are known, a valley says nothing against it; and where
    the size is right for much of what it may be, there is nothing to ask.
    """
    weight = np.exp(log_lik - log_lik.max()) * model.prior
    known, low, high = _askable(model, measure)
    total = float(weight.sum())
    if float(weight[known].sum()) < 0.5 * total:
        return None
    fits = (low <= value_mm) & (value_mm <= high)
    if float(weight[fits].sum()) >= MUCH * total:
        return None
    best = int(weight.argmax())
    return best if known[best] else None


@lru_cache(maxsize=32)
def _askable(model: Model, measure: str) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Profiles of which a measure is known, and the bounds beyond which a size is asked about."""
    low, high = model.ranges[measure].T
    return np.isfinite(low), low / FAR_FACTOR, high * FAR_FACTOR
