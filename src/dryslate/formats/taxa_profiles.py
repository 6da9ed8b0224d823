"""Profiles of the genera from the rows of the genus tables."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import cast, get_args

from dryslate.core.identify.taxa import (
    Character,
    Frequency,
    Genus,
    Kind,
    Measure,
    Profile,
    SizeRange,
    StateRow,
)
from dryslate.formats.taxa_rows import Checker, Row
from dryslate.formats.taxa_species import species_sizes

FREQUENCIES: tuple[str, ...] = get_args(Frequency)
MEASURES: tuple[str, ...] = get_args(Measure)
USUAL: Frequency = "usual"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """
    What profiles are made of.

    Parameters
    ----------
    profiles, states, measures, species : list of Row
    genera : Mapping of str to Genus
    characters : Mapping of str to Character
    regions : Mapping of str to frozenset of str
        Finest regions of each region, before checklists.
    parents : Mapping of str to frozenset of str
        Of regions with a checklist: where they lie.
    """

    profiles: list[Row]
    states: list[Row]
    measures: list[Row]
    species: list[Row]
    genera: Mapping[str, Genus]
    characters: Mapping[str, Character]
    regions: Mapping[str, frozenset[str]]
    parents: Mapping[str, frozenset[str]]


def build_profiles(tables: Tables, checker: Checker) -> tuple[Profile, ...]:
    """
    Put the profiles of all genera together.

    Parameters
    ----------
    tables : Tables
    checker : Checker
        Collects what is wrong.

    Returns
    -------
    tuple of Profile
        In the order of the genera. Rows without a profile hold for every profile of the genus;
        rows with one take their place for that character or measure.
    """
    named = _by_genus(_good_profiles(tables, checker), tables, checker)
    states = _by_genus(_good_states(tables, checker), tables, checker)
    measures = _by_genus(_good_measures(tables, checker), tables, checker)
    species = _species_of(tables, checker)
    _check_profile_names(named, [*states.values(), *measures.values()], checker)
    cache: dict[tuple[str, str], StateRow] = {}
    built: list[Profile] = []
    for genus in tables.genera.values():
        own = _Own(
            genus=genus,
            named=named.get(genus.genus, []),
            states=states.get(genus.genus, []),
            measures=measures.get(genus.genus, []),
            species=species.get(genus.genus, []),
        )
        built += _profiles_of(own, tables, cache, checker)
    return tuple(built)


_Placed = tuple[Row, frozenset[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Own:
    """Rows of one genus with their finest regions."""

    genus: Genus
    named: list[_Placed]
    states: list[_Placed]
    measures: list[_Placed]
    species: list[_Placed]


def _by_genus(rows: list[Row], tables: Tables, checker: Checker) -> dict[str, list[_Placed]]:
    """Rows by genus, with the finest regions that they hold for."""
    placed: dict[str, list[_Placed]] = defaultdict(list)
    seen: dict[str, frozenset[str]] = {}
    for row in rows:
        text = row.get("region")
        regions = seen.get(text)
        if regions is None:
            regions = frozenset().union(
                *(
                    tables.regions[w]
                    for w in row.words("region")
                    if checker.known(row, "region", w, tables.regions, "taxa-region-unknown")
                )
            )
            if regions:
                seen[text] = regions
        if regions:
            placed[row.get("genus")].append((row, regions))
        elif not row.words("region"):
            checker.filled(row, "region")
    return placed


def _good_profiles(tables: Tables, checker: Checker) -> list[Row]:
    """Rows of profiles that can be used."""
    return [
        row
        for row in checker.once(
            tables.profiles,
            lambda r: (r.get("genus"), r.get("profile"), r.get("region")),
            "taxa-row-twice",
            "profile",
        )
        if checker.filled(row, "profile", "region", "source")
        and checker.known(row, "genus", row.get("genus"), tables.genera, "taxa-genus-unknown")
        and checker.number(row, "share") is not None
    ]


def _good_states(tables: Tables, checker: Checker) -> list[Row]:
    """Rows of states that can be used."""
    good: list[Row] = []
    genera, characters = tables.genera, tables.characters
    for row in checker.once(tables.states, _state_key, "taxa-row-twice", "state"):
        if not row.get("source"):
            checker.filled(row, "source")
            continue
        if not checker.known(row, "genus", row.get("genus"), genera, "taxa-genus-unknown"):
            continue
        name = row.get("character")
        if not checker.known(row, "character", name, characters, "taxa-character-unknown"):
            continue
        known = characters[name].states
        if checker.known(row, "state", row.get("state"), known, "taxa-state-unknown") and (
            checker.known(row, "frequency", row.get("frequency"), FREQUENCIES, "taxa-word-unknown")
        ):
            good.append(row)
    return good


def _state_key(row: Row) -> tuple[str, ...]:
    """What a state is stated of."""
    cells = row.cells
    return (
        cells["genus"],
        cells["region"],
        cells.get("profile", ""),
        cells["character"],
        cells["state"],
    )


def _good_measures(tables: Tables, checker: Checker) -> list[Row]:
    """Rows of measures that can be used: four numbers in order, in millimetres."""
    good: list[Row] = []
    for row in checker.once(
        tables.measures,
        lambda r: (r.get("genus"), r.get("region"), r.get("profile"), r.get("measure")),
        "taxa-row-twice",
        "measure",
    ):
        numbers = [checker.number(row, c) for c in ("low", "usual_low", "usual_high", "high")]
        values = [v for v in numbers if v is not None]
        ordered = len(values) == 4 and values == sorted(values)
        if len(values) == 4 and not ordered:
            checker.found.append(
                row.problem(
                    "taxa-range-unordered",
                    "low",
                    f"expected low, usual_low, usual_high, high in rising order; found {values}",
                    "Put the four numbers in order.",
                )
            )
        words = (
            checker.known(row, "genus", row.get("genus"), tables.genera, "taxa-genus-unknown"),
            checker.known(row, "measure", row.get("measure"), MEASURES, "taxa-measure-unknown"),
            checker.known(row, "unit", row.get("unit"), ("mm",), "taxa-unit-unknown"),
            checker.filled(row, "source"),
        )
        if ordered and all(words):
            good.append(row)
    return good


def _species_of(tables: Tables, checker: Checker) -> dict[str, list[_Placed]]:
    """Rows of species by genus; those of genera that are not told apart are left out."""
    growth = tables.characters.get("growth_form")
    forms = growth.states if growth else {}
    placed: dict[str, list[_Placed]] = defaultdict(list)
    for row in checker.once(
        tables.species, lambda r: r.get("species"), "taxa-row-twice", "species"
    ):
        genus = row.get("genus")
        if genus not in tables.genera or not checker.filled(row, "species", "source"):
            continue
        good = [
            checker.known(row, "growth_form", w, forms, "taxa-state-unknown")
            for w in row.words("growth_form")
        ]
        regions = [
            tables.regions[w]
            for w in row.words("region")
            if checker.known(row, "region", w, tables.regions, "taxa-region-unknown")
        ]
        sizes = [
            checker.number(row, c) is not None
            for c in ("corallite_width_min_mm", "corallite_width_max_mm")
            if row.get(c)
        ]
        if all(good) and all(sizes):
            placed[genus].append((row, frozenset().union(*regions)))
    return placed


def _check_profile_names(
    named: Mapping[str, list[_Placed]], tables: list[list[_Placed]], checker: Checker
) -> None:
    """Tell of rows whose profile is not in the table of profiles."""
    for rows in tables:
        for row, _ in rows:
            if profile := row.get("profile"):
                known = {r.get("profile") for r, _ in named.get(row.get("genus"), [])}
                checker.known(row, "profile", profile, known, "taxa-profile-unknown")


def _profiles_of(
    own: _Own, tables: Tables, cache: dict[tuple[str, str], StateRow], checker: Checker
) -> Iterator[Profile]:
    """Profiles of one genus, by the groups of regions over which its rows are the same."""
    if not own.genus.regions:
        return
    for regions in _groups_of(own, tables):
        some = next(iter(regions))
        at = (
            next(iter(tables.parents[some] & own.genus.regions), some)
            if (some in tables.parents)
            else some
        )
        here = [(row, r) for row, r in own.named if at in r]
        top = max((row.layer for row, _ in here), default=0)
        looks: dict[str, Row | None] = {
            row.get("profile"): row for row, _ in here if row.layer == top
        }
        looks = looks or {"": None}
        for name, look in looks.items():
            chosen = _chosen([row for row, r in own.states if at in r], name, "character")
            measured = _chosen([row for row, r in own.measures if at in r], name, "measure")
            sizes = {m: _size_of(rows[-1]) for m, rows in measured.items()}
            bare = Profile(
                genus=own.genus.genus,
                profile=name,
                regions=_with_own(regions, own, tables),
                share=float(look.get("share")) if look else 1.0,
                states={c: _states_of(rows, cache) for c, rows in chosen.items()},
                sizes=sizes,
            )
            yield replace(bare, kinds=tuple(_kinds_of(own, look, bare, tables)))
        if looks != {"": None}:
            _check_kinds(own, list(looks.values()), checker)


def _groups_of(own: _Own, tables: Tables) -> list[frozenset[str]]:
    """The genus's finest regions, those with the same rows together."""
    texts = {(row.get("region"), r) for row, r in (*own.named, *own.states, *own.measures)}
    groups: dict[frozenset[str], set[str]] = {}
    for region in sorted(own.genus.regions - set(tables.parents)):
        key = frozenset(text for text, r in texts if region in r)
        groups.setdefault(key, set()).add(region)
    if not groups:
        return [own.genus.regions]
    return [frozenset(g) for g in groups.values()]


def _with_own(regions: frozenset[str], own: _Own, tables: Tables) -> frozenset[str]:
    """Add the regions with a checklist that has the genus and lie within (or near, if none do)."""
    added = set(regions)
    for region, parent in tables.parents.items():
        if region in own.genus.regions and (
            parent & regions or not parent & (own.genus.regions - set(tables.parents))
        ):
            added.add(region)
    return frozenset(added)


def _chosen(rows: list[Row], profile: str, column: str) -> dict[str, list[Row]]:
    """Rows by character: the profile's own before the genus's, the latest table's only."""
    by_name: dict[str, dict[bool, list[Row]]] = {}
    for row in rows:
        of_profile = row.cells.get("profile", "")
        if of_profile in ("", profile):
            by_name.setdefault(row.cells[column], {}).setdefault(bool(of_profile), []).append(row)
    chosen: dict[str, list[Row]] = {}
    for name, choices in by_name.items():
        best = choices.get(True) or choices[False]
        top = max(row.layer for row in best)
        chosen[name] = [row for row in best if row.layer == top]
    return chosen


def _states_of(rows: list[Row], cache: dict[tuple[str, str], StateRow]) -> dict[str, StateRow]:
    """States of one character."""
    states: dict[str, StateRow] = {}
    for row in rows:
        key = (row.cells["frequency"], row.cells["source"])
        if key not in cache:
            cache[key] = StateRow(frequency=cast("Frequency", key[0]), source=key[1])
        states[row.cells["state"]] = cache[key]
    return states


def _size_of(row: Row) -> SizeRange:
    """A published range."""
    return SizeRange(
        low_mm=float(row.get("low")),
        usual_low_mm=float(row.get("usual_low")),
        usual_high_mm=float(row.get("usual_high")),
        high_mm=float(row.get("high")),
        source=row.get("source"),
    )


def _kinds_of(
    own: _Own,
    look: Row | None,
    bare: Profile,
    tables: Tables,
) -> Iterator[Kind]:
    """
    Species of the genus that show this profile and live in these regions.

    A form of a species that its profile is not scored to show is left out: the source of the
    species has fewer words for forms than we have (a mushroom coral is "massive" there).
    """
    listed = look.words("kinds") if look else ("*",)
    forms = bare.states.get("growth_form", {})
    elsewhere = {
        w
        for row, r in own.named
        if row is not look and r & bare.regions
        for w in row.words("kinds")
    }
    for row, lives in own.species:
        epithet = row.get("species").split()[-1]
        is_here = epithet in listed or ("*" in listed and epithet not in elsewhere)
        if not is_here or (lives and not lives & bare.regions):
            continue
        yield Kind(
            name=row.get("species"),
            regions=_with_parents(lives, own, tables),
            growth_forms={w: USUAL for w in row.words("growth_form") if w in forms},
            sizes=species_sizes(row, bare.sizes),
            share=1.0,
            source=row.get("source"),
        )


def _with_parents(lives: frozenset[str], own: _Own, tables: Tables) -> frozenset[str]:
    """A species of a region lives in the parts of it that have a list with its genus."""
    if not lives:
        return lives
    added = {r for r, p in tables.parents.items() if r in own.genus.regions and p & lives}
    return lives | added


def _check_kinds(own: _Own, looks: list[Row | None], checker: Checker) -> None:
    """Tell of species that a profile lists and the table of species does not have."""
    epithets = {row.get("species").split()[-1] for row, _ in own.species}
    for look in looks:
        for word in look.words("kinds") if look else ():
            if look and word != "*":
                checker.known(look, "kinds", word, epithets, "taxa-species-unknown")
