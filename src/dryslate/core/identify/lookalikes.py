"""Two genera side by side: what differs first, and what a photo at hand could show of it."""

from __future__ import annotations

import difflib
import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from dryslate.base.errors import InputError
from dryslate.core.identify.taxa import (
    Character,
    Frequency,
    Lookalike,
    Profile,
    SeenWith,
    SizeRange,
    TaxaData,
)

InPhoto = Literal["yes", "no", "never", "not known"]
"""Whether a photo at the scale at hand can show a character; `never`: only broken surfaces do."""

WEIGHTS: Mapping[Frequency, float] = {"usual": 1.0, "sometimes": 0.3, "rare": 0.06}
PX_A_DETAIL = 3.0  # pixels across the smallest thing that must be made out
WHOLE_COLONY = frozenset({"attachment", "coloniality", "growth_form"})
DETAIL_FRAC: Mapping[str, float] = {
    "corallite_arrangement": 0.25,
    "axial_corallite": 0.25,
    "corallite_relief": 0.25,
    "corallite_orientation": 0.25,
    "wall": 0.1,
    "coenosteum": 0.1,
    "elevations": 0.25,
    "columella": 0.1,
    "paliform_lobes": 0.08,
    "septal_margin": 0.04,
    "septa_count": 0.065,
    "septa_confluent": 0.065,
    "septa_exsert": 0.1,
    "mouth_arrangement": 0.25,
    "tissue": 0.25,
    "polyps_by_day": 0.25,
    "tentacle_form": 0.08,
    "tentacles_per_polyp": 0.08,
}
"""Smallest thing to make out, as part of the calice: 24 septa lie 0.065 of it apart halfway in."""
OTHER_DETAIL: Mapping[SeenWith, float] = {"eye": 0.25, "lens": 0.1, "broken": 0.1}
CALICE_MEASURES = ("corallite_diameter", "valley_width", "colony_diameter")
ALIKE_BELOW = 0.15  # differences of characters below this are listed as alike


@dataclass(frozen=True, slots=True, kw_only=True)
class StateShown:
    """A state that a genus shows, in plain words, and how often."""

    state: str
    words: str
    frequency: Frequency


@dataclass(frozen=True, slots=True, kw_only=True)
class CharacterPair:
    """
    One character of both genera.

    Parameters
    ----------
    character, question : str
    seen_with : str
    states_a, states_b : tuple of StateShown
        Most often first; empty: not scored.
    difference : float
        0: shown alike, 1: nothing in common; NaN where one is not scored.
    is_named : bool
        Whether the look-alike text names it.
    needs_px_per_mm : float or None
        Scale at which a photo shows it; 0: any that holds the colony; None: not known or never.
    in_photo : str
    is_memory : bool
        Whether all of it rests on memory.
    """

    character: str
    question: str
    seen_with: SeenWith
    states_a: tuple[StateShown, ...]
    states_b: tuple[StateShown, ...]
    difference: float
    is_named: bool
    needs_px_per_mm: float | None
    in_photo: InPhoto
    is_memory: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePair:
    """
    One measure of both genera.

    Parameters
    ----------
    measure : str
    size_a, size_b : SizeRange or None
        None: the genus does not have it.
    difference : float
        Part of the two usual ranges, on a log scale, that is not common to both.
    """

    measure: str
    size_a: SizeRange | None
    size_b: SizeRange | None
    difference: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """
    Two genera side by side.

    Parameters
    ----------
    genus_a, genus_b : str
    how_to_tell, source : str
        From the table of look-alikes; empty where the pair is not in it.
    characters : tuple of CharacterPair
        Those that differ most first; of equal ones, eye before lens.
    sizes : tuple of SizePair
        Those that differ most first.
    cautions : tuple of str
        Genera that sting.
    regions : frozenset of str
        Finest regions, within the one asked for, that both live in.
    """

    genus_a: str
    genus_b: str
    how_to_tell: str
    source: str
    characters: tuple[CharacterPair, ...]
    sizes: tuple[SizePair, ...]
    cautions: tuple[str, ...]
    regions: frozenset[str]

    @property
    def differing(self) -> tuple[CharacterPair, ...]:
        """Characters that differ."""
        return tuple(c for c in self.characters if c.difference >= ALIKE_BELOW)

    @property
    def alike(self) -> tuple[CharacterPair, ...]:
        """Characters that both show much alike."""
        return tuple(c for c in self.characters if c.difference < ALIKE_BELOW)

    @property
    def unscored(self) -> tuple[CharacterPair, ...]:
        """Characters that are scored for one of them only."""
        return tuple(c for c in self.characters if math.isnan(c.difference))


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """
    A genus that is taken for another.

    Parameters
    ----------
    genus : str
    how_to_tell : str
        Empty where the pair is not in the table of look-alikes.
    n_separators : int
        Characters with no usual state in common.
    tells : tuple of str
        Those characters, the clearest first.
    caution : str
    """

    genus: str
    how_to_tell: str
    n_separators: int
    tells: tuple[str, ...]
    caution: str


def require_genus(taxa: TaxaData, name: str) -> str:
    """
    Return the genus of that name, whatever its capitals.

    Parameters
    ----------
    taxa : TaxaData
    name : str

    Returns
    -------
    str

    Raises
    ------
    InputError
        ``lookalikes-genus-former`` for a former name, with the genera that it may be now;
        ``lookalikes-genus-unknown`` with the nearest names.
    """
    by_low = {g.casefold(): g for g in taxa.genera}
    low = name.strip().casefold()
    if low in by_low:
        return by_low[low]
    now = [g.genus for g in taxa.genera.values() if low in {f.casefold() for f in g.former_names}]
    if now:
        raise InputError(
            "lookalikes-genus-former",
            f"{name} is a former name; such corals are now {' or '.join(now)}.",
            "Ask again with one of them.",
        )
    near = [by_low[n] for n in difflib.get_close_matches(low, by_low, n=3, cutoff=0.5)]
    raise InputError(
        "lookalikes-genus-unknown",
        f"There is no genus called {name!r} in the data.",
        f"Did you mean {' or '.join(near)}?" if near else "Check the spelling.",
    )


def compare_genera(
    taxa: TaxaData,
    genus_a: str,
    genus_b: str,
    px_per_mm: float | None = None,
    region: str | None = None,
) -> Comparison:
    """
    Put two genera side by side.

    Parameters
    ----------
    taxa : TaxaData
    genus_a, genus_b : str
    px_per_mm : float or None
        Scale of the photo at hand.
    region : str or None
        As in `TaxaData.regions`; None: wherever both live, else everywhere.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        ``lookalikes-genus-unknown``, ``lookalikes-genus-former``, ``lookalikes-same-genus``,
        ``lookalikes-region-unknown``, ``lookalikes-scale-not-positive``.

    Notes
    -----
    States count 1 (usual), 0.3 (sometimes) and 0.06 (rare), profiles by their share; the difference
    of a character is the total variation between the two. A photo shows a character where the
    smallest thing to be made out, taken as a stated part of the smaller of the two genera's usual
    calices, is at least 3 pixels wide: two are the least that sampling allows, the third is for
    the colour filter of the sensor. That is a rule of thumb of ours, for a sharp photo.
    """
    genus_a, genus_b = require_genus(taxa, genus_a), require_genus(taxa, genus_b)
    _require_sense(taxa, genus_a, genus_b, px_per_mm, region)
    asked = taxa.regions[region] if region else frozenset().union(*taxa.regions.values())
    both = taxa.genera[genus_a].regions & taxa.genera[genus_b].regions & asked
    looks_a = _looks(taxa, genus_a, both or asked)
    looks_b = _looks(taxa, genus_b, both or asked)
    pair = _pair_of(taxa, genus_a, genus_b)
    calice_mm = _calice_mm([*looks_a, *looks_b])
    characters = [
        _character_pair(c, looks_a, looks_b, pair, (calice_mm, px_per_mm))
        for c in taxa.characters.values()
    ]
    eye_first = {"eye": 0, "lens": 1, "broken": 2}
    characters = [c for c in characters if c.states_a or c.states_b]
    characters.sort(key=lambda c: (-_known(c.difference), eye_first[c.seen_with], not c.is_named))
    sizes = [_size_pair(m, looks_a, looks_b) for m in CALICE_MEASURES]
    return Comparison(
        genus_a=genus_a,
        genus_b=genus_b,
        how_to_tell=pair.how_to_tell if pair else "",
        source=pair.source if pair else "",
        characters=tuple(characters),
        sizes=tuple(
            sorted((s for s in sizes if s.size_a or s.size_b), key=lambda s: -_known(s.difference))
        ),
        cautions=tuple(
            f"{g} {taxa.genera[g].caution}" for g in (genus_a, genus_b) if taxa.genera[g].caution
        ),
        regions=both,
    )


def find_lookalikes(taxa: TaxaData, genus: str, region: str | None = None) -> list[Likeness]:
    """
    Find the genera that a genus is taken for.

    Parameters
    ----------
    taxa : TaxaData
    genus : str
    region : str or None

    Returns
    -------
    list of Likeness
        Pairs in the table of look-alikes and pairs that nothing separates; the hardest first.

    Raises
    ------
    InputError
        As `compare_genera`.
    """
    genus = require_genus(taxa, genus)
    _require_sense(taxa, genus, "", None, region)
    asked = taxa.regions[region] if region else frozenset().union(*taxa.regions.values())
    home = taxa.genera[genus].regions & asked
    found: list[Likeness] = []
    for other in taxa.genera.values():
        pair = _pair_of(taxa, genus, other.genus)
        if other.genus == genus or not other.regions & (home or asked):
            continue
        if pair is None and other.group in ("not_coral", "juvenile"):
            continue
        compared = compare_genera(taxa, genus, other.genus, None, region)
        tells = [
            c.character
            for c in compared.characters
            if not _usual(c.states_a) & _usual(c.states_b) and c.states_a and c.states_b
        ]
        tells += [s.measure for s in compared.sizes if s.difference >= 1.0]
        if pair is None and tells:
            continue
        found.append(
            Likeness(
                genus=other.genus,
                how_to_tell=pair.how_to_tell if pair else "",
                n_separators=len(tells),
                tells=tuple(tells),
                caution=other.caution,
            )
        )
    return sorted(found, key=lambda one: (one.n_separators, one.genus))


def _usual(states: tuple[StateShown, ...]) -> set[str]:
    """States that are usual."""
    return {s.state for s in states if s.frequency == "usual"}


def _known(value: float) -> float:
    """A difference, or -1 where it is not known, for sorting."""
    return -1.0 if math.isnan(value) else value


def _require_sense(
    taxa: TaxaData, genus_a: str, genus_b: str, px_per_mm: float | None, region: str | None
) -> None:
    """Raise what cannot be asked."""
    if genus_a == genus_b:
        raise InputError(
            "lookalikes-same-genus",
            f"Both names are {genus_a}.",
            "Give two genera, or one to list what it is taken for.",
        )
    if region is not None and region not in taxa.regions:
        raise InputError(
            "lookalikes-region-unknown",
            f"There is no region {region!r}.",
            f"Known: {', '.join(sorted(taxa.regions))}.",
        )
    if px_per_mm is not None and not (math.isfinite(px_per_mm) and px_per_mm > 0):
        raise InputError(
            "lookalikes-scale-not-positive",
            f"A scale is above zero pixels a millimetre; found {px_per_mm:g}.",
            "Take it from the corrected photo's record.",
        )


def _looks(taxa: TaxaData, genus: str, regions: frozenset[str]) -> list[Profile]:
    """Profiles of a genus in some regions, or all of them where it has none there."""
    looks = [p for p in taxa.profiles if p.genus == genus]
    return [p for p in looks if p.regions & regions] or looks


def _pair_of(taxa: TaxaData, genus_a: str, genus_b: str) -> Lookalike | None:
    """The pair in the table of look-alikes."""
    both = {genus_a, genus_b}
    return next((p for p in taxa.lookalikes if {p.genus_a, p.genus_b} == both), None)


def _calice_mm(looks: list[Profile]) -> float | None:
    """The smallest usual calice (or valley, or disc) of some profiles."""
    least = [
        next(p.sizes[m].usual_low_mm for m in CALICE_MEASURES if m in p.sizes)
        for p in looks
        if p.sizes
    ]
    return min(least, default=None)


def _shares(looks: list[Profile], name: str) -> dict[str, float]:
    """Shares of the states of a character over profiles; empty where none is scored."""
    total: dict[str, float] = defaultdict(float)
    for look in looks:
        rows = look.states.get(name, {})
        weight = sum(WEIGHTS[r.frequency] for r in rows.values())
        for state, row in rows.items():
            total[state] += look.share * WEIGHTS[row.frequency] / weight
    whole = sum(total.values())
    return {s: v / whole for s, v in total.items()} if whole else {}


def _shown(looks: list[Profile], character: Character) -> tuple[StateShown, ...]:
    """States of a character that some profiles show, the most frequent first."""
    order: tuple[Frequency, ...] = ("usual", "sometimes", "rare")
    best: dict[str, Frequency] = {}
    for look in looks:
        for state, row in look.states.get(character.character, {}).items():
            known = best.get(state, "rare")
            best[state] = min(known, row.frequency, key=order.index)
    ranked = sorted(best, key=lambda s: (order.index(best[s]), list(character.states).index(s)))
    return tuple(StateShown(state=s, words=character.states[s], frequency=best[s]) for s in ranked)


def _character_pair(
    character: Character,
    looks_a: list[Profile],
    looks_b: list[Profile],
    pair: Lookalike | None,
    scale: tuple[float | None, float | None],
) -> CharacterPair:
    """One character of both."""
    name = character.character
    a, b = _shares(looks_a, name), _shares(looks_b, name)
    difference = (
        0.5 * sum(abs(a.get(s, 0.0) - b.get(s, 0.0)) for s in {*a, *b}) if a and b else math.nan
    )
    needs, in_photo = _photo_of(character, *scale)
    rows = [r for p in (*looks_a, *looks_b) for r in p.states.get(name, {}).values()]
    return CharacterPair(
        character=name,
        question=character.question,
        seen_with=character.seen_with,
        states_a=_shown(looks_a, character),
        states_b=_shown(looks_b, character),
        difference=difference,
        is_named=pair is not None and name in pair.characters,
        needs_px_per_mm=needs,
        in_photo=in_photo,
        is_memory=all(r.is_memory for r in rows),
    )


def _photo_of(
    character: Character, calice_mm: float | None, px_per_mm: float | None
) -> tuple[float | None, InPhoto]:
    """The scale that a photo needs to show a character, and whether the one at hand does."""
    if character.seen_with == "broken":
        return None, "never"
    if character.character in WHOLE_COLONY:
        return 0.0, "yes"
    if calice_mm is None:
        return None, "not known"
    part = DETAIL_FRAC.get(character.character, OTHER_DETAIL[character.seen_with])
    needs = PX_A_DETAIL / (part * calice_mm)
    if px_per_mm is None:
        return needs, "not known"
    return needs, "yes" if px_per_mm >= needs else "no"


def _size_pair(measure: str, looks_a: list[Profile], looks_b: list[Profile]) -> SizePair:
    """One measure of both."""
    a, b = _span(looks_a, measure), _span(looks_b, measure)
    difference = math.nan
    if a and b:
        low_a, high_a = math.log(a.usual_low_mm), math.log(a.usual_high_mm)
        low_b, high_b = math.log(b.usual_low_mm), math.log(b.usual_high_mm)
        whole = max(high_a, high_b) - min(low_a, low_b)
        common = max(0.0, min(high_a, high_b) - max(low_a, low_b))
        apart = high_a < low_b or high_b < low_a
        difference = 1.0 if apart else 1.0 - common / whole if whole > 0 else 0.0
    return SizePair(measure=measure, size_a=a, size_b=b, difference=difference)


def _span(looks: list[Profile], measure: str) -> SizeRange | None:
    """The range that all profiles with the measure span."""
    sizes = [p.sizes[measure] for p in looks if measure in p.sizes]
    if not sizes:
        return None
    return SizeRange(
        low_mm=min(s.low_mm for s in sizes),
        usual_low_mm=min(s.usual_low_mm for s in sizes),
        usual_high_mm=max(s.usual_high_mm for s in sizes),
        high_mm=max(s.high_mm for s in sizes),
        source="; ".join(dict.fromkeys(s.source for s in sizes)),
    )
