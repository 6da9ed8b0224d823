"""Sizes of colonies at one visit held against those at another, as changes."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

from dryslate.app.change_rows import ChangeRow, Compared, change_row
from dryslate.app.change_words import SIZE_CHANGE
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import met_sizes
from dryslate.app.result_tallies import SampledAlike, TalliedUnit
from dryslate.app.result_units import is_told_apart, things_of
from dryslate.app.unit_values import Series, UnitValue, VisitValues
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change, Reading
from dryslate.core.survey.designs import Design, SurveyRow
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Method
from dryslate.core.survey.planning import SmallestChange, change_seen
from dryslate.core.survey.size_comparison import compare_sizes
from dryslate.core.survey.sizes import ColonySizes
from dryslate.core.survey.spread import Spread
from dryslate.core.survey.statement import SurveySettings


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedVisit(VisitValues):
    """
    The colonies of one visit.

    Parameters
    ----------
    group : SampledAlike
    others : tuple of str
        Things that may be the thing and were not told to it.
    """

    group: SampledAlike
    others: tuple[str, ...]


def size_series(
    groups: Sequence[SampledAlike], may_be: Callable[[str], Sequence[str]]
) -> Iterator[Series]:
    """
    Put the sizes of each name, and of all corals, in order of their visits.

    Parameters
    ----------
    groups : sequence of SampledAlike
    may_be : callable
        For a thing, the things that may be it and were not told to it.

    Yields
    ------
    Series
        Its visits are `SizedVisit`; a unit's value is the mean of the logarithms of its sizes.
    """
    places: dict[tuple[str, str, Design, bool], list[SampledAlike]] = defaultdict(list)
    for group in groups:
        places[group.site, group.zone, group.design, group.is_permanent].append(group)
    for (site, zone, design, is_permanent), visits in sorted(places.items()):
        ordered = sorted(visits, key=lambda one: one.date)
        tallies = [tally for group in ordered for tally in group.tallies]
        for thing in filter(is_told_apart, things_of(tallies, "colonies")):
            kind, word = thing.split("\t")
            others = tuple(may_be(thing))
            sized = tuple(_visit(group, thing, others) for group in ordered)
            if sum(visit.is_seen for visit in sized) > 1:
                yield Series(
                    site=site,
                    zone=zone,
                    design=design,
                    is_permanent=is_permanent,
                    figure=SIZE_CHANGE,
                    kind_of_thing=kind,
                    thing=word,
                    visits=sized,
                )


def _visit(group: SampledAlike, thing: str, others: tuple[str, ...]) -> SizedVisit:
    """Gather the colonies of a visit."""
    units = []
    for one in group.units:
        logs = [math.log(row.longest_cm) for row in _sized(one, (thing,)) if row.longest_cm]
        value = float(np.mean(logs)) if logs else math.nan
        units.append(
            UnitValue(
                unit_id=one.unit.unit_id,
                label="",
                observer=one.unit.observer,
                value=value,
                least=value,
                most=value,
                counted=float(len(logs)),
            )
        )
    return SizedVisit(
        visit_id=group.visit_id,
        date=group.date,
        units=tuple(units),
        own=sum(len(_sized(one, (thing,))) for one in group.units),
        open=sum(len(_sized(one, others)) for one in group.units),
        group=group,
        others=others,
    )


def _sized(unit: TalliedUnit, things: Sequence[str]) -> list[SurveyRow]:
    """Return the colonies of a unit that have a size."""
    colonies = unit.tally.colonies
    return [row for one in things for row in colonies.get(one, ()) if row.longest_cm is not None]


def size_rows(series: Series) -> list[ChangeRow]:
    """
    Hold the sizes at each later visit against those at the first.

    Parameters
    ----------
    series : Series
        As `size_series` makes it.

    Returns
    -------
    list of ChangeRow
        Means are geometric, in centimetres; the change is a share of the earlier.

    Notes
    -----
    The interval is that of `compare_sizes`, less 1; p and the smallest change seen are of the
    logarithm, the change given as a rise (a fall that is seen is a little smaller). Where colonies
    were not told to a name, those that would go against the change are counted to it.
    """
    seen = [one for one in series.visits if isinstance(one, SizedVisit) and one.is_seen]
    return [row for later in seen[1:] for row in _between(series, seen[0], later)]


def _between(series: Series, first: SizedVisit, later: SizedVisit) -> Iterator[ChangeRow]:
    """Compare two visits; nothing where a width that sizes need is missing."""
    thing = f"{series.kind_of_thing}\t{series.thing}"
    before, after = _sizes(first.group, thing), _sizes(later.group, thing)
    if before is None or after is None:
        return
    scope = SurveySettings(scope="plots" if series.is_permanent else "area")
    found, told = _compared(before, after, scope)
    worst = None
    if series.is_open and found.reading() is Reading.CHANGED:
        is_up = (found.change.estimate or 0.0) > 0
        against = (
            _sizes(_turned(first, thing, _mean(before), is_larger=is_up), thing),
            _sizes(_turned(later, thing, _mean(after), is_larger=not is_up), thing),
        )
        if against[0] is not None and against[1] is not None:
            worst, _ = _compared(against[0], against[1], scope)
    observers = [{u.observer for u in v.units if math.isfinite(u.value)} for v in (first, later)]
    flags = (*told, *(() if observers[0] & observers[1] else (Flag.OBSERVER_CHANGED,)))
    between = Compared(
        kind="visits",
        site=series.site,
        first=first.date,
        last=later.date,
        before=_mean(before),
        after=_mean(after),
        unit_ids=tuple(unit.unit_id for visit in (first, later) for unit in visit.units),
        flags=flags,
        earlier=(first,),
        later=(later,),
    )
    yield change_row(series, between, found, worst)


def _sizes(group: SampledAlike, thing: str) -> ColonySizes | None:
    """Return the sizes of a visit, weighed by the chance each colony had of being met."""
    sizes = met_sizes(group, thing, ResultSettings()).sizes
    return sizes if sizes is not None and len(sizes.size_cm) else None


def _mean(sizes: ColonySizes) -> float:
    """Return the geometric mean."""
    return float(np.exp(np.average(np.log(sizes.size_cm), weights=sizes.weight)))


def _compared(
    first: ColonySizes, second: ColonySizes, settings: SurveySettings
) -> tuple[Change, tuple[Flag, ...]]:
    """State the ratio of geometric means as a change."""
    compared = compare_sizes(first, second, settings)
    ratio = compared.ratio
    told = tuple(f for f in compared.flags if f is not Flag.COLONIES_TAKEN_AS_INDEPENDENT)
    change = Estimate(
        what=SIZE_CHANGE,
        estimate=None if ratio.estimate is None else ratio.estimate - 1,
        u=ratio.u,
        lo95=None if ratio.lo95 is None else ratio.lo95 - 1,
        hi95=None if ratio.hi95 is None else ratio.hi95 - 1,
        method=ratio.method,
        n_units=ratio.n_units,
        df=ratio.df,
        flags=ratio.flags,
    )
    is_known = ratio.method is not Method.NONE and ratio.estimate and ratio.u and ratio.df
    if not is_known or ratio.estimate is None or ratio.u is None or ratio.df is None:
        return Change(change=change), told
    u = ratio.u / ratio.estimate
    t = math.log(ratio.estimate) / u
    seen = change_seen(Spread(sd=u, df=ratio.df), 1.0, ratio.df, units=ratio.n_units)
    sees = SmallestChange(
        change=math.expm1(seen.change),
        lo95=math.expm1(min(seen.lo95, MOST_LOG)),
        hi95=math.expm1(min(seen.hi95, MOST_LOG)),
        units=seen.units,
        power=seen.power,
    )
    p = float(2 * stdtr(ratio.df, -abs(t)))
    return Change(change=change, t=t, p=p, sees=sees), told


MOST_LOG = 20.0
"""Beyond it nothing of colonies is to be said; it keeps what is seen a number."""


def _turned(visit: SizedVisit, thing: str, mean_cm: float, *, is_larger: bool) -> SampledAlike:
    """Count to a thing what may be it and is larger, or smaller, than its mean."""
    units = []
    for one in visit.group.units:
        more = [
            row
            for row in _sized(one, visit.others)
            if ((row.longest_cm or 0.0) > mean_cm) == is_larger
        ]
        tally = replace(one.tally, colonies=defaultdict(list, one.tally.colonies))
        tally.colonies[thing] = [*one.tally.colonies.get(thing, ()), *more]
        units.append(TalliedUnit(unit=one.unit, tally=tally))
    return replace(visit.group, units=tuple(units))
