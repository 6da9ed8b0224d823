"""What each unit says of each figure, visit by visit: what plans and changes are made from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS
from dryslate.app.result_tallies import SampledAlike
from dryslate.app.result_units import things_of, unseen
from dryslate.core.survey.colony_health import examined, is_bleached, is_pale_or_bleached
from dryslate.core.survey.designs import Design
from dryslate.core.survey.tally import UnitTally

FloatArray = NDArray[np.float64]
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
    """

    unit_id: str
    label: str
    observer: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitValues:
    """One figure in the units of one visit."""

    visit_id: str
    date: str
    units: tuple[UnitValue, ...]

    @property
    def values(self) -> FloatArray:
        """The values, NaN where blank."""
        return np.array([one.value for one in self.units], dtype=np.float64)

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
    """

    site: str
    zone: str
    design: Design
    is_permanent: bool
    figure: str
    kind_of_thing: str
    thing: str
    visits: tuple[VisitValues, ...]


def series_of(groups: Sequence[SampledAlike]) -> tuple[Series, ...]:
    r"""
    Put the unit values of every figure in order of their visits.

    Parameters
    ----------
    groups : sequence of SampledAlike

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
            found.append(
                Series(
                    site=site,
                    zone=zone,
                    design=design,
                    is_permanent=is_permanent,
                    figure=figure,
                    kind_of_thing=kind,
                    thing=word,
                    visits=tuple(_visit(group, value_of(group.tallies)) for group in ordered),
                )
            )
    return tuple(found)


ValueOf = Callable[[Sequence[UnitTally]], FloatArray]


def _visit(group: SampledAlike, values: FloatArray) -> VisitValues:
    """Put units beside their values."""
    return VisitValues(
        visit_id=group.visit_id,
        date=group.date,
        units=tuple(
            UnitValue(
                unit_id=one.unit.unit_id,
                label=" ".join((one.unit.name or "").casefold().split()),
                observer=one.unit.observer,
                value=float(value),
            )
            for one, value in zip(group.units, values, strict=True)
        ),
    )


def _figures(groups: Sequence[SampledAlike]) -> Iterator[tuple[str, str, ValueOf]]:
    """Name every figure and thing of units that were sampled alike, with how a unit says it."""
    tallies = [tally for group in groups for tally in group.tallies]
    design = groups[0].design
    if design in COVER_DESIGNS:
        for thing in things_of(tallies, "on"):
            yield "cover_frac", thing, _each(_cover, thing)
    if design in COUNT_DESIGNS:
        what = "count_per_min" if design == "timed_swim" else "density_per_m2"
        for thing in things_of(tallies, "counts"):
            yield what, thing, _each(_density, thing)
    for thing in things_of(tallies, "colonies"):
        if any(examined(one.colonies.get(thing, ())) for one in tallies):
            for what in PREVALENCES:
                yield what, thing, _prevalence(what, thing)


def _each(one: Callable[[UnitTally, str], float], thing: str) -> ValueOf:
    """Say a thing unit by unit."""
    return lambda tallies: np.array([one(tally, thing) for tally in tallies], dtype=np.float64)


def _cover(tally: UnitTally, thing: str) -> float:
    """Share of what was read; blank where nothing was."""
    return tally.on.get(thing, 0.0) / tally.read if tally.read else float("nan")


def _density(tally: UnitTally, thing: str) -> float:
    """Counts over area or minutes; a thing without a row is 0 where it would have been noted."""
    is_swim = tally.design.design == "timed_swim"
    effort = tally.design.minutes if is_swim else tally.design.searched_m2
    return tally.counts.get(thing, unseen(tally, thing)) / effort if effort else float("nan")


def _prevalence(what: str, thing: str) -> ValueOf:
    """Ratio of cases to colonies examined, as values of units."""

    def values(tallies: Sequence[UnitTally]) -> FloatArray:
        """Return the ratio plus each unit's part in its doubt."""
        seen = [examined(one.colonies.get(thing, ())) for one in tallies]
        numbers = np.array([len(rows) for rows in seen], dtype=np.float64)
        cases = np.array([sum(map(PREVALENCES[what], rows)) for rows in seen], dtype=np.float64)
        held = numbers > 0
        if not held.any():
            return np.full(len(tallies), np.nan)
        ratio = cases.sum() / numbers.sum()
        parts = ratio + (cases - ratio * numbers) / numbers[held].mean()
        return np.where(held, parts, np.nan)

    return values
