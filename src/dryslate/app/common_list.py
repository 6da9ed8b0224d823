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
    listed = [thing for thing in noted if is_listed_name(names[thing])]
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

    Notes
    -----
    Where a unit says which names it searched for, what was put together is a count there only if
    all of it was searched for; else the unit is blank for it.
    """
    joined = common_list(groups, names)
    together = members_of(joined)
    return tuple(
        replace(
            group,
            units=tuple(
                TalliedUnit(unit=one.unit, tally=_joined(one.tally, joined, together, names))
                for one in group.units
            ),
        )
        for group in groups
    )


def members_of(joined: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    r"""
    Return what was put together to each thing; things that stand alone are not there.

    Parameters
    ----------
    joined : mapping of str to str
        As `common_list` returns it.

    Returns
    -------
    dict
        Things, in the order of the alphabet.

    Examples
    --------
    >>> members_of({"name\tFavites": "name\tMerulinidae", "name\tPorites": "name\tPorites"})
    {'name\tMerulinidae': ('name\tFavites',)}
    """
    found: dict[str, list[str]] = defaultdict(list)
    for thing in sorted(joined):
        found[joined[thing]].append(thing)
    return {word: tuple(things) for word, things in found.items() if things != [word]}


def level_of(thing: str, together: Sequence[str], names: Mapping[str, NotedName]) -> str:
    """
    Say at which level a name is compared.

    Parameters
    ----------
    thing : str
    together : sequence of str
        What was put together to it; empty: it stands alone.
    names : mapping of str to NotedName

    Returns
    -------
    str
        A rank; ``several names`` where none holds the others; ``as written`` for names that no
        list of corals has.
    """
    if thing in names:
        return names[thing].rank if names[thing].is_listed else "as written"
    return "several names" if together else "as written"


def is_listed_name(noted: NotedName) -> bool:
    """Tell whether a name says a genus, or a family or "or" that genera can join."""
    return bool(noted.genera) and noted.rank in ("genus", "family")


def may_be(thing: str, together: Sequence[str], names: Mapping[str, NotedName]) -> tuple[str, ...]:
    """
    Return the names that may be a thing and joined nothing.

    Parameters
    ----------
    thing : str
    together : sequence of str
        What was put together to it; empty: it stands alone.
    names : mapping of str to NotedName

    Returns
    -------
    tuple of str
        Orders, "cannot tell", names in no list, corals without a name; empty where the thing is
        no coral's name, or one of these itself.
    """
    own = [one for one in together or (thing,) if one in names]
    if not own or not all(is_listed_name(names[one]) for one in own):
        return ()
    genera = {genus for one in own for genus in names[one].genera}
    return tuple(
        other
        for other, noted in names.items()
        if not is_listed_name(noted) and (not noted.genera or genera & set(noted.genera))
    )


def _joined(
    tally: UnitTally,
    joined: Mapping[str, str],
    together: Mapping[str, Sequence[str]],
    names: Mapping[str, NotedName],
) -> UnitTally:
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
    alone = {thing for thing in tally.looked_for if joined.get(thing, thing) == thing}
    found.looked_for = frozenset(alone - set(together))
    for word, members in together.items():
        if _is_searched(tally, members, names):
            if tally.design.searched and found.counts:
                found.counts.setdefault(word, 0)
                found.looked_for |= {word}
        else:
            found.counts.pop(word, None)
    return found


def _is_searched(tally: UnitTally, members: Sequence[str], names: Mapping[str, NotedName]) -> bool:
    """Tell whether a unit searched for all that was put together, or states no names at all."""
    if not tally.design.searched:
        return True
    genera: set[str] = set()
    for word in tally.design.searched:
        noted = names.get(f"name\t{word}")
        genera |= set(noted.genera) if noted is not None and noted.genera else {word}
    return all(set(names[one].genera) <= genera for one in members)
