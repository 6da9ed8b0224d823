"""Changes between the visits of a project, with what each design could have seen."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from dryslate.app.change_rows import ChangeRow, Compared, change_row, with_adjusted
from dryslate.app.change_series import SurveyedUnits, comparable_series, surveyed_units
from dryslate.app.change_sites import Round, control_impact, rounds_of, site_changes
from dryslate.app.change_sizes import size_rows
from dryslate.app.change_words import SIZE_CHANGE
from dryslate.app.unit_values import Series, UnitValue, VisitValues, scale_of
from dryslate.app.visits import require_date
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.survey.change import Change, Reading, paired_change, unpaired_change
from dryslate.core.survey.change_rates import trend_of_visits
from dryslate.core.survey.statement import Scope, SurveySettings

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category
    from dryslate.core.survey.coverage import CoverageTable

ROUND_DAYS = 30

Kind = Literal["visits", "trend", "sites", "contrast"]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""Ways to compare: two visits to a site, all of its visits, several sites, impact and control."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeAsked:
    """
    What is compared.

    Parameters
    ----------
    figures, things, sites : tuple of str
        Only these; empty: all. Fewer tests, fewer false finds. A name also finds what it was put
        together to.
    of : tuple of str
        Only these kinds of things: ``category``, ``group``, ``name``; empty: all.
    kinds : tuple of str
        Only these of `KINDS`; empty: all.
    same_units : bool
        Units of one name are the same place at each visit, permanent plots or not.
    control, impact : tuple of str
        Sites, for a comparison before and after a day.
    after : str or None
        That day: visits on it and later are after.
    round_days : int
        A new round of visits begins after a gap of more than so many days.
    """

    figures: tuple[str, ...] = ()
    things: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    of: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    same_units: bool = False
    control: tuple[str, ...] = ()
    impact: tuple[str, ...] = ()
    after: str | None = None
    round_days: int = ROUND_DAYS

    def has(self, kind: Kind) -> bool:
        """Tell whether a way to compare is asked for."""
        return not self.kinds or kind in self.kinds


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """
    Every change that was asked for.

    Parameters
    ----------
    rows : tuple of ChangeRow
    rounds : tuple of Round
        How visits were put together where several sites are compared.
    problems : tuple of Problem
    """

    rows: tuple[ChangeRow, ...]
    rounds: tuple[Round, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def n_tests(self) -> int:
        """How many tests the table holds."""
        return sum(row.p is not None for row in self.rows)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for JSON."""
        return {
            "n_tests": self.n_tests,
            "rounds": [[one.first, one.last] for one in self.rounds],
            "changes": [row.as_dict() for row in self.rows],
            "problems": [one.as_dict() for one in self.problems],
        }


def survey_changes(
    store: SurveyStore,
    usual: Sequence[Category],
    asked: ChangeAsked | None = None,
    coverage: CoverageTable | None = None,
) -> Changes:
    """
    Compare the visits of a project.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.
    asked : ChangeAsked, optional
    coverage : CoverageTable, optional
        Adds the flags of simulated coverage.

    Returns
    -------
    Changes
        As `changes_of` makes them.

    Raises
    ------
    InputError
        ``change-site-unknown``, ``change-needs-both`` and ``visit-date`` about control and impact.
    """
    return changes_of(surveyed_units(store, usual, coverage), asked)


def changes_of(units: SurveyedUnits, asked: ChangeAsked | None = None) -> Changes:
    """
    Compare the visits of units.

    Parameters
    ----------
    units : SurveyedUnits
    asked : ChangeAsked, optional

    Returns
    -------
    Changes
        By site, zone, design, figure and thing: each later visit against the first, and the trend
        from three visits on; then several sites together; then control and impact.

    Raises
    ------
    InputError
        ``change-site-unknown``, ``change-needs-both`` and ``visit-date`` about control and impact.

    Notes
    -----
    Permanent plots are paired by their names. Other units are paired only where it is said that
    those of one name are the same. Names and categories are compared at lists that all visits
    share (`comparable_series`).
    """
    asked = asked or ChangeAsked()
    _require_sites(units.sites, asked)
    has_each = asked.has("visits") or asked.has("trend")
    is_contrast = not has_each and not asked.has("sites")
    comparable = comparable_series(
        units,
        asked.sites or ((*asked.control, *asked.impact) if is_contrast else ()),
        has_each=has_each,
        has_joint=asked.has("sites") or (asked.has("contrast") and asked.after is not None),
    )
    found, joint = (
        _once([one for one in series if _is_asked(one, asked)])
        for series in (comparable.each, comparable.joint)
    )
    dates = [visit.date for one in (*found, *joint) for visit in one.visits]
    rounds = rounds_of(dates, asked.round_days)
    rows = [row for one in found for row in _of_one_site(one, asked, units.coverage)]
    problems = list(comparable.problems)
    alike: dict[tuple[str, ...], list[Series]] = defaultdict(list)
    for one in (one for one in joint if one.figure != SIZE_CHANGE):
        key = (one.zone, one.design, str(one.is_permanent), one.figure, one.kind_of_thing)
        alike[*key, one.thing].append(one)
    for several in alike.values():
        visited = [one for one in several if len([v for v in one.visits if v.is_seen]) > 1]
        if asked.has("sites") and len(visited) > 1:
            more, told = site_changes(several, rounds, asked.same_units)
            rows += more
            problems += told
        if asked.has("contrast") and asked.after is not None:
            contrast = control_impact(several, (asked.control, asked.impact), asked.after)
            rows += [] if contrast is None else [contrast]
    problems += [*_of_plots(found), *_of_observers(rows)]
    return Changes(rows=with_adjusted(rows), rounds=rounds, problems=tuple(dict.fromkeys(problems)))


def _is_asked(one: Series, asked: ChangeAsked) -> bool:
    """Tell whether a figure is to be compared."""
    wanted = {thing.casefold() for thing in asked.things}
    return (
        (not asked.of or one.kind_of_thing in asked.of)
        and (not asked.figures or one.figure in asked.figures)
        and (not wanted or any(name.casefold() in wanted for name in (one.thing, *one.together)))
    )


def _once(found: Sequence[Series]) -> list[Series]:
    """Leave out groups that are one category under another name: they are the same test again."""
    values: dict[tuple[str, str, str], list[object]] = defaultdict(list)
    for one in found:
        value = (one.site, one.zone, one.design, one.is_permanent)
        seen = tuple(tuple(map(repr, visit.values.tolist())) for visit in one.visits)
        values[one.figure, one.kind_of_thing, one.thing].append((value, seen))
    known = {
        (figure, repr(said)) for (figure, kind, _), said in values.items() if kind == "category"
    }
    return [
        one
        for one in found
        if one.kind_of_thing != "group"
        or (one.figure, repr(values[one.figure, "group", one.thing])) not in known
    ]


def _require_sites(known: Sequence[str], asked: ChangeAsked) -> None:
    """Refuse sites that are not there; control and impact that lack each other or a day."""
    for site in asked.sites:
        if site not in known:
            raise _unknown(f"{site!r} has no units here.", known)
    if not asked.control and not asked.impact and asked.after is None:
        return
    if not asked.control or not asked.impact or asked.after is None:
        raise InputError(
            "change-needs-both",
            "Before and after, control and impact: all of them are needed.",
            "Give --control SITE, --impact SITE and --after DATE.",
        )
    require_date(asked.after)
    for site in (*asked.control, *asked.impact):
        if site not in known or (site in asked.control and site in asked.impact):
            raise _unknown(
                f"{site!r} has no units here, or stands as control and as impact.", known
            )


def _unknown(message: str, known: Sequence[str]) -> InputError:
    """Refuse a site, and say which there are."""
    fix = f"Sites with units: {', '.join(known) or 'none'}."
    return InputError("change-site-unknown", message, fix)


def _of_one_site(
    series: Series, asked: ChangeAsked, coverage: CoverageTable | None
) -> list[ChangeRow]:
    """Compare each later visit with the first, and fit the trend."""
    if series.figure == SIZE_CHANGE:
        return size_rows(series) if asked.has("visits") else []
    seen = [visit for visit in series.visits if visit.is_seen]
    rows = []
    if asked.has("visits"):
        rows += [_between(series, (seen[0], later), asked, coverage) for later in seen[1:]]
    if asked.has("trend") and len(seen) > 2:
        rows.append(_trend(series, seen))
    return rows


def _trend(series: Series, seen: Sequence[VisitValues]) -> ChangeRow:
    """Fit a line through the means of all visits."""
    trend = _slope(series, seen)
    worst = None
    if series.is_open and trend.reading() is Reading.CHANGED:
        is_up = (trend.change.estimate or 0.0) > 0
        middle = float(np.mean([_year(visit.date) for visit in seen]))
        worst = _slope(
            series,
            [v.at("most" if (_year(v.date) < middle) == is_up else "least") for v in seen],
        )
    between = Compared(
        kind="trend",
        site=series.site,
        first=seen[0].date,
        last=seen[-1].date,
        before=float(np.nanmean(seen[0].values)),
        after=float(np.nanmean(seen[-1].values)),
        unit_ids=tuple(unit.unit_id for visit in seen for unit in visit.units),
        flags=(Flag.OF_THESE_PLOTS,) if series.is_permanent else (),
        earlier=(seen[0],),
        later=(seen[-1],),
    )
    return change_row(series, between, trend, worst)


def _slope(series: Series, seen: Sequence[VisitValues]) -> Change:
    """Return the change a year of visit means."""
    means = [float(np.nanmean(visit.values)) for visit in seen]
    years = [_year(visit.date) for visit in seen]
    return trend_of_visits(f"{series.figure}_per_year", years, means)


def _year(date: str) -> float:
    """Return a date as a year with its part."""
    return datetime.date.fromisoformat(date).toordinal() / 365.25


def _between(
    series: Series,
    visits: tuple[VisitValues, VisitValues],
    asked: ChangeAsked,
    coverage: CoverageTable | None,
) -> ChangeRow:
    """Compare two visits to one site, paired where units are the same."""
    flags: list[Flag] = []
    first, later = used = visits
    pairs = _pairs(first, later) if series.is_permanent or asked.same_units else None
    is_paired = pairs is not None and bool(pairs[0])
    if pairs is not None and is_paired:
        used = (replace(first, units=pairs[0]), replace(later, units=pairs[1]))
        if len(pairs[0]) < max(len(first.units), len(later.units)):
            flags.append(Flag.UNPAIRED_UNITS_LEFT_OUT)
    scope: Scope = "plots" if series.is_permanent else "area"
    settings = SurveySettings(scope=scope, coverage=coverage)
    found = _held(series, used, settings, is_paired=is_paired)
    worst = None
    if series.is_open and found.reading() is Reading.CHANGED:
        is_up = (found.change.estimate or 0.0) > 0
        against = (
            used[0].at("most" if is_up else "least"),
            used[1].at("least" if is_up else "most"),
        )
        worst = _held(series, against, settings, is_paired=is_paired)
    if not _observers(used[0]) & _observers(used[1]):
        flags.append(Flag.OBSERVER_CHANGED)
    between = Compared(
        kind="visits",
        site=series.site,
        first=first.date,
        last=later.date,
        before=float(np.nanmean(used[0].values)),
        after=float(np.nanmean(used[1].values)),
        unit_ids=tuple(unit.unit_id for visit in used for unit in visit.units),
        flags=tuple(flags),
        earlier=(first,),
        later=(later,),
    )
    return change_row(series, between, found, worst)


def _held(
    series: Series,
    used: tuple[VisitValues, VisitValues],
    settings: SurveySettings,
    *,
    is_paired: bool,
) -> Change:
    """Hold a later visit against an earlier one."""
    compare = paired_change if is_paired else unpaired_change
    return compare(
        series.figure,
        used[0].values,
        used[1].values,
        settings,
        scale=scale_of(series.figure),
        counted=(used[0].counted, used[1].counted),
    )


def _pairs(
    first: VisitValues, later: VisitValues
) -> tuple[tuple[UnitValue, ...], tuple[UnitValue, ...]]:
    """Return the units of both visits that have one name and say something, in one order."""
    a, b = (
        {u.label: u for u in visit.units if u.label and np.isfinite(u.value)}
        for visit in (first, later)
    )
    both = [label for label in a if label in b]
    return tuple(a[label] for label in both), tuple(b[label] for label in both)


def _observers(visit: VisitValues) -> set[str]:
    """Return who surveyed the units that say something."""
    return {unit.observer for unit in visit.units if np.isfinite(unit.value)}


def _labels(visit: VisitValues) -> set[str]:
    """Return the names of a visit's units, whether or not they say something of the figure."""
    return {unit.label for unit in visit.units if unit.label}


def _of_plots(found: Sequence[Series]) -> list[Problem]:
    """Say which permanent plots cannot be told again."""
    lost = dict.fromkeys(
        one.site
        for one in found
        if one.is_permanent
        for seen in [[v for v in one.visits if v.is_seen]]
        for later in seen[1:]
        if not _labels(seen[0]) & _labels(later)
    )
    return [
        Problem(
            slug="change-plots-not-paired",
            severity="warning",
            place=site,
            message="no permanent plot has the same name at both visits: they were compared as if "
            "drawn anew, which sees far less.",
            fix="Give each plot its name at every visit.",
        )
        for site in lost
    ]


def _of_observers(rows: Sequence[ChangeRow]) -> list[Problem]:
    """Say between which visits nobody stayed the same."""
    places = dict.fromkeys(
        f"{row.site}, {row.first}, {row.last}" for row in rows if Flag.OBSERVER_CHANGED in row.flags
    )
    return [
        Problem(
            slug="change-observer-confounded",
            severity="warning",
            place=place,
            message="nobody surveyed at both visits: a change of observer and a change of the "
            "reef cannot be told apart.",
            fix="Have one person at both visits, or photos that both can read.",
        )
        for place in places
    ]
