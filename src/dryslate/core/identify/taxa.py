"""What is known of the genera: their characters, sizes, kinds and look-alikes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

SeenWith = Literal["eye", "lens", "broken"]
"""By eye, with a lens or a close-up, or only on a broken or dead surface."""
Frequency = Literal["usual", "sometimes", "rare"]
Group = Literal["stony", "hydrocoral", "octocoral", "not_coral", "juvenile"]
Met = Literal["always", "often", "at_times", "seldom"]
"""How often a genus is met: on nearly every dive, on most, now and then, or seldom."""
Measure = Literal["corallite_diameter", "valley_width", "colony_diameter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Character:
    """
    A character that a surveyor can look at.

    Parameters
    ----------
    character : str
        Its id.
    question : str
        What to look at, as one plain question.
    seen_with : str
    is_hard : bool
        Whether trained observers often differ on it.
    states : Mapping of str to str
        Plain words for each state, by state id, in order.
    is_for_some : bool
        Whether it can be asked of some corals only (teeth of mushroom corals): a genus for which
        it is not scored has no such thing to look at.
    """

    character: str
    question: str
    seen_with: SeenWith
    is_hard: bool
    states: Mapping[str, str]
    is_for_some: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Genus:
    """
    A genus, or another answer that an identification can give.

    Parameters
    ----------
    genus : str
    family, authority : str
    group : str
        ``not_coral`` and ``juvenile`` are answers that are no coral genus.
    regions : frozenset of str
        Finest regions that it lives in (see `TaxaData.regions`).
    former_names : tuple of str
    caution, remark : str
        ``stings`` where it burns bare skin.
    place : str
        File and line of its row, for messages.
    """

    genus: str
    family: str
    authority: str
    group: Group
    regions: frozenset[str]
    former_names: tuple[str, ...] = ()
    caution: str = ""
    remark: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """How often a profile shows a state, and where that is from."""

    frequency: Frequency
    source: str

    @property
    def is_memory(self) -> bool:
        """Whether no source was opened for it."""
        return self.source.startswith("memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRange:
    """A published size range in millimetres: full, and what most colonies fall in."""

    low_mm: float
    usual_low_mm: float
    usual_high_mm: float
    high_mm: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """
    Size and growth form that go together within a profile: a species, or a group of species.

    Parameters
    ----------
    name : str
    regions : frozenset of str
    growth_forms : Mapping of str to str
        Growth forms with their frequency; empty: as the profile.
    sizes : Mapping of str to SizeRange
        By measure; a measure not given: as the profile.
    share : float
        Relative weight among the kinds of the profile.
    source : str
    """

    name: str
    regions: frozenset[str]
    growth_forms: Mapping[str, Frequency]
    sizes: Mapping[str, SizeRange]
    share: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """
    One look of a genus: states that go together, with the kinds it is made of.

    Parameters
    ----------
    genus : str
    profile : str
        Short name of the look ("honeycomb", "maze"); empty where the genus has one only.
    regions : frozenset of str
        Finest regions for which it holds.
    share : float
        Relative weight among the profiles of the genus in a region.
    states : Mapping of str to Mapping of str to StateRow
        By character and state. A state not listed is taken as not occurring; a character not
        listed is not known.
    sizes : Mapping of str to SizeRange
        By measure.
    kinds : tuple of Kind
        May be empty.
    """

    genus: str
    profile: str
    regions: frozenset[str]
    share: float
    states: Mapping[str, Mapping[str, StateRow]]
    sizes: Mapping[str, SizeRange] = field(default_factory=dict)
    kinds: tuple[Kind, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookalike:
    """Two genera that are taken for each other, and what tells them apart."""

    genus_a: str
    genus_b: str
    how_to_tell: str
    characters: tuple[str, ...]
    source: str
    place: str = ""  # file and line of its row, for messages


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxaData:
    """
    All that is known of the genera.

    Parameters
    ----------
    version : str
        Of the data; a project's own additions change it.
    characters : Mapping of str to Character
    genera : Mapping of str to Genus
    profiles : tuple of Profile
    lookalikes : tuple of Lookalike
    regions : Mapping of str to frozenset of str
        Every region name that may be asked for, with the finest regions it is made of:
        ``indian_ocean``, ``western_central_pacific``, ``eastern_pacific``, ``western_atlantic``,
        ``eastern_atlantic``; ``indo_pacific`` and ``atlantic`` are unions; a project may add its
        own.
    frequencies : Mapping of str to Mapping of str to float
        Local relative frequency of genera by region, where a project gives it.
    met : Mapping of str to Mapping of str to str
        How often a genus is met, by finest region; a genus that is not listed: at times.
    versions : frozenset of str
        Every version that these data have had, without a project's additions.
    """

    version: str
    characters: Mapping[str, Character]
    genera: Mapping[str, Genus]
    profiles: tuple[Profile, ...]
    lookalikes: tuple[Lookalike, ...]
    regions: Mapping[str, frozenset[str]]
    frequencies: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    met: Mapping[str, Mapping[str, Met]] = field(default_factory=dict)
    versions: frozenset[str] = frozenset()
