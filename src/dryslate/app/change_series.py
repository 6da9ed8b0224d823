"""What may be compared between visits: unit values at lists that all of the visits share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.adjusted_results import second_looks
from dryslate.app.change_categories import AtOneList, CategoryLists, at_one_list
from dryslate.app.change_sizes import size_series
from dryslate.app.common_list import (
    at_common_list,
    common_list,
    is_listed_name,
    level_of,
    may_be,
    members_of,
)
from dryslate.app.result_tallies import NotedName, SampledAlike, tally_units
from dryslate.app.unit_values import Series, series_of
from dryslate.base.quality import Flag

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category
    from dryslate.base.problems import Problem
    from dryslate.core.survey.coverage import CoverageTable


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyedUnits:
    """
    The sums of all units of a project, with what bringing them to common lists needs.

    Parameters
    ----------
    groups : tuple of SampledAlike
    names : mapping of str to NotedName
    lists : CategoryLists
    has_second_looks : bool
        Whether names were looked at again; they are compared as they were noted all the same.
    coverage : CoverageTable or None
        Gives changes the flags of simulated coverage.
    """

    groups: tuple[SampledAlike, ...]
    names: Mapping[str, NotedName]
    lists: CategoryLists
    has_second_looks: bool = False
    coverage: CoverageTable | None = None

    @property
    def sites(self) -> tuple[str, ...]:
        """Sites with units, in the order of the alphabet."""
        return tuple(sorted({group.site for group in self.groups}))


def surveyed_units(
    store: SurveyStore, usual: Sequence[Category], coverage: CoverageTable | None = None
) -> SurveyedUnits:
    """
    Read what was noted, summed by unit.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.
    coverage : CoverageTable, optional

    Returns
    -------
    SurveyedUnits
    """
    tallied = tally_units(store, usual)
    return SurveyedUnits(
        groups=tallied.groups,
        names=tallied.names,
        lists=CategoryLists.of(store),
        has_second_looks=bool(second_looks(store)),
        coverage=coverage,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparable:
    """
    What may be compared.

    Parameters
    ----------
    each : tuple of Series
        Of each site, at the lists that its own visits share.
    joint : tuple of Series
        Of several sites, at the lists that the visits to all of them share.
    problems : tuple of Problem
    """

    each: tuple[Series, ...]
    joint: tuple[Series, ...]
    problems: tuple[Problem, ...]


def comparable_series(
    units: SurveyedUnits,
    sites: Sequence[str] = (),
    *,
    has_each: bool = True,
    has_joint: bool = True,
) -> Comparable:
    """
    Bring visits to common lists and put unit values in order.

    Parameters
    ----------
    units : SurveyedUnits
    sites : sequence of str
        Only these; empty: all.
    has_each, has_joint : bool
        Whether series of each site, and of several sites, are wanted.

    Returns
    -------
    Comparable

    Notes
    -----
    Names go to the coarsest list that the visits have in common (`at_common_list`), categories to
    the newest of their lists (`at_one_list`): of a site for what is compared within it, of all
    sites for what is compared across them.
    """
    places: dict[tuple[str, ...], list[SampledAlike]] = defaultdict(list)
    alike: dict[tuple[str, ...], list[SampledAlike]] = defaultdict(list)
    for group in units.groups:
        if not sites or group.site in sites:
            way: tuple[str, ...] = (group.zone, group.design, str(group.is_permanent))
            places[group.site, *way].append(group)
            alike[way].append(group)
    each: list[Series] = []
    joint: list[Series] = []
    problems: list[Problem] = []
    for way, groups in sorted(alike.items()):
        own = [places[place] for place in sorted(places) if place[1:] == way]
        if len(own) > 1 and has_joint:
            joint += _series(groups, units, problems)
        if has_each:
            for visits in own:
                each += _series(visits, units, problems)
    return Comparable(each=tuple(each), joint=tuple(joint), problems=tuple(dict.fromkeys(problems)))


def _series(
    groups: Sequence[SampledAlike], units: SurveyedUnits, problems: list[Problem]
) -> Iterator[Series]:
    """Return the series of visits that are compared with each other."""
    if len({group.visit_id for group in groups}) < 2:
        return
    listed = at_one_list(groups, units.lists)
    problems += listed.problems
    joined = common_list(listed.groups, units.names)
    together = members_of(joined)
    unnamed = {group.visit_id for group in groups if not _has_names(group, units.names)}

    def open_names(thing: str) -> tuple[str, ...]:
        return may_be(thing, together.get(thing, ()), units.names)

    alike = at_common_list(listed.groups, units.names)
    for one in (*series_of(alike, open_names), *size_series(alike, open_names)):
        thing = f"{one.kind_of_thing}\t{one.thing}"
        if thing in listed.left_out:
            continue
        if one.kind_of_thing == "name":
            named = _named(one, thing, together, units)
            if named is not None:
                is_coral = thing in units.names or thing in together
                yield _without(named, unnamed) if is_coral else named
        else:
            yield _of_list(one, thing, listed)


def _of_list(one: Series, thing: str, listed: AtOneList) -> Series:
    """Say which categories of earlier lists count to one."""
    names = listed.together.get(thing, ())
    return replace(one, together=names, flags=(Flag.CATEGORIES_MAPPED,)) if names else one


def _named(
    one: Series, thing: str, together: Mapping[str, Sequence[str]], units: SurveyedUnits
) -> Series | None:
    """Say at which level a name is compared; None for names that say no genus or family."""
    members = together.get(thing, ())
    noted = units.names.get(thing)
    if noted is not None and noted.is_listed and not members and not is_listed_name(noted):
        return None
    if not any(visit.own for visit in one.visits):
        return None  # looked for, and never seen
    flags = [] if noted is None or noted.is_listed else [Flag.NAME_IN_NO_LIST]
    if units.has_second_looks and (members or noted is not None):
        flags.append(Flag.NAMES_AS_NOTED)
    return replace(
        one,
        level=level_of(thing, members, units.names),
        together=tuple(member.split("\t")[1] for member in members),
        flags=tuple(flags),
    )


def _has_names(group: SampledAlike, names: Mapping[str, NotedName]) -> bool:
    """Tell whether any coral of a visit has a name that says what it is, or there is no coral."""
    noted = {
        thing
        for tally in group.tallies
        for sums in (tally.on, tally.counts)
        for thing, amount in sums.items()
        if amount and thing in names
    }
    return not noted or any(is_listed_name(names[one]) or not names[one].is_listed for one in noted)


def _without(one: Series, visit_ids: set[str]) -> Series:
    """Leave out visits at which corals were noted without any names."""
    visits = tuple(visit for visit in one.visits if visit.visit_id not in visit_ids)
    return replace(one, visits=visits)
