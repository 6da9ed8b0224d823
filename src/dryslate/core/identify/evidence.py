"""What was seen on one coral, and whether it makes sense before anything is made of it."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations

from dryslate.base.problems import Problem
from dryslate.core.identify.taxa import TaxaData

JUVENILE_BELOW_MM = 50.0
"""Colonies smaller than this are juveniles: sizes and forms of adults say little of them."""
CALICES = ("corallite_diameter", "valley_width")
MEASURES = (*CALICES, "colony_diameter")
NEGATIVE_STATES = frozenset({"none", "absent", "not_seen", "no", "solitary"})
"""States that deny the rest of their character: a colony cannot show one beside another."""
ONE_STATE_ONLY = frozenset({"attachment", "coloniality", "axial_corallite", "paliform_lobes"})
"""Characters of which a colony has one state."""
SIZE_MOST_FACTOR = 3.0  # beyond the largest known size by this: hardly a coral of this measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """
    A size with its standard uncertainty.

    Parameters
    ----------
    value_mm : float
        Of one calice, or the mean of several.
    u_mm : float
        One standard uncertainty of `value_mm`; 0 where none was stated (the spread between
        colonies stays far above it).
    """

    value_mm: float
    u_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """
    What one observer saw on one coral.

    Parameters
    ----------
    region : str or None
        As in `TaxaData.regions`; None: not known.
    seen : Mapping of str to frozenset of str
        States that were seen, by character; several: the colony shows each of them.
    not_seen : Mapping of str to frozenset of str
        States that were looked for and are not there.
    unclear : frozenset of str
        Characters (or measures) that were looked at and could not be told: no evidence either way,
        and not asked again.
    sizes : Mapping of str to Size
        By measure.
    is_juvenile : bool
        The colony is under 5 cm: sizes of adults are not applied.
    """

    region: str | None = None
    seen: Mapping[str, frozenset[str]] = field(default_factory=dict)
    not_seen: Mapping[str, frozenset[str]] = field(default_factory=dict)
    unclear: frozenset[str] = frozenset()
    sizes: Mapping[str, Size] = field(default_factory=dict)
    is_juvenile: bool = False

    @property
    def uses_sizes(self) -> bool:
        """Whether sizes are applied: never for a juvenile."""
        return bool(self.sizes) and not self.is_small

    @property
    def is_small(self) -> bool:
        """Whether it is a juvenile, as stated or by the size of an attached colony."""
        if self.is_juvenile:
            return True
        colony = self.sizes.get("colony_diameter")
        lives_alone = "solitary" in self.seen.get("coloniality", ()) or (
            "free_living" in self.seen.get("attachment", ())
        )
        return colony is not None and colony.value_mm < JUVENILE_BELOW_MM and not lives_alone


Pair = tuple[str, str]
"""A character and one of its states."""


def check_evidence(
    evidence: Evidence, taxa: TaxaData, go_together: Callable[[Pair, Pair], bool] | None = None
) -> list[Problem]:
    """
    Find what cannot be right in the evidence, before it is used.

    Parameters
    ----------
    evidence : Evidence
    taxa : TaxaData
    go_together : callable or None
        Tells whether some profile may show two states of known characters, for callers that ask of
        many corals; None: every profile is looked through.

    Returns
    -------
    list of Problem
        Errors ``identify-region-unknown``, ``identify-character-unknown``,
        ``identify-state-unknown``, ``identify-measure-unknown``, ``identify-size-not-positive``
        and ``identify-seen-and-not`` (a state that is there and not there); warnings
        ``identify-states-exclude`` (two states that one colony cannot show),
        ``identify-states-never-together`` (that no genus in the data shows) and
        ``identify-size-unlikely`` (perhaps another unit). Empty when all is well.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> [p.slug for p in check_evidence(Evidence(sizes={"septum": Size(value_mm=1.0)}), taxa)]
    ['identify-measure-unknown']
    """
    found = list(_region_problems(evidence, taxa))
    found += _word_problems(evidence, taxa)
    found += _size_problems(evidence, taxa)
    found += _clash_problems(evidence)
    if not found:
        found += _never_together(evidence, taxa, go_together)
    return found


def nearest_words(word: str, known: Mapping[str, object] | frozenset[str]) -> str:
    """
    Name the nearest known words, or all where none is near, as what to do in a message.

    Parameters
    ----------
    word : str
    known : Mapping or frozenset of str

    Returns
    -------
    str
        At most three, else all of them.

    Examples
    --------
    >>> nearest_words("collumella", frozenset({"columella", "wall"}))
    'Nearest: columella.'
    >>> nearest_words("branch", frozenset({"columella", "wall"}))
    'Known: columella, wall.'
    """
    near = difflib.get_close_matches(word, list(known), n=3, cutoff=0.6)
    return f"Nearest: {', '.join(near)}." if near else f"Known: {', '.join(sorted(known))}."


def _region_problems(evidence: Evidence, taxa: TaxaData) -> Iterator[Problem]:
    """Tell of a region that is not known."""
    if evidence.region is not None and evidence.region not in taxa.regions:
        yield Problem(
            slug="identify-region-unknown",
            severity="error",
            place="region",
            message=f"there is no region {evidence.region!r}",
            fix=f"Known: {', '.join(sorted(taxa.regions))}.",
        )


def _word_problems(evidence: Evidence, taxa: TaxaData) -> Iterator[Problem]:
    """Tell of characters and states that are not known, with the nearest that are."""
    names = [*evidence.seen, *evidence.not_seen, *sorted(evidence.unclear - set(MEASURES))]
    for name in dict.fromkeys(names):
        character = taxa.characters.get(name)
        if character is None:
            yield Problem(
                slug="identify-character-unknown",
                severity="error",
                place=name,
                message=f"there is no character {name!r}",
                fix=nearest_words(name, taxa.characters),
            )
            continue
        states = evidence.seen.get(name, frozenset()) | evidence.not_seen.get(name, frozenset())
        for state in sorted(states - set(character.states)):
            yield Problem(
                slug="identify-state-unknown",
                severity="error",
                place=name,
                message=f"there is no state {state!r}",
                fix=nearest_words(state, character.states),
            )


def _size_problems(evidence: Evidence, taxa: TaxaData) -> Iterator[Problem]:
    """Tell of sizes that are no sizes, and of those that look like another unit."""
    for name, size in evidence.sizes.items():
        if name not in MEASURES:
            yield Problem(
                slug="identify-measure-unknown",
                severity="error",
                place=name,
                message=f"there is no measure {name!r}",
                fix=f"Known: {', '.join(MEASURES)}.",
            )
            continue
        good = math.isfinite(size.value_mm) and math.isfinite(size.u_mm)
        if not good or size.value_mm <= 0 or size.u_mm < 0:
            yield Problem(
                slug="identify-size-not-positive",
                severity="error",
                place=name,
                message=f"a size needs a value above zero and a doubt of zero or more; "
                f"found {size.value_mm:g} ± {size.u_mm:g} mm",
                fix="Give it in millimetres, as 7.5±0.4.",
            )
            continue
        known = [r for r in _ranges_of(name, taxa) if r[1] > 0]
        if known and not evidence.is_small:
            yield from _unlikely(name, size.value_mm, known)


def _unlikely(name: str, value_mm: float, known: list[tuple[float, float]]) -> Iterator[Problem]:
    """Ask about a size far beyond all that is known, with the power of ten that would fit."""
    low, high = min(k[0] for k in known), max(k[1] for k in known)
    if low / SIZE_MOST_FACTOR <= value_mm <= high * SIZE_MOST_FACTOR:
        return
    factor = 10.0 ** round(math.log10(math.sqrt(low * high) / value_mm))
    yield Problem(
        slug="identify-size-unlikely",
        severity="warning",
        place=name,
        message=f"{value_mm:g} mm, where {low:g} to {high:g} mm is known",
        fix=f"Was it {value_mm * factor:g} mm? Sizes are in millimetres.",
    )


def _ranges_of(measure: str, taxa: TaxaData) -> Iterator[tuple[float, float]]:
    """Full ranges of a measure, over profiles and kinds."""
    for profile in taxa.profiles:
        for sizes in (profile.sizes, *(k.sizes for k in profile.kinds)):
            if measure in sizes:
                yield sizes[measure].low_mm, sizes[measure].high_mm


def _clash_problems(evidence: Evidence) -> Iterator[Problem]:
    """Tell of states that a colony cannot show at once."""
    for name, states in evidence.seen.items():
        both = sorted(states & evidence.not_seen.get(name, frozenset()))
        if both:
            yield Problem(
                slug="identify-seen-and-not",
                severity="error",
                place=name,
                message=f"{', '.join(both)} is given as seen and as not there",
                fix="Take one of the two away.",
            )
        denied = states & NEGATIVE_STATES
        if len(states) > 1 and (denied or name in ONE_STATE_ONLY):
            yield Problem(
                slug="identify-states-exclude",
                severity="warning",
                place=name,
                message=f"{' and '.join(sorted(states))} cannot go together on one coral",
                fix="Look again, or leave the character out.",
            )


def _never_together(
    evidence: Evidence, taxa: TaxaData, go_together: Callable[[Pair, Pair], bool] | None
) -> Iterator[Problem]:
    """Tell of pairs of states of two characters that no profile has."""

    def any_shows(one: Pair, other: Pair) -> bool:
        return any(_may_show(p.states, one) and _may_show(p.states, other) for p in taxa.profiles)

    go_together = go_together or any_shows
    pairs = [(c, s) for c in sorted(evidence.seen) for s in sorted(evidence.seen[c])]
    for (c, s), (d, t) in combinations(pairs, 2):
        if c != d and not go_together((c, s), (d, t)):
            yield Problem(
                slug="identify-states-never-together",
                severity="warning",
                place=f"{c}, {d}",
                message=f"no genus in the data shows {c}={s} together with {d}={t}",
                fix="Look at both again; one of them may be a slip.",
            )


def _may_show(states: Mapping[str, Mapping[str, object]], pair: tuple[str, str]) -> bool:
    """Whether a profile lists the state, or does not know the character."""
    return pair[0] not in states or pair[1] in states[pair[0]]
