"""From what was noted to the sums of each unit; the store sums what lies on points and tape."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.chosen_colonies import chosen_rows
from dryslate.app.survey_sums import Said
from dryslate.core.survey.designs import Design, SurveyRow
from dryslate.core.survey.tally import UnitTally, add_cover, tally_unit

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category, NotedRow
    from dryslate.app.unit_records import Unit

_ANY_CORAL = frozenset({"Scleractinia", "coral"})
"""Names that hold every coral, as they are kept."""
ALL = "group\tall corals"
"""Every coral, named or not."""
UNNAMED = "name\tcorals without a name"
"""Corals of which no name was noted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TalliedUnit:
    """A unit with what it adds to each figure."""

    unit: Unit
    tally: UnitTally


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledAlike:
    """
    Units that make a figure together.

    Parameters
    ----------
    visit_id, site, date : str
    zone : str
        Empty where the units state none.
    design : str
    is_permanent : bool
        Permanent plots, which speak of themselves.
    units : tuple of TalliedUnit
    """

    visit_id: str
    site: str
    date: str
    zone: str
    design: Design
    is_permanent: bool
    units: tuple[TalliedUnit, ...]

    @property
    def where(self) -> tuple[str, str, str]:
        """Site, date and zone."""
        return self.site, self.date, self.zone

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What tells it from all others."""
        return self.visit_id, self.zone, self.design, "plots" if self.is_permanent else "area"

    @property
    def tallies(self) -> tuple[UnitTally, ...]:
        """What each unit adds."""
        return tuple(one.tally for one in self.units)

    @property
    def drawn_by(self) -> tuple[str, ...]:
        """
        Return what seeds draws from these units: date, design, and the sums of each unit.

        None of it is withheld where a site is sensitive, so an archive read back draws the same.
        """
        sums = (
            f"{one.read!r} {one.unreadable!r} {one.on.get(ALL, 0.0)!r} {one.counts.get(ALL, 0)} "
            f"{len(one.colonies.get(ALL, ()))}"
            for one in self.tallies
        )
        return self.date, self.design, *sums

    @property
    def unit_ids(self) -> tuple[str, ...]:
        """Return the units, in their order."""
        return tuple(one.unit.unit_id for one in self.units)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedName:
    """
    What a name that was noted can stand for.

    Parameters
    ----------
    rank : str
        ``genus``, or what it falls short by; ``none`` where no list has it.
    genera : tuple of str
        Current genera it can be; empty: it may be any.
    is_listed : bool
        Whether a list has it.
    """

    rank: str
    genera: tuple[str, ...]
    is_listed: bool = True

    @property
    def is_genus(self) -> bool:
        """Whether it says one genus."""
        return len(self.genera) == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Tallied:
    """
    The sums of all units, and what the names in them stand for.

    Parameters
    ----------
    groups : tuple of SampledAlike
    names : mapping of str to NotedName
        Of corals, by the thing that the sums key them with.
    """

    groups: tuple[SampledAlike, ...]
    names: Mapping[str, NotedName]


def tally_units(store: SurveyStore, usual: Sequence[Category]) -> Tallied:
    """
    Sum what was noted in every unit, and put units that were sampled alike together.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.

    Returns
    -------
    Tallied
        By visit, zone, design, permanent plots apart. Things are keyed by kind and word, with a
        tab between: ``category``, ``group`` or ``name``.

    Notes
    -----
    Every coral counts to `ALL`, whatever it is called, and one without a name to `UNNAMED`. A
    colony that was chosen because it was stressed counts where colonies are counted, and for
    nothing else (`chosen_rows`).
    Points on photos that are set aside are left out. Units without rows stay, with empty sums. A
    name that a unit says was searched for counts 0 there if anything was noted and nothing says
    more.
    """
    visits = {visit.visit_id: visit for visit in store.visits()}
    lists: dict[int | None, dict[str, Category]] = defaultdict(dict)
    for one in store.categories():
        lists[one.list_version][one.category] = one
    lists[None] = {one.category: one for one in usual}
    units = {unit.unit_id: unit for unit in store.units()}
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    for noted in store.counted_rows():
        rows[noted.unit_id].append(noted)
    chosen, names = chosen_rows(store), {UNNAMED: NotedName(rank="none", genera=())}
    things_of = {version: _Things(known) for version, known in lists.items()}
    groups: dict[tuple[str, str, Design, bool], list[TalliedUnit]] = defaultdict(list)
    tallies: dict[str, tuple[UnitTally, _Things]] = {}
    for stated in store.unit_designs():
        unit = units[stated.unit_id]
        things = things_of.setdefault(stated.list_version, _Things({}))
        named, left_out = [], []
        for noted in rows[unit.unit_id]:
            said = _said(noted)
            on = things.of(said)
            _keep_name(names, on, said)
            if noted.row_no in chosen:
                left_out.append((_only_counted(noted.row), on))
            else:
                named.append((noted.row, on))
        tally = tally_unit(stated.design, [*named, *left_out])
        tally.chosen = tally_unit(stated.design, left_out).counts
        if tally.counts:  # where nothing was noted nobody knows that anybody looked
            for name in stated.design.searched:
                tally.counts.setdefault(f"name\t{name}", 0)
        tallies[unit.unit_id] = tally, things
        key = (unit.visit_id, unit.zone or "", stated.design.design, stated.design.is_permanent)
        groups[key].append(TalliedUnit(unit=unit, tally=tally))
    for found in store.cover_sums():
        tally, things = tallies[found.unit_id]
        on = things.of(found.said)
        _keep_name(names, on, found.said)
        add_cover(tally, found.amount * found.n, on, is_unreadable=found.said.is_unreadable)
    held: dict[tuple[str, ...], frozenset[str]] = {}
    for tally, _ in tallies.values():
        searched = tally.design.searched
        if searched not in held:
            held[searched] = looked_for(searched, names)
        tally.looked_for = held[searched]
    alike = tuple(
        SampledAlike(
            visit_id=visit_id,
            site=visits[visit_id].site,
            date=visits[visit_id].date,
            zone=zone,
            design=design,
            is_permanent=is_permanent,
            units=tuple(sampled),
        )
        for (visit_id, zone, design, is_permanent), sampled in sorted(groups.items())
    )
    return Tallied(groups=alike, names=names)


def looked_for(searched: Sequence[str], names: Mapping[str, NotedName]) -> frozenset[str]:
    """
    Return the things that a unit would have noted, where it says which names it searched for.

    Parameters
    ----------
    searched : sequence of str
    names : mapping of str to NotedName
        Of corals that were noted anywhere.

    Returns
    -------
    frozenset of str
        The names themselves; what they hold, where they are more than a genus (all corals, where
        stony corals were searched for); and names short of genus, for a coral that was found and
        could not be told is noted too.
    """
    if not searched:
        return frozenset()
    words = {f"name\t{name}" for name in searched}
    is_any = not _ANY_CORAL.isdisjoint(searched)
    held = {genus for word in words if word in names for genus in names[word].genera}
    held |= set(searched)
    told = {
        thing
        for thing, noted in names.items()
        if is_any
        or (noted.is_listed and not noted.is_genus)
        or (noted.is_genus and noted.genera[0] in held)
    }
    return frozenset(words | told | ({ALL} if is_any else set()))


def rows_about(
    store: SurveyStore, usual: Sequence[Category], rows: Sequence[NotedRow], thing: str
) -> tuple[NotedRow, ...]:
    """
    Return the rows of one unit that count to a thing.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.
    rows : sequence of NotedRow
    thing : str
        Kind and word, with a tab between.

    Returns
    -------
    tuple of NotedRow
    """
    if not rows:
        return ()
    stated = {one.unit_id: one.list_version for one in store.unit_designs()}
    version = stated.get(rows[0].unit_id)
    listed = usual if version is None else store.categories()
    known = {one.category: one for one in listed if version in (None, one.list_version)}
    things = _Things(known)
    return tuple(noted for noted in rows if thing in things.of(_said(noted)))


def _said(noted: NotedRow) -> Said:
    """Return what a row says is there."""
    row = noted.row
    return Said(
        category=row.category,
        name=noted.name or row.name,
        rank=noted.rank,
        genera=noted.current_names,
        is_listed=bool(noted.name or not row.name),
        is_unreadable=bool(row.unreadable),
        kind=row.kind,
    )


def _keep_name(names: dict[str, NotedName], things: Sequence[str], said: Said) -> None:
    """Keep what the name of a coral can stand for."""
    if said.name and ALL in things:
        names[things[-1]] = NotedName(
            rank=said.rank or "none", genera=said.genera, is_listed=said.is_listed
        )


def _only_counted(row: SurveyRow) -> SurveyRow:
    """Turn a colony into a count, so that it says nothing of sizes or health."""
    return replace(row, kind="count", n=1 if row.n is None else row.n)


class _Things:
    """
    What rows count to: category, group, all corals, and the name last.

    Parameters
    ----------
    known : mapping
        The list of categories that the rows use. Each mix of words is put together once.
    """

    def __init__(self, known: Mapping[str, Category]) -> None:
        self._known = known
        self._made: dict[Said, tuple[str, ...]] = {}

    def of(self, said: Said) -> tuple[str, ...]:
        """Name what rows that say this count to."""
        try:
            return self._made[said]
        except KeyError:
            return self._made.setdefault(said, tuple(_things(said, self._known)))


def _things(said: Said, known: Mapping[str, Category]) -> Iterator[str]:
    """Name what a row counts to: category, group, all corals, and its name last."""
    if said.is_unreadable:
        return
    one = known.get(said.category)
    if said.name in _ANY_CORAL and said.kind == "none_seen" and not said.category:
        for each in known.values():  # none of them all is none of each
            if each.is_hard_coral:
                yield f"category\t{each.category}"
    if said.category:
        yield f"category\t{said.category}"
        if one is not None and one.group != said.category:
            yield f"group\t{one.group}"
    if one is not None:
        is_coral = one.is_hard_coral
    else:
        is_coral = bool(said.genera) or (said.kind == "colony" and not said.category)
    is_any = said.name in _ANY_CORAL
    is_one_unseen = bool(said.name) and not is_any and said.kind == "none_seen"  # not all of them
    if is_coral and not is_one_unseen:
        yield ALL
    if said.name:
        yield f"name\t{said.name}"
    elif is_coral:
        yield UNNAMED
