"""Two genera side by side: what differs first, and what a photo at hand could show of it."""

from __future__ import annotations

import difflib
import math
from collections import defaultdict
from collections.abc import Mapping

from dryslate.base.errors import InputError
from dryslate.core.identify.comparison import (
    CharacterPair,
    Comparison,
    Likeness,
    SizePair,
    StateShown,
)
from dryslate.core.identify.photo_detail import find_photo_needs
from dryslate.core.identify.taxa import (
    Character,
    Frequency,
    Lookalike,
    Profile,
    SizeRange,
    TaxaData,
)
from dryslate.core.identify.taxa_checks import MEASURES, find_close_pairs

WEIGHTS: Mapping[Frequency, float] = {"usual": 1.0, "sometimes": 0.3, "rare": 0.06}
CALICES = ("corallite_diameter", "valley_width")
MUCH = 0.5  # differences from here on are what tells two genera apart


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
    sizes = [_size_pair(m, looks_a, looks_b) for m in MEASURES]
    return Comparison(
        genus_a=genus_a,
        genus_b=genus_b,
        how_to_tell=pair.how_to_tell if pair else "",
        source=pair.source if pair else "",
        looks_a=tuple(p.profile for p in looks_a if p.profile),
        looks_b=tuple(p.profile for p in looks_b if p.profile),
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
        Pairs in the table of look-alikes and pairs that nothing separates in some of their looks;
        the hardest first.

    Raises
    ------
    InputError
        As `compare_genera`.
    """
    genus = require_genus(taxa, genus)
    _require_sense(taxa, genus, "", None, region)
    asked = taxa.regions[region] if region else frozenset().union(*taxa.regions.values())
    close = {
        p.genus_a if p.genus_b == genus else p.genus_b
        for p in find_close_pairs(taxa)
        if genus in (p.genus_a, p.genus_b) and p.regions & asked
    }
    named = {g for p in taxa.lookalikes for g in (p.genus_a, p.genus_b) if _is_of(p, genus)}
    found: list[Likeness] = []
    for name in sorted((named | close) - {genus}):
        if not taxa.genera[name].regions & asked:
            continue
        compared = compare_genera(taxa, genus, name, None, region)
        much = [(c.difference, c.character) for c in compared.differing if c.seen_with != "broken"]
        much += [(s.difference, s.measure) for s in compared.sizes]
        tells = sorted((m for m in much if m[0] >= MUCH), key=lambda m: -m[0])
        found.append(
            Likeness(
                genus=name,
                how_to_tell=compared.how_to_tell,
                tells=tuple(name for _, name in tells),
                is_unseparated=name in close,
                caution=taxa.genera[name].caution,
            )
        )
    return sorted(found, key=lambda one: (not one.is_unseparated, len(one.tells), one.genus))


def _is_of(pair: Lookalike, genus: str) -> bool:
    """Whether a pair is of a genus."""
    return genus in (pair.genus_a, pair.genus_b)


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
    """The smallest usual calice or valley of some profiles."""
    least = [p.sizes[m].usual_low_mm for p in looks for m in CALICES if m in p.sizes]
    return min(least, default=None)


def _is_disc(look: Profile) -> bool:
    """Whether only the width of the whole disc is known."""
    return bool(look.sizes) and not any(m in look.sizes for m in CALICES)


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
    needs, in_photo = find_photo_needs(
        character, *scale, is_disc=any(map(_is_disc, (*looks_a, *looks_b)))
    )
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
