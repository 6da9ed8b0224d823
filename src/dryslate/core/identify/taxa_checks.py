"""What is thin, contradictory or inseparable in the genus data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from dryslate.base.problems import Problem
from dryslate.core.identify.taxa import Lookalike, Profile, TaxaData

FEWEST_CHARACTERS = 8
FEWEST_OF_OTHERS = 3  # for answers that are no genus of coral
MEASURES = ("corallite_diameter", "valley_width", "colony_diameter")
SLACK_FRAC = 0.001
NOT_GENERA = frozenset({"not_coral", "juvenile"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosePair:
    """
    Two looks of two genera that share a region and that little holds apart.

    Parameters
    ----------
    genus_a, profile_a, genus_b, profile_b : str
    regions : frozenset of str
        Finest regions that both live in.
    separators : tuple of str
        Characters without a usual state in common and measures without a usual size in common;
        empty: nothing separates them.
    """

    genus_a: str
    profile_a: str
    genus_b: str
    profile_b: str
    regions: frozenset[str]
    separators: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MemoryShare:
    """
    How much of the data rests on memory.

    Parameters
    ----------
    n_states, n_states_memory : int
        Scored states; those for which no source was opened.
    n_sizes, n_sizes_memory : int
        Size ranges of profiles; those from memory alone.
    n_lookalikes, n_lookalikes_memory : int
    n_kinds : int
        Species with their own form or size, all from the open trait database unless a project
        adds more.
    """

    n_states: int
    n_states_memory: int
    n_sizes: int
    n_sizes_memory: int
    n_lookalikes: int
    n_lookalikes_memory: int
    n_kinds: int

    @property
    def states_frac(self) -> float:
        """Part of the states from memory."""
        return self.n_states_memory / self.n_states if self.n_states else 0.0


def check_taxa(taxa: TaxaData) -> list[Problem]:
    """
    Find what is thin or contradicts itself in the genus data.

    Parameters
    ----------
    taxa : TaxaData

    Returns
    -------
    list of Problem
        Errors ``taxa-character-no-states`` and ``taxa-lookalike-same`` (none of the characters a
        pair names differs); warnings ``taxa-genus-thin``, ``taxa-usual-missing`` (a character of
        which no state is usual, nor two are shown sometimes) and ``taxa-lookalike-part-same``
        (one of them does not differ, or is not scored); notes ``taxa-species-outside`` (a species
        is usually smaller or larger than the whole range of the look that lists it). Empty when
        all is well.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> check_taxa(taxa)
    []
    """
    found = [
        Problem(
            slug="taxa-character-no-states",
            severity="error",
            place=name,
            message=f"the character {name} has no states",
            fix="Give at least two in character_states.csv.",
        )
        for name, character in taxa.characters.items()
        if not character.states
    ]
    found += _thin(taxa)
    found += _without_usual(taxa)
    found += _outside(taxa)
    for pair in taxa.lookalikes:
        found += _lookalike_problems(pair, taxa)
    return found


def _thin(taxa: TaxaData) -> Iterator[Problem]:
    """Tell of genera of which too little is scored."""
    for genus in (g for g in taxa.genera.values() if g.regions):
        looks = [p for p in taxa.profiles if p.genus == genus.genus]
        least = FEWEST_OF_OTHERS if genus.group in NOT_GENERA else FEWEST_CHARACTERS
        fewest = min((len(p.states) for p in looks), default=0)
        if fewest < least:
            yield Problem(
                slug="taxa-genus-thin",
                severity="warning",
                place=genus.place or genus.genus,
                message=f"{genus.genus}: {fewest} characters are scored; expected at least {least}",
                fix="Add rows to states.csv, each with its source.",
            )


def _without_usual(taxa: TaxaData) -> Iterator[Problem]:
    """Tell of characters of which no state is usual."""
    for look in taxa.profiles:
        for name, rows in look.states.items():
            often = [r.frequency for r in rows.values() if r.frequency != "rare"]
            if "usual" not in often and len(often) < 2:
                yield Problem(
                    slug="taxa-usual-missing",
                    severity="warning",
                    place=_name_of(look.genus, look.profile),
                    message=f"no state of {name} is usual, nor are two shown sometimes",
                    fix="Say which state most colonies show.",
                )


def _outside(taxa: TaxaData) -> Iterator[Problem]:
    """Tell of species whose usual sizes reach beyond what is known of their look as a whole."""
    for look in taxa.profiles:
        for kind in look.kinds:
            for measure, size in kind.sizes.items():
                whole = look.sizes.get(measure)
                if whole is None:
                    continue
                too_small = size.usual_low_mm < whole.low_mm * (1.0 - SLACK_FRAC)
                if too_small or size.usual_high_mm > whole.high_mm * (1.0 + SLACK_FRAC):
                    yield Problem(
                        slug="taxa-species-outside",
                        severity="note",
                        place=_name_of(look.genus, look.profile),
                        message=(
                            f"{kind.name} has a {measure} of {size.usual_low_mm:g} to "
                            f"{size.usual_high_mm:g} mm, but {whole.low_mm:g} to "
                            f"{whole.high_mm:g} mm is all that is known of the look"
                        ),
                        fix="Widen the range in measures.csv, or list the species elsewhere.",
                    )


def _name_of(genus: str, profile: str) -> str:
    """A genus with its profile, where it has one."""
    return f"{genus} ({profile})" if profile else genus


def _lookalike_problems(pair: Lookalike, taxa: TaxaData) -> Iterator[Problem]:
    """Tell of characters that a pair names and that do not differ."""
    same = [c for c in pair.characters if not differ(taxa, pair.genus_a, pair.genus_b, c)]
    if not same and pair.characters:
        return
    whole = len(same) == len(pair.characters)
    yield Problem(
        slug="taxa-lookalike-same" if whole else "taxa-lookalike-part-same",
        severity="error" if whole else "warning",
        place=f"{pair.place}, column characters" if pair.place else "",
        message=(
            f"{pair.genus_a} and {pair.genus_b} are said to differ in "
            f"{', '.join(pair.characters) or 'nothing'}; "
            f"scored alike or not scored: {', '.join(same) or 'all'}"
        ),
        fix="Correct the states, or name the characters that differ.",
    )


def differ(taxa: TaxaData, genus_a: str, genus_b: str, name: str) -> bool:
    """
    Tell whether two genera are scored differently in a character or measure.

    Parameters
    ----------
    taxa : TaxaData
    genus_a, genus_b : str
    name : str
        Of a character or measure.

    Returns
    -------
    bool
        True where some profile of one shows a state with another frequency than some profile of
        the other, or has another usual size; a genus that does not have the measure at all differs
        from one that does.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> differ(taxa, "Aa", "Bb", "wall")
    False
    """
    looks_a = [p for p in taxa.profiles if p.genus == genus_a]
    looks_b = [p for p in taxa.profiles if p.genus == genus_b]
    if name in MEASURES:
        sizes_a = {_usual_size(p, name) for p in looks_a}
        sizes_b = {_usual_size(p, name) for p in looks_b}
        return bool(looks_a and looks_b) and sizes_a != sizes_b
    scored_a = {_scored(p, name) for p in looks_a if name in p.states}
    scored_b = {_scored(p, name) for p in looks_b if name in p.states}
    return bool(scored_a and scored_b) and scored_a != scored_b


def _usual_size(look: Profile, measure: str) -> tuple[float, float] | None:
    """The usual range of a measure, or None."""
    size = look.sizes.get(measure)
    return (size.usual_low_mm, size.usual_high_mm) if size else None


def _scored(look: Profile, name: str) -> frozenset[tuple[str, str]]:
    """States of a character with their frequencies."""
    return frozenset((s, r.frequency) for s, r in look.states[name].items())


def find_close_pairs(taxa: TaxaData, most_separators: int = 0) -> list[ClosePair]:
    """
    Find pairs of looks of two genera that nothing, or little, holds apart.

    Parameters
    ----------
    taxa : TaxaData
    most_separators : int
        Pairs that at most so many characters and measures separate are given.

    Returns
    -------
    list of ClosePair
        Those that nothing separates first.

    Notes
    -----
    A character separates two looks where they have no usual state in common, a measure where their
    usual ranges do not touch. Characters of broken surfaces do not count, since nobody should
    break a coral to see them. States that are only sometimes shown still shift probabilities,
    so a pair given here may yet be told apart in a single colony.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> find_close_pairs(taxa)
    []
    """
    names = [n for n, c in taxa.characters.items() if c.seen_with != "broken"]
    usual = [
        {
            n: frozenset(s for s, r in p.states[n].items() if r.frequency == "usual")
            for n in names
            if n in p.states
        }
        for p in taxa.profiles
    ]
    pairs: list[ClosePair] = []
    for (a, usual_a), (b, usual_b) in combinations(zip(taxa.profiles, usual, strict=True), 2):
        regions = a.regions & b.regions
        if a.genus == b.genus or not regions or _is_other(a, taxa) or _is_other(b, taxa):
            continue
        apart = [n for n, s in usual_a.items() if n in usual_b and not s & usual_b[n]]
        apart += [m for m in MEASURES if _sizes_apart(a, b, m)]
        if len(apart) <= most_separators:
            pairs.append(
                ClosePair(
                    genus_a=a.genus,
                    profile_a=a.profile,
                    genus_b=b.genus,
                    profile_b=b.profile,
                    regions=regions,
                    separators=tuple(apart),
                )
            )
    return sorted(pairs, key=lambda p: len(p.separators))


def _is_other(look: Profile, taxa: TaxaData) -> bool:
    """Whether a profile is of an answer that is no genus."""
    return taxa.genera[look.genus].group in NOT_GENERA


def _sizes_apart(a: Profile, b: Profile, measure: str) -> bool:
    """Whether the usual ranges of a measure do not touch."""
    one, other = a.sizes.get(measure), b.sizes.get(measure)
    if one is None or other is None:
        return False
    return one.usual_high_mm < other.usual_low_mm or other.usual_high_mm < one.usual_low_mm


def measure_memory_share(taxa: TaxaData) -> MemoryShare:
    """
    Count how much of the data rests on memory.

    Parameters
    ----------
    taxa : TaxaData

    Returns
    -------
    MemoryShare
        States are counted once for each profile that shows them.

    Examples
    --------
    >>> taxa = TaxaData(
    ...     version="1", characters={}, genera={}, profiles=(), lookalikes=(), regions={}
    ... )
    >>> measure_memory_share(taxa).states_frac
    0.0
    """
    states = Counter(
        row.is_memory for p in taxa.profiles for rows in p.states.values() for row in rows.values()
    )
    sizes = Counter(s.source.startswith("memory") for p in taxa.profiles for s in p.sizes.values())
    pairs = Counter(p.source.startswith("memory") for p in taxa.lookalikes)
    return MemoryShare(
        n_states=states.total(),
        n_states_memory=states[True],
        n_sizes=sizes.total(),
        n_sizes_memory=sizes[True],
        n_lookalikes=pairs.total(),
        n_lookalikes_memory=pairs[True],
        n_kinds=sum(len(p.kinds) for p in taxa.profiles),
    )
