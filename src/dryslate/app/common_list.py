"""The coarsest list of names that several visits have in common, so that like is held to like."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from dryslate.app.result_tallies import NotedName, SampledAlike, TalliedUnit
from dryslate.core.survey.tally import UnitTally


def common_list(groups: Sequence[SampledAlike], names: Mapping[str, NotedName]) -> dict[str, str]:
    """
    Find what each name has to be taken together with before visits are compared.

    Parameters
    ----------
    groups : sequence of SampledAlike
        Of all the visits compared.
    names : mapping of str to NotedName

    Returns
    -------
    dict
        The thing that stands for each name in these groups; most names stand for themselves.

    Notes
    -----
    A name short of genus ("X or Y", a family) joins all genera noted that it may be, and with them
    every name that shares one: at one visit Merulinidae, at another *Favites* and *Goniastrea*,
    are one thing. Names that may be any coral (an order, "cannot tell", none, one in no list) join
    nothing, for all would be one; their share is in every genus' bounds.
    """
    noted = sorted(_noted(groups) & set(names))
    listed = [t for t in noted if names[t].genera and names[t].rank in ("genus", "family")]
    root = {thing: thing for thing in listed}

    def find(thing: str) -> str:
        while root[thing] != thing:
            thing = root[thing]
        return thing

    by_genus: dict[str, str] = {}
    for thing in listed:
        for genus in names[thing].genera:
            first = by_genus.setdefault(genus, thing)
            root[find(thing)] = find(first)
    members: dict[str, list[str]] = defaultdict(list)
    for thing in listed:
        members[find(thing)].append(thing)
    found = {thing: thing for thing in noted}
    for together in members.values():
        word = _word(together, names)
        found.update(dict.fromkeys(together, word))
    return found


def _noted(groups: Sequence[SampledAlike]) -> set[str]:
    """Return every thing that any unit has something of."""
    return {
        thing
        for group in groups
        for tally in group.tallies
        for sums in (tally.on, tally.counts)
        for thing, amount in sums.items()
        if amount
    } | {thing for group in groups for tally in group.tallies for thing in tally.colonies}


def _word(together: Collection[str], names: Mapping[str, NotedName]) -> str:
    """Name what was put together: by the widest name if it holds all, else by all of them."""
    widest = max(sorted(together), key=lambda thing: len(names[thing].genera))
    genera = {genus for thing in together for genus in names[thing].genera}
    if genera <= set(names[widest].genera):
        return widest
    return "name\t" + " + ".join(thing.split("\t")[1] for thing in sorted(together))


def at_common_list(
    groups: Sequence[SampledAlike], names: Mapping[str, NotedName]
) -> tuple[SampledAlike, ...]:
    """
    Return the sums of units with names taken together as `common_list` says.

    Parameters
    ----------
    groups : sequence of SampledAlike
        Of all the visits compared.
    names : mapping of str to NotedName

    Returns
    -------
    tuple of SampledAlike
        In the same order; totals are what they were.
    """
    joined = common_list(groups, names)
    return tuple(
        replace(
            group,
            units=tuple(
                TalliedUnit(unit=one.unit, tally=_joined(one.tally, joined)) for one in group.units
            ),
        )
        for group in groups
    )


def _joined(tally: UnitTally, joined: Mapping[str, str]) -> UnitTally:
    """Return a unit's sums by the common list; what it searched for goes with its name."""
    found = UnitTally(design=tally.design, read=tally.read, unreadable=tally.unreadable)
    for thing, amount in tally.on.items():
        found.on[joined.get(thing, thing)] += amount
    for thing, n in tally.counts.items():
        found.counts[joined.get(thing, thing)] += n
    for thing, rows in tally.colonies.items():
        found.colonies[joined.get(thing, thing)] += rows
    for thing, n in tally.chosen.items():
        found.chosen[joined.get(thing, thing)] += n
    return found
