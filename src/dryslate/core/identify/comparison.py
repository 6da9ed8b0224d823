"""What a comparison of two genera holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryslate.core.identify.photo_detail import InPhoto
from dryslate.core.identify.taxa import Frequency, SeenWith, SizeRange

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
    looks_a, looks_b : tuple of str
        Names of the looks that each has there; empty where it has one only.
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
    looks_a: tuple[str, ...]
    looks_b: tuple[str, ...]
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
    tells : tuple of str
        Characters and measures that differ much, the clearest first.
    is_unseparated : bool
        Whether some look of the one has every usual state in common with some look of the other.
    caution : str
    """

    genus: str
    how_to_tell: str
    tells: tuple[str, ...]
    is_unseparated: bool
    caution: str
