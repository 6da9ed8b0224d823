"""Several sites at once: rounds of visits, the mean change by a mixed model, control and impact."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryslate.app.change_rows import ChangeRow, Compared, change_row
from dryslate.app.change_words import LESS
from dryslate.app.unit_values import Series, VisitValues
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change, Reading, SiteVisits, contrast_of_sites
from dryslate.core.survey.mixed import MixedFit, VisitedUnits, fit_visits
from dryslate.core.survey.planning import POWER

MOST_SITES = 24
"""Of more sites it is not asked whether all changed alike: the answer takes minutes."""


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
        fit = _fit(entries)
    except InputError:
        return [], [_left_out("")]
    rows = []
    against: dict[bool, MixedFit] = {}
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
            p_sites_differ=fit.p_sites_differ(seen[0], second) if len(both) <= MOST_SITES else None,
            earlier=_of_round(alike, rounds, seen[0], both),
            later=_of_round(alike, rounds, second, both),
        )
        found = fit.contrast(alike[0].figure, fit.weights_of_change(seen[0], second), power)
        worst = None
        if found.reading() is Reading.CHANGED and any(one.is_open for one in alike):
            is_up = (found.change.estimate or 0.0) > 0
            try:
                if is_up not in against:
                    turned = [_turned(one, rounds, seen[0], is_up=is_up) for one in alike]
                    against[is_up] = _fit(list(_entries(turned, rounds, same_units)))
                weights = against[is_up].weights_of_change(seen[0], second)
                worst = against[is_up].contrast(alike[0].figure, weights, power)
            except InputError:  # no model of the worst case: nothing says that the change stands
                worst = replace(found, change=replace(found.change, lo95=None, hi95=None))
        rows.append(change_row(alike[0], between, found, worst))
    return rows, []


def _fit(entries: Sequence[_Entry]) -> MixedFit:
    """Fit the model to every unit at every round."""
    return fit_visits(
        VisitedUnits(
            values=[one.value for one in entries],
            sites=[one.site for one in entries],
            visits=[one.round_no for one in entries],
            units=[one.unit for one in entries],
            observers=[one.observer for one in entries],
        )
    )


def _of_round(
    alike: Sequence[Series], rounds: Sequence[Round], number: int, sites: Sequence[str]
) -> tuple[VisitValues, ...]:
    """Return the visits of a round to these sites."""
    return tuple(
        visit
        for one in alike
        if one.site in sites
        for visit in one.visits
        if _round_no(visit, rounds) == number
    )


def _turned(one: Series, rounds: Sequence[Round], first: int, *, is_up: bool) -> Series:
    """Let what was not told to a name go against a rise, or a fall, since the first round."""
    return replace(
        one,
        visits=tuple(
            visit.at("most" if (_round_no(visit, rounds) == first) == is_up else "least")
            for visit in one.visits
        ),
    )


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
    """Return the site that was visited twice in a round; empty where none was."""
    for series in alike:
        numbers = [_round_no(visit, rounds) for visit in series.visits if visit.is_seen]
        if len(set(numbers)) < len(numbers):
            return series.site
    return ""


def _left_out(site: str) -> Problem:
    """Say why there is no model."""
    if site:
        return Problem(
            slug="change-model-left-out",
            severity="note",
            place=site,
            message="visited twice in a round of visits: no mean change of several sites.",
            fix="A smaller gap between rounds would tell the visits apart.",
        )
    return Problem(
        slug="change-model-left-out",
        severity="note",
        place="",
        message="No mean change of several sites where there are no more values than sites and "
        "visits, or those of each visit to a site are alike.",
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
    found = _contrast(alike, sites, after)
    if found is None:
        return None
    names = {name for kind in sites for name in kind}
    visits = [v for series in alike if series.site in names for v in series.visits if v.is_seen]
    between = Compared(
        kind="contrast",
        site="; ".join([*sites[1], LESS, *sites[0]]),
        first=min(v.date for v in visits),
        last=max(v.date for v in visits),
        unit_ids=tuple(unit.unit_id for v in visits for unit in v.units),
        earlier=tuple(v for v in visits if v.date < after),
        later=tuple(v for v in visits if v.date >= after),
    )
    worst = None
    if found.reading() is Reading.CHANGED and any(one.is_open for one in alike):
        is_up = (found.change.estimate or 0.0) > 0
        worst = _contrast([_against(one, sites, after, is_up=is_up) for one in alike], sites, after)
    return change_row(alike[0], between, found, worst)


def _contrast(
    alike: Sequence[Series], sites: tuple[Sequence[str], Sequence[str]], after: str
) -> Change | None:
    """Return the contrast; None where a kind has no site that was seen both before and after."""
    control, impact = ([_around(alike, name, after) for name in names] for names in sites)
    seen = [[one for one in kind if one is not None] for kind in (control, impact)]
    return contrast_of_sites(alike[0].figure, seen[0], seen[1]) if all(seen) else None


def _against(
    one: Series, sites: tuple[Sequence[str], Sequence[str]], after: str, *, is_up: bool
) -> Series:
    """Let what was not told to a name go against a contrast."""
    is_impact = one.site in sites[1]
    return replace(
        one,
        visits=tuple(
            visit.at("most" if ((visit.date < after) == is_impact) == is_up else "least")
            for visit in one.visits
        ),
    )


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
