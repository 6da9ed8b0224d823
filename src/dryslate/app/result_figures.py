"""Cover, density, counts per minute and density from lines, from the units' sums."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dryslate.app.result_bounds import bounds_of_genera, genus_bounds
from dryslate.app.result_health import health_of
from dryslate.app.result_made import Bounds, Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import juveniles_of, sizes_of
from dryslate.app.result_tallies import ALL, NotedName, SampledAlike
from dryslate.app.result_units import (
    BLANK,
    as_noted,
    counted,
    edge_rule_of,
    survey_settings,
    things_of,
)
from dryslate.base.quality import Flag
from dryslate.core.survey.cover import estimate_cover, estimate_line_cover, estimate_point_covers
from dryslate.core.survey.density import estimate_density, estimate_line_density, estimate_rate
from dryslate.core.survey.designs import Design
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.tally import UnitTally

COVER_DESIGNS: tuple[Design, ...] = (
    "line_intercept",
    "point_intercept",
    "photo_points",
    "quadrat_cells",
)
COUNT_DESIGNS: tuple[Design, ...] = ("belt", "quadrat_counts", "timed_swim")


def figures_of(
    group: SampledAlike, names: Mapping[str, NotedName], settings: ResultSettings
) -> Iterator[Made]:
    """
    Make the figures of units that were sampled alike.

    Parameters
    ----------
    group : SampledAlike
    names : mapping of str to NotedName
        What the names among the things stand for.
    settings : ResultSettings

    Yields
    ------
    Made
    """
    for made in _figures(group, names, settings):
        known = names.get(made.thing)
        yield made if known is None or known.is_listed else made.flagged(Flag.NAME_IN_NO_LIST)


def _figures(
    group: SampledAlike, names: Mapping[str, NotedName], settings: ResultSettings
) -> Iterator[Made]:
    """Make them one kind after the other."""
    tallies, survey = group.tallies, survey_settings(group, settings)
    if group.design in COVER_DESIGNS:
        yield from _covers(tallies, names, survey)
    if group.design in COUNT_DESIGNS:
        yield from _densities(tallies, names, survey)
    if group.design == "line_intercept":
        yield from _line_densities(tallies, survey)
    yield from juveniles_of(group, names, settings)
    yield from sizes_of(group, settings)
    yield from health_of(group, names, settings)


def cover_of(tallies: Sequence[UnitTally], thing: str, settings: SurveySettings) -> Estimate:
    """
    Estimate the cover of a thing; all that was read stands in the denominator.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    thing : str
    settings : SurveySettings

    Returns
    -------
    Estimate
    """
    return covers_of(tallies, [thing], settings)[0]


def covers_of(
    tallies: Sequence[UnitTally], things: Sequence[str], settings: SurveySettings
) -> tuple[Estimate, ...]:
    """
    Estimate the cover of several things, worked out together where points were read.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    things : sequence of str
    settings : SurveySettings

    Returns
    -------
    tuple of Estimate
    """
    return _covers_on(tallies, [_on(tallies, thing) for thing in things], settings)


def _covers_on(
    tallies: Sequence[UnitTally], on: Sequence[Sequence[float]], settings: SurveySettings
) -> tuple[Estimate, ...]:
    """Estimate cover from what lies on each thing in each unit."""
    design = tallies[0].design.design
    read = [one.read for one in tallies]
    if design == "line_intercept":
        return tuple(estimate_line_cover(metres, read, settings) for metres in on)
    if design == "quadrat_cells":
        shares = [[a / n if n else BLANK for a, n in zip(cells, read, strict=True)] for cells in on]
        return tuple(estimate_cover(each, settings) for each in shares)
    unread = [one.unreadable for one in tallies]
    placed = [a + b for a, b in zip(read, unread, strict=True)]
    return estimate_point_covers(on, placed, settings, unreadable=unread) if on else ()


def _on(tallies: Sequence[UnitTally], thing: str) -> list[float]:
    """What lies on a thing in each unit; blank where nothing was read."""
    return [one.on.get(thing, 0.0) if one.read else BLANK for one in tallies]


def cover_bounds(
    tallies: Sequence[UnitTally], thing: str, names: Mapping[str, NotedName]
) -> Bounds | None:
    """Tell what names short of genus leave open about the cover of a genus."""
    read, sums = [one.read for one in tallies], [one.on for one in tallies]
    return genus_bounds(thing, names, _on(tallies, thing), sums, read)


def _covers(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """Cover of each thing."""
    things = things_of(tallies, "on")
    on = [_on(tallies, thing) for thing in things]
    read, sums = [one.read for one in tallies], [one.on for one in tallies]
    bounds = bounds_of_genera(things, names, on, sums, read)
    for thing, found, open_ in zip(things, _covers_on(tallies, on, settings), bounds, strict=True):
        yield Made(thing=thing, found=found, bounds=open_)


def density_of(tallies: Sequence[UnitTally], thing: str, settings: SurveySettings) -> Estimate:
    """
    Estimate the density, or the counts a minute, of a thing.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    thing : str
    settings : SurveySettings

    Returns
    -------
    Estimate
    """
    of_thing, efforts = counted(tallies, thing), _efforts(tallies)
    if tallies[0].design.design == "timed_swim":
        found = estimate_rate(of_thing.counts, efforts, settings)
    else:
        edge_rule = edge_rule_of(tallies)
        found = estimate_density(of_thing.counts, efforts, settings, edge_rule=edge_rule)
    return as_noted(found) if of_thing.reads_low else found


def _efforts(tallies: Sequence[UnitTally]) -> list[float]:
    """Area or minutes of each unit."""
    is_swim = tallies[0].design.design == "timed_swim"
    return [(one.design.minutes if is_swim else one.design.searched_m2) or BLANK for one in tallies]


def density_bounds(
    tallies: Sequence[UnitTally], thing: str, names: Mapping[str, NotedName]
) -> Bounds | None:
    """Tell what names short of genus leave open about the density of a genus."""
    sums = [one.counts for one in tallies]
    return genus_bounds(thing, names, counted(tallies, thing).counts, sums, _efforts(tallies))


def _densities(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """Density, or counts a minute, of each thing."""
    for thing in things_of(tallies, "counts"):
        found = density_of(tallies, thing, settings)
        yield Made(thing=thing, found=found, bounds=density_bounds(tallies, thing, names))


def _line_densities(tallies: Sequence[UnitTally], settings: SurveySettings) -> Iterator[Made]:
    """Density from tapes, where the width across the tape was noted of every colony."""
    for thing in things_of(tallies, "colonies"):
        rows = [one.colonies.get(thing, []) for one in tallies]
        widths = [
            [row.across_line_m or BLANK for row in unit] if _lists_colonies(one) else None
            for unit, one in zip(rows, tallies, strict=True)
        ]
        tapes = [one.design.length_m or BLANK for one in tallies]
        found = estimate_line_density(widths, tapes, settings)
        yield Made(thing=thing, found=found, n_colonies=sum(map(len, rows)))


def _lists_colonies(tally: UnitTally) -> bool:
    """Tell whether the colonies under a tape were noted: any was, or no coral lay under it."""
    return bool(tally.colonies) or not tally.on.get(ALL)
