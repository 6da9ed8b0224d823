"""Cover, density, counts per minute and density from lines, from the units' sums."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from dryslate.app.result_bounds import bounds_of, undetermined_of
from dryslate.app.result_health import health_of
from dryslate.app.result_made import Bounds, Made
from dryslate.app.result_tallies import ALL, UNNAMED, NotedName
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
BLANK = math.nan


def figures_of(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """
    Make the figures of units that were sampled alike.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    names : mapping of str to NotedName
        What the names among the things stand for.
    settings : SurveySettings

    Yields
    ------
    Made
    """
    for made in _figures(tallies, names, settings):
        known = names.get(made.thing)
        yield made if known is None or known.is_listed else made.flagged(Flag.NAME_IN_NO_LIST)


def _figures(
    tallies: Sequence[UnitTally], names: Mapping[str, NotedName], settings: SurveySettings
) -> Iterator[Made]:
    """Make them one kind after the other."""
    design = tallies[0].design.design
    if design in COVER_DESIGNS:
        yield from _covers(tallies, names, settings)
    if design in COUNT_DESIGNS:
        yield from _densities(tallies, names, settings)
    if design == "line_intercept":
        yield from _line_densities(tallies, settings)
    yield from health_of(tallies, names, settings)


def things_of(tallies: Sequence[UnitTally], which: str) -> list[str]:
    """
    List every thing that any of the units has, in the order of the alphabet.

    Parameters
    ----------
    tallies : sequence of UnitTally
    which : str
        Sums of `UnitTally`.

    Returns
    -------
    list of str
        Without "no name" where nothing in these units was named at all.
    """
    found = sorted({thing for one in tallies for thing in getattr(one, which)})
    is_named = any(thing.startswith("name\t") and thing != UNNAMED for thing in found)
    return [thing for thing in found if is_named or thing != UNNAMED]


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
        yield Made(thing=thing, found=found, bounds=_bounds(tallies, "on", thing, names, on, read))


def _bounds(
    tallies: Sequence[UnitTally],
    which: str,
    thing: str,
    names: Mapping[str, NotedName],
    own: Sequence[float],
    efforts: Sequence[float],
) -> Bounds | None:
    """Tell what names short of genus leave open; None for what is no genus."""
    if thing not in names or not names[thing].is_genus:
        return None
    others = undetermined_of(thing, names)
    open_ = [math.fsum(getattr(one, which).get(o, 0.0) for o in others) for one in tallies]
    return bounds_of(own, open_, efforts, is_ratio=False)


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
        bounds = _bounds(tallies, "counts", thing, names, counts, efforts)
        yield Made(thing=thing, found=found, bounds=bounds)


def unseen(tally: UnitTally, thing: str) -> float:
    """
    Tell what it means that a unit has no count of a thing.

    Parameters
    ----------
    tally : UnitTally
    thing : str

    Returns
    -------
    float
        0 where the unit noted such things at all, or no coral; else NaN: a blank.
    """
    kind, word = thing.split("\t")
    if thing == ALL:
        return BLANK
    if thing == UNNAMED:
        return 0.0 if ALL in tally.counts else BLANK
    if kind == "name" and tally.counts.get(ALL) == 0 and UNNAMED in tally.counts:
        return 0.0  # no coral at all was seen
    if tally.design.searched and kind == "name":
        return 0.0 if word in tally.design.searched else BLANK
    is_noted = any(o.startswith(f"{kind}\t") and o not in (ALL, UNNAMED) for o in tally.counts)
    return 0.0 if is_noted else BLANK


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
