"""Several sites at once: rounds of visits, the mean change by a mixed model, control and impact."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from dryslate.app.change_rows import ChangeRow, Compared, change_row
from dryslate.app.unit_values import Series, VisitValues
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.survey.change import SiteVisits, contrast_of_sites
from dryslate.core.survey.mixed import VisitedUnits, fit_visits
from dryslate.core.survey.planning import POWER


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """Visits that follow each other closely, to whichever sites: one occasion."""

    first: str
    last: str


def rounds_of(dates: Sequence[str], days: int) -> tuple[Round, ...]:
    """
    Put visits together to rounds: a new one begins after a gap of more than so many days.

    Parameters
    ----------
    dates : sequence of str
        Of all visits.
    days : int

    Returns
    -------
    tuple of Round
    """
    found: list[list[str]] = []
    for date in sorted(set(dates)):
        if found and _days(found[-1][-1], date) <= days:
            found[-1].append(date)
        else:
            found.append([date])
    return tuple(Round(first=one[0], last=one[-1]) for one in found)


def _days(first: str, second: str) -> int:
    """Return the days between two dates."""
    return (datetime.date.fromisoformat(second) - datetime.date.fromisoformat(first)).days


def site_changes(
    alike: Sequence[Series], rounds: Sequence[Round], same_units: bool, power: float = POWER
) -> tuple[list[ChangeRow], list[Problem]]:
    """
    Return the mean change of several sites, each round against the first, by a mixed model.

    Parameters
    ----------
    alike : sequence of Series
        One figure of one thing in one zone and design, at several sites.
    rounds : sequence of Round
    same_units : bool
        Units of one name at one site are the same place, permanent plots or not.
    power : float

    Returns
    -------
    rows : list of ChangeRow
    problems : list of Problem
        ``change-model-left-out`` where a site was visited twice in a round, or the data do not
        carry a model.
    """
    twice = _visited_twice(alike, rounds)
    if twice:
        return [], [_left_out(twice)]
    entries = list(_entries(alike, rounds, same_units))
    try:
        fit = fit_visits(
            VisitedUnits(
                values=[one.value for one in entries],
                sites=[one.site for one in entries],
                visits=[one.round_no for one in entries],
                units=[one.unit for one in entries],
                observers=[one.observer for one in entries],
            )
        )
    except InputError as error:
        return [], [_left_out(error.message)]
    rows = []
    seen = sorted({number for _, number in fit.cells if isinstance(number, int)})
    for second in seen[1:]:
        both = [s for s in dict.fromkeys(str(s) for s, _ in fit.cells)]
        both = [s for s in both if {(s, seen[0]), (s, second)} <= set(fit.cells)]
        if len(both) < 2:
            continue
        means = {cell: float(mean) for cell, mean in zip(fit.cells, fit.means, strict=True)}
        between = Compared(
            kind="sites",
            site="; ".join(both),
            first=rounds[seen[0]].first,
            last=rounds[second].first,
            before=float(np.mean([means[s, seen[0]] for s in both])),
            after=float(np.mean([means[s, second] for s in both])),
            unit_ids=tuple(e.unit_id for e in entries if e.round_no in (seen[0], second)),
            flags=_flags(alike, entries, seen[0], second),
            p_sites_differ=fit.p_sites_differ(seen[0], second),
        )
        found = fit.contrast(alike[0].figure, fit.weights_of_change(seen[0], second), power)
        rows.append(change_row(alike[0], between, found))
    return rows, []


def _flags(
    alike: Sequence[Series], entries: Sequence[_Entry], first: int, second: int
) -> tuple[Flag, ...]:
    """Say that plots speak of themselves, and that nobody surveyed in both rounds."""
    a, b = (
        {e.observer for e in entries if e.round_no == number and np.isfinite(e.value)}
        for number in (first, second)
    )
    plots = (Flag.OF_THESE_PLOTS,) if alike[0].is_permanent else ()
    return plots if a & b else (*plots, Flag.OBSERVER_CHANGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """A unit at one round."""

    site: str
    round_no: int
    unit: str
    unit_id: str
    observer: str
    value: float


def _entries(
    alike: Sequence[Series], rounds: Sequence[Round], same_units: bool
) -> Iterator[_Entry]:
    """List every unit at every round; a unit without a name is its own."""
    for series in alike:
        for visit in series.visits:
            number = _round_no(visit, rounds)
            for unit in visit.units:
                is_same = bool(unit.label) and (series.is_permanent or same_units)
                yield _Entry(
                    site=series.site,
                    round_no=number,
                    unit=unit.label if is_same else unit.unit_id,
                    unit_id=unit.unit_id,
                    observer=unit.observer,
                    value=unit.value,
                )


def _round_no(visit: VisitValues, rounds: Sequence[Round]) -> int:
    """Tell which round a visit belongs to."""
    return next(k for k, one in enumerate(rounds) if one.first <= visit.date <= one.last)


def _visited_twice(alike: Sequence[Series], rounds: Sequence[Round]) -> str:
    """Say which site was visited twice in a round; empty where none was."""
    for series in alike:
        numbers = [_round_no(visit, rounds) for visit in series.visits if visit.is_seen]
        if len(set(numbers)) < len(numbers):
            return (
                f"{series.site} was visited twice in a round of visits; a smaller gap between "
                "rounds would tell them apart."
            )
    return ""


def _left_out(why: str) -> Problem:
    """Say why there is no model."""
    return Problem(
        slug="change-model-left-out",
        severity="note",
        place="",
        message=f"No mean change of several sites: {why}",
        fix="Changes of each site stand without it.",
    )


def control_impact(
    alike: Sequence[Series], sites: tuple[Sequence[str], Sequence[str]], after: str
) -> ChangeRow | None:
    """
    Return by how much impact sites changed more than control sites did, around a day.

    Parameters
    ----------
    alike : sequence of Series
        One figure of one thing in one zone and design.
    sites : tuple
        Names of control and of impact sites.
    after : str
        The day from which on visits are after.

    Returns
    -------
    ChangeRow or None
        None where a kind has no site that was seen both before and after.

    Notes
    -----
    A site's mean before is that of its visits before, each the mean of its units; so too after.
    """
    control, impact = ([_around(alike, name, after) for name in names] for names in sites)
    seen = [[one for one in kind if one is not None] for kind in (control, impact)]
    if not all(seen):
        return None
    found = contrast_of_sites(alike[0].figure, seen[0], seen[1])
    names = {name for kind in sites for name in kind}
    visits = [v for series in alike if series.site in names for v in series.visits if v.is_seen]
    between = Compared(
        kind="contrast",
        site="; ".join([*sites[1], "less", *sites[0]]),
        first=min(v.date for v in visits),
        last=max(v.date for v in visits),
        unit_ids=tuple(unit.unit_id for v in visits for unit in v.units),
    )
    return change_row(alike[0], between, found)


def _around(alike: Sequence[Series], site: str, after: str) -> SiteVisits | None:
    """Return the visit means of a site before and after; None where one is missing."""
    means: dict[bool, list[float]] = defaultdict(list)
    for series in alike:
        if series.site == site:
            for visit in series.visits:
                if visit.is_seen:
                    means[visit.date >= after].append(float(np.nanmean(visit.values)))
    if not means[False] or not means[True]:
        return None
    return SiteVisits(before=means[False], after=means[True])
