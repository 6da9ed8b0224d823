"""What each unit says of each figure, visit by visit: what plans and changes are made from."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS
from dryslate.app.result_tallies import SampledAlike
from dryslate.app.result_units import is_looked_for, things_of, unseen
from dryslate.base.quality import Flag
from dryslate.core.survey.change_interval import Scale
from dryslate.core.survey.colony_health import examined, is_bleached, is_pale_or_bleached
from dryslate.core.survey.designs import Design
from dryslate.core.survey.tally import UnitTally

FloatArray = NDArray[np.float64]
POINT_DESIGNS: tuple[Design, ...] = ("point_intercept", "photo_points")
PREVALENCES = {
    "prevalence_bleached_frac": is_bleached,
    "prevalence_pale_or_bleached_frac": is_pale_or_bleached,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitValue:
    """
    One figure in one unit.

    Parameters
    ----------
    unit_id, label, observer : str
        Label: its name as written, in lower case, so that a later visit finds it again.
    value : float
        NaN where the unit is blank for it.
    least, most : float
        If none, or all, of what may be the thing were it; the value itself where nothing is open.
    counted : float
        Points read (infinite for tape and cells), area, minutes, or colonies examined.
    """

    unit_id: str
    label: str
    observer: str
    value: float
    least: float
    most: float
    counted: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitValues:
    """
    One figure in the units of one visit.

    Parameters
    ----------
    visit_id, date : str
    units : tuple of UnitValue
    own, open : float
        Amounts of the thing, and of what may be it, in all of these units.
    """

    visit_id: str
    date: str
    units: tuple[UnitValue, ...]
    own: float = 0.0
    open: float = 0.0

    def at(self, end: Literal["least", "most"]) -> VisitValues:
        """Return the visit as if none, or all, of what may be the thing were it."""
        units = tuple(replace(one, value=getattr(one, end)) for one in self.units)
        return replace(self, units=units)

    @property
    def values(self) -> FloatArray:
        """The values, NaN where blank."""
        return np.array([one.value for one in self.units], dtype=np.float64)

    @property
    def counted(self) -> FloatArray:
        """What was read or searched in each unit."""
        return np.array([one.counted for one in self.units], dtype=np.float64)

    @property
    def is_seen(self) -> bool:
        """Whether any unit says something."""
        return bool(np.isfinite(self.values).any())


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """
    One figure of one thing at one place, visit by visit.

    Parameters
    ----------
    site, zone : str
    design : str
    is_permanent : bool
    figure, kind_of_thing, thing : str
    visits : tuple of VisitValues
        By date.
    level : str
        Of a name: the rank at which it is compared.
    together : tuple of str
        Names or categories that were put together to it; empty: it stands alone.
    flags : tuple of Flag
        Of every comparison of it.
    """

    site: str
    zone: str
    design: Design
    is_permanent: bool
    figure: str
    kind_of_thing: str
    thing: str
    visits: tuple[VisitValues, ...]
    level: str = ""
    together: tuple[str, ...] = ()
    flags: tuple[Flag, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether anything that may be the thing was not told to it."""
        return any(visit.open for visit in self.visits)


def scale_of(figure: str) -> Scale:
    """
    Tell what the unit values of a figure are.

    Parameters
    ----------
    figure : str

    Returns
    -------
    Scale
    """
    if figure in PREVALENCES:
        return Scale.PREVALENCE
    return Scale.FRACTION if figure == "cover_frac" else Scale.RATE


def series_of(
    groups: Sequence[SampledAlike], may_be: Callable[[str], Sequence[str]] | None = None
) -> tuple[Series, ...]:
    r"""
    Put the unit values of every figure in order of their visits.

    Parameters
    ----------
    groups : sequence of SampledAlike
    may_be : callable, optional
        For a thing, the things that may be it and were not told to it.

    Returns
    -------
    tuple of Series
        By site, zone, design, permanent plots apart, figure and thing. A thing that was noted at
        one visit and could have been at another is 0 there.

    Notes
    -----
    Prevalence is a ratio: its unit values are :math:`r + (x_i - r N_i)/\bar N`, whose mean is the
    ratio and whose spread is that of the ratio (Cochran 1977, section 6.4).
    """
    places: dict[tuple[str, str, Design, bool], list[SampledAlike]] = defaultdict(list)
    for group in groups:
        places[group.site, group.zone, group.design, group.is_permanent].append(group)
    found = []
    for (site, zone, design, is_permanent), visits in sorted(places.items()):
        ordered = sorted(visits, key=lambda v: v.date)
        for figure, thing, value_of in _figures(ordered):
            kind, word = thing.split("\t")
            others = () if may_be is None else may_be(thing)
            found.append(
                Series(
                    site=site,
                    zone=zone,
                    design=design,
                    is_permanent=is_permanent,
                    figure=figure,
                    kind_of_thing=kind,
                    thing=word,
                    visits=tuple(_visit(one, value_of(one.tallies, others)) for one in ordered),
                )
            )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Values:
    """Unit values of one visit, with what is open about them."""

    value: FloatArray
    least: FloatArray
    most: FloatArray
    counted: FloatArray
    own: float
    open: float


ValuesOf = Callable[[Sequence[UnitTally], Sequence[str]], _Values]


def _visit(group: SampledAlike, found: _Values) -> VisitValues:
    """Put units beside their values."""
    columns = [v.tolist() for v in (found.value, found.least, found.most, found.counted)]
    return VisitValues(
        own=found.own,
        open=found.open,
        visit_id=group.visit_id,
        date=group.date,
        units=tuple(
            UnitValue(
                unit_id=one.unit.unit_id,
                label=" ".join((one.unit.name or "").casefold().split()),
                observer=one.unit.observer,
                value=value,
                least=least,
                most=most,
                counted=counted,
            )
            for one, value, least, most, counted in zip(group.units, *columns, strict=True)
        ),
    )


def _figures(groups: Sequence[SampledAlike]) -> Iterator[tuple[str, str, ValuesOf]]:
    """Name every figure and thing of units that were sampled alike, with how units say it."""
    tallies = [tally for group in groups for tally in group.tallies]
    design = groups[0].design
    if design in COVER_DESIGNS:
        for thing in things_of(tallies, "on"):
            yield "cover_frac", thing, _amounts(thing, _cover)
    if design in COUNT_DESIGNS:
        what = "count_per_min" if design == "timed_swim" else "density_per_m2"
        for thing in things_of(tallies, "counts"):
            yield what, thing, _amounts(thing, _counted)
    for thing in things_of(tallies, "colonies"):
        if any(examined(one.colonies.get(thing, ())) for one in tallies):
            for what in PREVALENCES:
                yield what, thing, _prevalence(what, thing)


def _cover(tally: UnitTally, thing: str) -> tuple[float, float]:
    """Return what lies on a thing, and what was read."""
    return tally.on.get(thing, 0.0), tally.read


def _counted(tally: UnitTally, thing: str) -> tuple[float, float]:
    """Return counts, and area or minutes; no row is 0 where it would have been noted, else NaN."""
    is_swim = tally.design.design == "timed_swim"
    effort = tally.design.minutes if is_swim else tally.design.searched_m2
    is_there = is_looked_for(tally, thing)
    return tally.counts.get(thing, unseen(tally, thing)) if is_there else math.nan, effort or 0.0


def _amounts(thing: str, one: Callable[[UnitTally, str], tuple[float, float]]) -> ValuesOf:
    """Say a thing unit by unit, as an amount over an effort; blank without one."""

    def values(tallies: Sequence[UnitTally], others: Sequence[str]) -> _Values:
        pairs = np.array([one(tally, thing) for tally in tallies], dtype=np.float64).reshape(-1, 2)
        own, effort = pairs[:, 0], np.where(pairs[:, 1] > 0, pairs[:, 1], np.nan)
        value = own / effort
        is_tape = one is _cover and any(t.design.design not in POINT_DESIGNS for t in tallies)
        counted = np.full_like(effort, np.inf) if is_tape else effort
        if not others:
            return _Values(value, value, value, counted, float(np.nansum(own)), 0.0)
        more = np.array([sum(_noted(tally, other, one) for other in others) for tally in tallies])
        seen = np.isfinite(value)
        amounts = float(own[seen].sum()), float(more[seen].sum())
        return _Values(value, value, value + more / effort, counted, *amounts)

    return values


def _noted(
    tally: UnitTally, thing: str, one: Callable[[UnitTally, str], tuple[float, float]]
) -> float:
    """Return what was noted of a thing; nothing where the unit is blank for it."""
    return (tally.on if one is _cover else tally.counts).get(thing, 0.0)


def _prevalence(what: str, thing: str) -> ValuesOf:
    """Ratio of cases to colonies examined, as values of units."""
    is_case = PREVALENCES[what]

    def count(tally: UnitTally, things: Sequence[str]) -> tuple[int, int]:
        """Return cases and colonies examined."""
        seen = [row for one in things for row in examined(tally.colonies.get(one, ()))]
        return sum(map(is_case, seen)), len(seen)

    def values(tallies: Sequence[UnitTally], others: Sequence[str]) -> _Values:
        own = np.array([count(tally, (thing,)) for tally in tallies], np.float64).reshape(-1, 2)
        more = np.array([count(tally, others) for tally in tallies], np.float64).reshape(-1, 2)
        cases, numbers = own.T
        value = _as_ratio(cases, numbers)
        if not more.any():
            return _Values(value, value, value, numbers, float(numbers.sum()), 0.0)
        open_cases, open_numbers = more.T
        least = _as_ratio(cases, numbers + open_numbers - open_cases)
        most = _as_ratio(cases + open_cases, numbers + open_cases)
        own_and_open = float(numbers.sum()), float(open_numbers.sum())
        return _Values(value, least, most, numbers, *own_and_open)

    return values


def _as_ratio(cases: FloatArray, numbers: FloatArray) -> FloatArray:
    """Return the ratio plus each unit's part in its doubt; blank where it has none."""
    held = numbers > 0
    if not held.any():
        return np.full(len(numbers), np.nan)
    ratio = cases.sum() / numbers.sum()
    parts = ratio + (cases - ratio * numbers) / numbers[held].mean()
    return np.where(held, parts, np.nan)
