"""Cover, density, counts per minute and density from lines, from the units' sums."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dryslate.app.result_bounds import genus_bounds
from dryslate.app.result_health import health_of
from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import juveniles_of, sizes_of
from dryslate.app.result_tallies import ALL, NotedName, SampledAlike
from dryslate.app.result_units import BLANK, survey_settings, things_of, unseen
from dryslate.base.quality import Flag
from dryslate.core.survey.cover import estimate_cover, estimate_line_cover, estimate_point_cover
from dryslate.core.survey.density import estimate_density, estimate_line_density, estimate_rate
from dryslate.core.survey.designs import Design
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


def _covers(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """Cover of each thing; all that was read stands in the denominator."""
    design = tallies[0].design.design
    read = [one.read for one in tallies]
    unread = [one.unreadable for one in tallies]
    placed = [a + b for a, b in zip(read, unread, strict=True)]
    for thing in things_of(tallies, "on"):
        on = [one.on.get(thing, 0.0) if one.read else BLANK for one in tallies]
        if design == "line_intercept":
            found = estimate_line_cover(on, read, settings)
        elif design == "quadrat_cells":
            shares = [a / n if n else BLANK for a, n in zip(on, read, strict=True)]
            found = estimate_cover(shares, settings)
        else:
            found = estimate_point_cover(on, placed, settings, unreadable=unread)
        yield Made(
            thing=thing,
            found=found,
            bounds=genus_bounds(thing, names, on, [one.on for one in tallies], read),
        )


def _densities(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """Density, or counts a minute, of each thing."""
    designs = [one.design for one in tallies]
    is_swim = designs[0].design == "timed_swim"
    efforts = [(d.minutes if is_swim else d.searched_m2) or BLANK for d in designs]
    rules = {design.edge_rule for design in designs}
    rule = rules.copy().pop() if len(rules) == 1 else None
    for thing in things_of(tallies, "counts"):
        counts = [one.counts.get(thing, unseen(one, thing)) for one in tallies]
        if is_swim:
            found = estimate_rate(counts, efforts, settings)
        else:
            found = estimate_density(counts, efforts, settings, edge_rule=rule)
        bounds = genus_bounds(thing, names, counts, [one.counts for one in tallies], efforts)
        yield Made(thing=thing, found=found, bounds=bounds)


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
