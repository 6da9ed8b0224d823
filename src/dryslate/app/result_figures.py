"""Cover, density, counts per minute, density from lines and prevalence, from the units' sums."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dryslate.core.survey.cover import estimate_cover, estimate_line_cover, estimate_point_cover
from dryslate.core.survey.density import estimate_density, estimate_line_density, estimate_rate
from dryslate.core.survey.designs import Design
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.prevalence import estimate_prevalence
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
    tallies: Sequence[UnitTally], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """
    Make the figures of units that were sampled alike.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    settings : SurveySettings

    Yields
    ------
    str
        The thing, as the tallies key it.
    Estimate
    """
    design = tallies[0].design.design
    if design in COVER_DESIGNS:
        yield from _covers(tallies, settings)
    if design in COUNT_DESIGNS:
        yield from _densities(tallies, settings)
    if design == "line_intercept":
        yield from _line_densities(tallies, settings)
    if design not in ("photo_points", "quadrat_cells"):
        yield from _prevalences(tallies, settings)


def _all_things(tallies: Sequence[UnitTally], which: str) -> list[str]:
    """List every thing that any of the units has, in the order of the alphabet."""
    return sorted({thing for one in tallies for thing in getattr(one, which)})


def _covers(
    tallies: Sequence[UnitTally], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Cover of each thing; all that was read stands in the denominator."""
    design = tallies[0].design.design
    read = [one.read for one in tallies]
    blank = float("nan")
    for thing in _all_things(tallies, "on"):
        on = [one.on.get(thing, 0.0) if one.read else blank for one in tallies]
        if design == "line_intercept":
            yield thing, estimate_line_cover(on, read, settings)
        elif design == "quadrat_cells":
            shares = [a / n if n else blank for a, n in zip(on, read, strict=True)]
            yield thing, estimate_cover(shares, settings)
        else:
            unread = [one.unreadable for one in tallies]
            points = [a + b for a, b in zip(read, unread, strict=True)]
            yield thing, estimate_point_cover(on, points, settings, unreadable=unread)


def _densities(
    tallies: Sequence[UnitTally], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Density, or counts a minute, of each thing."""
    designs = [one.design for one in tallies]
    rules = {design.edge_rule for design in designs}
    blank = float("nan")
    for thing in _all_things(tallies, "counts"):
        counts = [one.counts.get(thing, _unseen(one, thing)) for one in tallies]
        if designs[0].design == "timed_swim":
            minutes = [design.minutes or blank for design in designs]
            yield thing, estimate_rate(counts, minutes, settings)
        else:
            areas = [design.searched_m2 or blank for design in designs]
            rule = rules.copy().pop() if len(rules) == 1 else None
            yield thing, estimate_density(counts, areas, settings, edge_rule=rule)


def _unseen(tally: UnitTally, thing: str) -> float:
    """Tell what it means that a unit has no row of a thing: 0 where it noted such things."""
    kind, word = thing.split("\t")
    if tally.design.searched and kind == "name":
        return 0.0 if word in tally.design.searched else float("nan")
    is_noted = any(other.startswith(f"{kind}\t") for other in tally.counts)
    return 0.0 if is_noted else float("nan")


def _line_densities(
    tallies: Sequence[UnitTally], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Density from tapes, where the width across the tape was noted of every colony."""
    for thing in _all_things(tallies, "counts"):
        if any(one.n_without_width.get(thing) for one in tallies):
            continue
        widths = [one.widths_m.get(thing, []) for one in tallies]
        tapes = [one.design.length_m or float("nan") for one in tallies]
        yield thing, estimate_line_density(widths, tapes, settings)


def _prevalences(
    tallies: Sequence[UnitTally], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Colonies with any bleached, and with any pale or bleached share, of those examined."""
    for thing in _all_things(tallies, "examined"):
        examined = [one.examined.get(thing, 0) for one in tallies]
        for which, what in (
            ("with_bleached", "prevalence_bleached_frac"),
            ("with_pale_or_bleached", "prevalence_pale_or_bleached_frac"),
        ):
            cases = [getattr(one, which).get(thing, 0) for one in tallies]
            yield thing, estimate_prevalence(cases, examined, settings, what=what)
