"""Visits whose lists of categories differ, brought to the newest of these lists by its mapping."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from dryslate.app.result_tallies import ALL, SampledAlike, TalliedUnit
from dryslate.base.problems import Problem
from dryslate.core.survey.tally import UnitTally

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category

SUMS = ("on", "counts", "chosen")


@dataclass(frozen=True, slots=True, kw_only=True)
class CategoryLists:
    """
    The lists of a project, what stands for what, and which list each unit uses.

    Parameters
    ----------
    lists : mapping of int to mapping of str to Category
        By version.
    steps : mapping of (int, str) to tuple of (int, str)
        A version and a category to the later versions that have one for it, nearest first.
    used : mapping of str to int
        Unit to version; units that state none are not there.
    """

    lists: Mapping[int, Mapping[str, Category]]
    steps: Mapping[tuple[int, str], Sequence[tuple[int, str]]]
    used: Mapping[str, int]

    @classmethod
    def of(cls, store: SurveyStore) -> CategoryLists:
        """Read them."""
        lists: dict[int, dict[str, Category]] = defaultdict(dict)
        for one in store.categories():
            lists[one.list_version][one.category] = one
        used = {
            one.unit_id: one.list_version
            for one in store.unit_designs()
            if one.list_version is not None
        }
        steps: dict[tuple[int, str], list[tuple[int, str]]] = defaultdict(list)
        for mapping in store.category_mappings():
            key = (mapping.from_version, mapping.category)
            steps[key].append((mapping.to_version, mapping.to_category))
        return cls(lists=lists, steps={k: sorted(v) for k, v in steps.items()}, used=used)

    def stands_for(self, version: int, category: str, target: int) -> str | None:
        """
        Return what stands for a category in a later list, step by step.

        Parameters
        ----------
        version : int
        category : str
        target : int

        Returns
        -------
        str or None
            None where a list on the way has nothing for it.
        """
        while version < target:
            steps = [one for one in self.steps.get((version, category), ()) if one[0] <= target]
            if not steps:
                return None
            version, category = steps[0]
        return category if category in self.lists.get(target, {}) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class AtOneList:
    """
    Units at one list of categories.

    Parameters
    ----------
    groups : tuple of SampledAlike
    together : mapping of str to tuple of str
        What was put together to a thing under another name.
    left_out : frozenset of str
        Things that cannot be compared.
    problems : tuple of Problem
        ``change-category-left-out``: why; ``change-categories-mapped``: what stands for what.
    """

    groups: tuple[SampledAlike, ...]
    together: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    problems: tuple[Problem, ...] = ()


def at_one_list(groups: Sequence[SampledAlike], lists: CategoryLists) -> AtOneList:
    """
    Bring the sums of units to the newest list that any of them uses.

    Parameters
    ----------
    groups : sequence of SampledAlike
        Of all the visits compared.
    lists : CategoryLists

    Returns
    -------
    AtOneList

    Notes
    -----
    What the project said stands for a category is taken at its word. Left out are: a category that
    was noted and that nothing stands for; a category that was noted with the newer list and stands
    for nothing of the older, for there it was noted as something else; and each group that holds
    such a category, under the older or the newer list.
    """
    used = {lists.used[unit_id] for group in groups for unit_id in group.unit_ids
            if unit_id in lists.used}  # fmt: skip
    if len(used) < 2:
        return AtOneList(groups=tuple(groups))
    target = max(used)
    newest = lists.lists.get(target, {})
    noted = {version: _noted(groups, lists, version) for version in used}
    stands = {v: {c: lists.stands_for(v, c, target) for c in noted[v] | set(lists.lists[v])}
              for v in used}  # fmt: skip
    lost = {(v, c) for v in used for c in noted[v] if stands[v][c] is None}
    arrived = {to for v in used for c in noted[v] if (to := stands[v][c]) is not None}
    news = {c for c in arrived if any(c not in stands[v].values() for v in used)}
    left_out = {f"category\t{c}" for c in (*news, *(c for _, c in lost))}
    for version, category in lost:
        own = lists.lists[version].get(category)
        left_out |= set() if own is None else {f"group\t{own.group}"}
    left_out |= {f"group\t{newest[c].group}" for c in news}
    turned = {(v, c, to) for v in used for c in noted[v] if (to := stands[v][c]) is not None
              and lists.lists[v][c].is_hard_coral != newest[to].is_hard_coral}  # fmt: skip
    if turned:
        left_out.add(ALL)
    together: dict[str, set[str]] = defaultdict(set)
    for version in used:
        for category in noted[version]:
            if stands[version][category] not in (None, category):
                together[f"category\t{stands[version][category]}"].add(category)
    return AtOneList(
        groups=tuple(_brought(group, lists, stands, newest, target) for group in groups),
        together={thing: tuple(sorted(names)) for thing, names in sorted(together.items())},
        left_out=frozenset(left_out),
        problems=tuple(_told(lost, news, turned, together)),
    )


def _noted(groups: Sequence[SampledAlike], lists: CategoryLists, version: int) -> set[str]:
    """Return the categories that any unit of a version has something of."""
    return {
        thing.removeprefix("category\t")
        for group in groups
        for one in group.units
        if lists.used.get(one.unit.unit_id) == version
        for sums in (one.tally.on, one.tally.counts)
        for thing, amount in sums.items()
        if amount and thing.startswith("category\t")
    }


def _brought(
    group: SampledAlike,
    lists: CategoryLists,
    stands: Mapping[int, Mapping[str, str | None]],
    newest: Mapping[str, Category],
    target: int,
) -> SampledAlike:
    """Return units with their categories and groups by the newest list."""
    units = []
    for one in group.units:
        version = lists.used.get(one.unit.unit_id)
        if version is None or version == target:
            units.append(one)
        else:
            tally = _at_list(one.tally, stands[version], newest)
            units.append(TalliedUnit(unit=one.unit, tally=tally))
    return replace(group, units=tuple(units))


def _at_list(
    tally: UnitTally, stands: Mapping[str, str | None], newest: Mapping[str, Category]
) -> UnitTally:
    """Return a unit's sums with each category under the one that stands for it."""

    def things(thing: str) -> Iterable[str]:
        """Name what a sum counts to now."""
        kind, word = thing.split("\t")
        if kind == "category":
            to = stands.get(word)
            if to is None:
                yield thing
                return
            yield f"category\t{to}"
            if newest[to].group != to:
                yield f"group\t{newest[to].group}"
        elif kind == "name" or thing == ALL:
            yield thing

    found = UnitTally(design=tally.design, read=tally.read, unreadable=tally.unreadable)
    for which in SUMS:
        sums = getattr(found, which)
        for thing, amount in getattr(tally, which).items():
            for to in things(thing):
                sums[to] += amount
    for thing, rows in tally.colonies.items():
        for to in things(thing):
            found.colonies[to] += rows
    return found


def _told(
    lost: set[tuple[int, str]],
    news: set[str],
    turned: set[tuple[int, str, str]],
    together: Mapping[str, set[str]],
) -> Iterable[Problem]:
    """Say what stands for what, and what was left out and why."""
    for thing, names in sorted(together.items()):
        yield Problem(
            slug="change-categories-mapped",
            severity="note",
            place=" → ".join((", ".join(sorted(names)), thing.removeprefix("category\t"))),
            message="the list of categories changed between visits: earlier ones are compared as "
            "the one that stands for them.",
            fix="That is what the project said when it changed its list.",
        )
    for category in sorted({category for _, category in lost}):
        yield _left_out_problem(
            category,
            "no category of the newer list stands for it: left out of comparisons, and so is "
            "every group that holds it.",
        )
    for category in sorted(news):
        yield _left_out_problem(
            category,
            "it stands for no category of the earlier list, where it was noted as something else: "
            "left out of comparisons, and so is every group that holds it.",
        )
    for _, category, _ in sorted(turned):
        yield _left_out_problem(
            category,
            "hard coral in one list and not in the other: all corals together are left out of "
            "comparisons.",
        )


def _left_out_problem(category: str, why: str) -> Problem:
    """Say why something is not compared."""
    return Problem(
        slug="change-category-left-out",
        severity="warning",
        place=category,
        message=why,
        fix="A newer version of the list can say which category takes its place.",
    )
