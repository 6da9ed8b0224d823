"""The genus tables (CSV) as one record of all that is known, with each fault and its place."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, cast, get_args

from dryslate.base.problems import Problem
from dryslate.core.identify.taxa import (
    Character,
    Frequency,
    Genus,
    Group,
    Lookalike,
    Measure,
    Met,
    SeenWith,
    TaxaData,
)
from dryslate.formats.taxa_profiles import Tables, build_profiles
from dryslate.formats.taxa_rows import COLUMNS, Checker, Row, read_rows, table_of

GROUPS: tuple[str, ...] = get_args(Group)
FREQUENCIES: tuple[str, ...] = get_args(Frequency)
MEASURES: tuple[str, ...] = get_args(Measure)
SEEN_WITH: tuple[str, ...] = get_args(SeenWith)
MET: tuple[str, ...] = get_args(Met)  # the most often first
NOT_GENERA = frozenset({"not_coral", "juvenile"})
"""Groups that are answers everywhere, whatever a checklist holds."""


@dataclass(slots=True)
class _Parts:
    """What has been read so far, the later tables over the earlier ones."""

    regions: dict[str, frozenset[str]] = field(default_factory=dict)
    characters: dict[str, Character] = field(default_factory=dict)
    genera: dict[str, Genus] = field(default_factory=dict)
    checklists: dict[str, set[str]] = field(default_factory=dict)


def parse_taxa(tables: Mapping[str, str]) -> tuple[TaxaData, list[Problem]]:
    r"""
    Read the genus tables.

    Parameters
    ----------
    tables : Mapping of str to str
        Text of each CSV file by its name; the name's last part says which table it is
        (``states.csv``, ``taxa/states.csv``). Tables of one kind add to each other: rows of a later
        one take the place of what an earlier one says of the same thing (a genus; a character of a
        genus and profile; a measure; a pair of look-alikes).

    Returns
    -------
    data : TaxaData
        Without the rows that cannot be used.
    problems : list of Problem
        ``taxa-table-unknown``, ``taxa-columns-missing``, ``taxa-row-broken``,
        ``taxa-cell-empty``, ``taxa-number-broken``, ``taxa-range-unordered``,
        ``taxa-genus-twice``, ``taxa-row-twice``, ``taxa-genus-unknown``,
        ``taxa-character-unknown``, ``taxa-state-unknown``, ``taxa-measure-unknown``,
        ``taxa-region-unknown``, ``taxa-profile-unknown``, ``taxa-species-unknown``,
        ``taxa-word-unknown``, ``taxa-unit-unknown``; each with file, line and column.

    Notes
    -----
    A region that has a checklist becomes a finest region of its own, which holds the genera of the
    list and the answers that are no genus. A finest region that has one keeps the listed genera.

    Examples
    --------
    >>> data, problems = parse_taxa({"version.csv": "version,what\n7,made up\n"})
    >>> data.version, problems
    ('7', [])
    """
    found: list[Problem] = []
    rows = _rows_of(tables, found)
    checker, parts = Checker(found), _Parts()
    _read_regions(rows["regions"], parts, checker)
    _read_characters(rows, parts, checker)
    _read_genera(rows["genera"], parts, checker)
    _read_checklists(rows["checklist"], parts, checker)
    tables_of_looks = _profile_tables(rows, parts)
    profiles = build_profiles(tables_of_looks, checker)
    lookalikes = _read_lookalikes(rows["lookalikes"], parts, checker)
    frequencies = _read_frequencies(rows["frequencies"], parts, checker)
    data = TaxaData(
        version=_version_of(rows["version"], tables),
        characters=parts.characters,
        genera=parts.genera,
        profiles=profiles,
        lookalikes=lookalikes,
        regions=parts.regions,
        frequencies=frequencies,
        met=_read_met(rows["met"], parts, tables_of_looks.parents, checker),
        versions=frozenset(row.get("version") for row in rows["version"]),
    )
    return data, found


def _rows_of(tables: Mapping[str, str], found: list[Problem]) -> dict[str, list[Row]]:
    """Rows by kind of table, the earlier files first."""
    rows: dict[str, list[Row]] = {name: [] for name in COLUMNS}
    layers: dict[str, int] = defaultdict(int)
    for name, text in tables.items():
        table = table_of(name)
        if table not in COLUMNS:
            found.append(
                Problem(
                    slug="taxa-table-unknown",
                    severity="error",
                    place=name,
                    message=f"there is no table called {table!r}",
                    fix=f"Known: {', '.join(COLUMNS)}.",
                )
            )
            continue
        rows[table] += read_rows(name, text, layers[table], found)
        layers[table] += 1
    return rows


def _version_of(rows: list[Row], tables: Mapping[str, str]) -> str:
    """The last row's version; what a project adds is marked by its hash."""
    version = rows[-1].get("version") if rows else "0"
    added = "\0".join(f"{n}\0{t}" for n, t in sorted(tables.items()) if "/" in n)
    return f"{version}+{hashlib.sha256(added.encode()).hexdigest()[:8]}" if added else version


def _read_regions(rows: list[Row], parts: _Parts, checker: Checker) -> None:
    """Finest regions first, then those made of others."""
    unions = []
    for row in checker.once(rows, lambda r: r.get("region"), "taxa-row-twice", "region"):
        if not checker.filled(row, "region"):
            continue
        if row.words("made_of"):
            unions.append(row)
        else:
            parts.regions[row.get("region")] = frozenset({row.get("region")})
    for row in unions:
        made = [
            w
            for w in row.words("made_of")
            if checker.known(row, "made_of", w, parts.regions, "taxa-region-unknown")
        ]
        if made:
            parts.regions[row.get("region")] = frozenset().union(*(parts.regions[w] for w in made))


def _read_characters(rows: Mapping[str, list[Row]], parts: _Parts, checker: Checker) -> None:
    """Characters with the plain words of their states."""
    words: dict[str, dict[str, str]] = defaultdict(dict)
    states = rows["character_states"]
    key = "taxa-row-twice"
    for row in checker.once(states, lambda r: (r.get("character"), r.get("state")), key, "state"):
        if checker.filled(row, "character", "state", "words"):
            words[row.get("character")][row.get("state")] = row.get("words")
    for row in checker.once(rows["characters"], lambda r: r.get("character"), key, "character"):
        good = checker.filled(row, "character", "question", "seen_with")
        if not good or not checker.known(
            row, "seen_with", row.get("seen_with"), SEEN_WITH, "taxa-word-unknown"
        ):
            continue
        if not checker.known(
            row, "is_hard", row.get("is_hard"), ("yes", "no", ""), "taxa-word-unknown"
        ):
            continue
        for_some = row.get("for_some")
        if not checker.known(row, "for_some", for_some, ("yes", "no", ""), "taxa-word-unknown"):
            continue
        name = row.get("character")
        parts.characters[name] = Character(
            character=name,
            question=row.get("question"),
            seen_with=cast("SeenWith", row.get("seen_with")),
            is_hard=row.get("is_hard") == "yes",
            states=words.get(name, {}),
            is_for_some=row.get("for_some") == "yes",
        )
    for row in states:
        checker.known(
            row, "character", row.get("character"), parts.characters, "taxa-character-unknown"
        )


def _read_genera(rows: list[Row], parts: _Parts, checker: Checker) -> None:
    """Genera with their finest regions."""
    for row in checker.once(rows, lambda r: r.get("genus"), "taxa-genus-twice", "genus"):
        if not checker.filled(row, "genus", "family", "group", "region"):
            continue
        regions = finest_of(row, parts.regions, checker)
        if not regions or not checker.known(
            row, "group", row.get("group"), GROUPS, "taxa-word-unknown"
        ):
            continue
        parts.genera[row.get("genus")] = Genus(
            genus=row.get("genus"),
            family=row.get("family"),
            authority=row.get("authority"),
            group=cast("Group", row.get("group")),
            regions=regions,
            former_names=row.words("former_names"),
            caution=row.get("caution"),
            remark=row.get("remark"),
            place=row.place,
        )


def finest_of(row: Row, regions: Mapping[str, frozenset[str]], checker: Checker) -> frozenset[str]:
    """Finest regions that a row's regions are made of."""
    return frozenset().union(
        *(
            regions[w]
            for w in row.words("region")
            if checker.known(row, "region", w, regions, "taxa-region-unknown")
        )
    )


def _read_checklists(rows: list[Row], parts: _Parts, checker: Checker) -> None:
    """Regions that hold the genera of a list only."""
    for row in rows:
        good = checker.filled(row, "region", "genus") and checker.known(
            row, "region", row.get("region"), parts.regions, "taxa-region-unknown"
        )
        if good and checker.known(
            row, "genus", row.get("genus"), parts.genera, "taxa-genus-unknown"
        ):
            parts.checklists.setdefault(row.get("region"), set()).add(row.get("genus"))
    finest = {r for genus in parts.genera.values() for r in genus.regions}
    for region, listed in list(parts.checklists.items()):
        for name, genus in parts.genera.items():
            if name in listed or genus.group in NOT_GENERA:
                parts.genera[name] = replace(genus, regions=genus.regions | {region})
            elif region in genus.regions:
                parts.genera[name] = replace(genus, regions=genus.regions - {region})
        if region in finest:
            del parts.checklists[region]  # it is a finest region already, with its own rows


def _profile_tables(rows: Mapping[str, list[Row]], parts: _Parts) -> Tables:
    """Hand over what profiles are made of; a region with a checklist becomes its own."""
    parents = {region: parts.regions[region] for region in parts.checklists}
    for region in parents:
        parts.regions[region] = frozenset({region})
    return Tables(
        profiles=rows["profiles"],
        states=rows["states"],
        measures=rows["measures"],
        species=rows["species"],
        genera=parts.genera,
        characters=parts.characters,
        regions={**parts.regions, **parents},
        parents=parents,
    )


def _read_lookalikes(rows: list[Row], parts: _Parts, checker: Checker) -> tuple[Lookalike, ...]:
    """Pairs, a later table over an earlier one."""
    pairs: dict[frozenset[str], Lookalike] = {}
    known = {**parts.characters, **dict.fromkeys(MEASURES)}
    for row in checker.once(
        rows,
        lambda r: frozenset({r.get("genus_a"), r.get("genus_b")}),
        "taxa-row-twice",
        "genus_b",
    ):
        columns: tuple[Literal["genus_a"], Literal["genus_b"]] = ("genus_a", "genus_b")
        good = [
            checker.known(row, c, row.get(c), parts.genera, "taxa-genus-unknown") for c in columns
        ]
        if not all(good) or not checker.filled(row, "how_to_tell"):
            continue
        names = tuple(
            w
            for w in row.words("characters")
            if checker.known(row, "characters", w, known, "taxa-character-unknown")
        )
        pairs[frozenset({row.get("genus_a"), row.get("genus_b")})] = Lookalike(
            genus_a=row.get("genus_a"),
            genus_b=row.get("genus_b"),
            how_to_tell=row.get("how_to_tell"),
            characters=names,
            source=row.get("source"),
            place=row.place,
        )
    return tuple(pairs.values())


def _read_met(
    rows: list[Row], parts: _Parts, parents: Mapping[str, frozenset[str]], checker: Checker
) -> dict[str, dict[str, Met]]:
    """How often genera are met, by finest region; a checklist's region is as where it lies."""
    met: dict[str, dict[str, Met]] = {}
    for row in checker.once(
        rows, lambda r: (r.get("genus"), r.get("region")), "taxa-row-twice", "genus"
    ):
        good = checker.known(row, "genus", row.get("genus"), parts.genera, "taxa-genus-unknown")
        if good and checker.known(row, "met", row.get("met"), MET, "taxa-word-unknown"):
            for region in sorted(finest_of(row, parts.regions, checker)):
                met.setdefault(region, {})[row.get("genus")] = cast("Met", row.get("met"))
    for region, around in parents.items():
        told = [met[r] for r in sorted(around) if r in met]
        listed = {g: min((m[g] for m in told if g in m), key=MET.index) for m in told for g in m}
        met[region] = {**listed, **met.get(region, {})}
    return met


def _read_frequencies(
    rows: list[Row], parts: _Parts, checker: Checker
) -> dict[str, dict[str, float]]:
    """Local relative frequencies by region."""
    given: dict[str, dict[str, float]] = {}
    for row in checker.once(
        rows, lambda r: (r.get("region"), r.get("genus")), "taxa-row-twice", "genus"
    ):
        good = checker.known(
            row, "region", row.get("region"), parts.regions, "taxa-region-unknown"
        ) and checker.known(row, "genus", row.get("genus"), parts.genera, "taxa-genus-unknown")
        value = checker.number(row, "frequency") if good else None
        if value is not None:
            given.setdefault(row.get("region"), {})[row.get("genus")] = value
    return given
