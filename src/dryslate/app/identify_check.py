"""Whether evidence is in order: quickly, for many records, and what a size may have meant."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from dryslate.base.problems import Problem
from dryslate.core.identify.evidence import (
    CALICES,
    MEASURES,
    NEGATIVE_STATES,
    ONE_STATE_ONLY,
    SIZE_MOST_FACTOR,
    Evidence,
    Pair,
    Size,
    check_evidence,
)
from dryslate.core.identify.model import Model
from dryslate.core.identify.taxa import TaxaData

TENFOLD = 6
"""A size is asked about where more than so many times the genera have a tenth of it."""


class QuickCheck:
    """
    Checks evidence as `check_evidence`, but settles the usual case without walking all profiles.

    Parameters
    ----------
    taxa : TaxaData
    """

    def __init__(self, taxa: TaxaData) -> None:
        self._taxa = taxa
        self._without_sizes = replace(taxa, profiles=())
        states = [(c, s) for c, known in taxa.characters.items() for s in known.states]
        self._place = {pair: i for i, pair in enumerate(states)}
        may_show = np.array(
            [[c not in p.states or s in p.states[c] for c, s in states] for p in taxa.profiles],
            np.float32,
        ).reshape(len(taxa.profiles), len(states))
        together = may_show.T @ may_show > 0
        self._partners = [
            sum(1 << j for j in np.flatnonzero(row).tolist()) for row in together
        ]  # by state: the states that go with it, one bit each
        self._bounds = {m: tuple(_bounds(m, taxa)) for m in MEASURES}

    def __call__(self, evidence: Evidence) -> list[Problem]:
        """
        Return what is wrong with the evidence.

        Parameters
        ----------
        evidence : Evidence

        Returns
        -------
        list of Problem
            Just those of `check_evidence`.
        """
        if not all(self._is_likely(m, s) for m, s in evidence.sizes.items()):
            return check_evidence(evidence, self._taxa, self._go_together)
        if self._is_in_order(evidence):
            return []
        return check_evidence(evidence, self._without_sizes, self._go_together)

    def _go_together(self, one: Pair, other: Pair) -> bool:
        """Whether some profile may show both states."""
        return bool(self._partners[self._place[one]] >> self._place[other] & 1)

    def _is_in_order(self, evidence: Evidence) -> bool:
        """Whether nothing is to be said of region and states; when in doubt, no."""
        if evidence.region is not None and evidence.region not in self._taxa.regions:
            return False
        if not evidence.unclear - set(MEASURES) <= self._taxa.characters.keys():
            return False
        for name, absent in evidence.not_seen.items():
            if name not in self._taxa.characters or not all(
                (name, s) in self._place for s in absent
            ):
                return False
        return self._goes_together(evidence)

    def _goes_together(self, evidence: Evidence) -> bool:
        """Whether the states that were seen are known and can go together."""
        shown, partners = 0, -1
        for name, states in evidence.seen.items():
            if name not in self._taxa.characters or states & evidence.not_seen.get(
                name, frozenset()
            ):
                return False
            if len(states) > 1 and (states & NEGATIVE_STATES or name in ONE_STATE_ONLY):
                return False
            for state in states:
                place = self._place.get((name, state))
                if place is None:
                    return False
                shown |= 1 << place
                partners &= self._partners[place]
        return shown & partners == shown

    def _is_likely(self, measure: str, size: Size) -> bool:
        """Whether a size lies within what is known of its measure."""
        bounds = self._bounds.get(measure)
        if not bounds:
            return False
        low, high = bounds
        return low <= size.value_mm <= high and 0.0 <= size.u_mm < float("inf")


def _bounds(measure: str, taxa: TaxaData) -> Iterator[float]:
    """Smallest and largest size that raises no question; nothing where none is known."""
    ranges = [
        (sizes[measure].low_mm, sizes[measure].high_mm)
        for profile in taxa.profiles
        for sizes in (profile.sizes, *(k.sizes for k in profile.kinds))
        if measure in sizes and sizes[measure].high_mm > 0
    ]
    if ranges:
        yield max(min(low for low, _ in ranges) / SIZE_MOST_FACTOR, 1e-9)
        yield max(high for _, high in ranges) * SIZE_MOST_FACTOR


def ask_unit(evidence: Evidence, model: Model, in_cm: Collection[str] = ()) -> list[Problem]:
    """
    Ask about a calice or valley that hardly any genus has, where many have a tenth of it.

    Parameters
    ----------
    evidence : Evidence
    model : Model
    in_cm : collection of str
        Measures that were typed in centimetres: asked about where only one genus more has a tenth.

    Returns
    -------
    list of Problem
        ``identify-size-centimetres``. Nothing for juveniles, and for single polyps, which may well
        be so wide.
    """
    if evidence.is_small or "solitary" in evidence.seen.get("coloniality", ()):
        return []
    found = []
    for measure in CALICES:
        if measure not in evidence.sizes:
            continue
        value = evidence.sizes[measure].value_mm
        as_typed, tenth = (_n_genera(model, measure, v) for v in (value, value / 10.0))
        if tenth <= as_typed * (1 if measure in in_cm else TENFOLD):
            continue
        found.append(
            Problem(
                slug="identify-size-centimetres",
                severity="warning",
                place=measure,
                message=f"{value:g} mm is known of {as_typed} genera in {model.region}, "
                f"{value / 10.0:g} mm of {tenth}",
                fix=f"Was it {value / 10.0:g} mm? It was used as {value:g} mm.",
            )
        )
    return found


def _n_genera(model: Model, measure: str, size_mm: float) -> int:
    """Count the genera that are known to have a size."""
    low, high = model.ranges[measure].T
    return len(np.unique(model.genus_of[(low <= size_mm) & (size_mm <= high)]))
