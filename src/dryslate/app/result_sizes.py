"""Sizes of the colonies in units, and how many of them are juveniles."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from dryslate.app.result_bounds import genus_bounds
from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_tallies import NotedName, SampledAlike
from dryslate.app.result_units import (
    BLANK,
    as_noted,
    counted,
    edge_rule_of,
    is_told_apart,
    survey_settings,
    things_of,
)
from dryslate.base.quality import Flag
from dryslate.core.survey.density import estimate_density, flag_juveniles
from dryslate.core.survey.designs import Design, SurveyRow
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.size_frequency import describe_sizes
from dryslate.core.survey.size_quantiles import SHARES, estimate_quantile
from dryslate.core.survey.sizes import ColonySizes, line_weights, point_weights, require_sizes
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.tally import UnitTally

AREA_DESIGNS: tuple[Design, ...] = ("belt", "quadrat_counts")


@dataclass(frozen=True, slots=True, kw_only=True)
class MetSizes:
    """
    Sizes of the colonies of a thing, weighed by the chance each had of being met.

    Parameters
    ----------
    sizes : ColonySizes or None
        None where a width that the weights need is missing.
    n_colonies : int
        Noted, sized or not.
    flags : tuple of Flag
    """

    sizes: ColonySizes | None
    n_colonies: int
    flags: tuple[Flag, ...]


def met_sizes(group: SampledAlike, thing: str, settings: ResultSettings) -> MetSizes:
    """
    Gather the sizes of a thing's colonies.

    Parameters
    ----------
    group : SampledAlike
    thing : str
    settings : ResultSettings

    Returns
    -------
    MetSizes

    Notes
    -----
    In belts, quadrats and swims every colony had the same chance. A tape meets a colony in
    proportion to its width across it, a point in proportion to its area: without that the sizes
    would read high, and none are given.
    """
    units = [one.colonies.get(thing, []) for one in group.tallies]
    sized = [[row for row in rows if row.longest_cm is not None] for rows in units]
    n = sum(map(len, units))
    flags = [Flag.SIZES_MISSING] if sum(map(len, sized)) < n else []
    if any(any(one.chosen.values()) for one in group.tallies):
        flags.append(Flag.CHOSEN_LEFT_OUT)
    lengths = [[row.longest_cm or BLANK for row in rows] for rows in sized]
    weights = None
    if group.design in ("line_intercept", "point_intercept"):
        is_line = group.design == "line_intercept"
        widths = [[_width_cm(row, is_line=is_line) for row in rows] for rows in sized]
        if any(math.isnan(w) for rows in widths for w in rows):
            return MetSizes(sizes=None, n_colonies=n, flags=(*flags, Flag.WIDTH_MISSING))
        weights = line_weights(widths) if is_line else point_weights(lengths, widths)
    sizes = require_sizes(lengths, weights, cut_off_cm=settings.size_cut_off_cm)
    return MetSizes(sizes=sizes, n_colonies=n, flags=tuple(flags))


def _width_cm(row: SurveyRow, *, is_line: bool) -> float:
    """How far a colony reaches across the tape, or across its longest diameter."""
    if is_line:
        return BLANK if row.across_line_m is None else 100 * row.across_line_m
    return BLANK if row.across_cm is None else row.across_cm


def sizes_of(group: SampledAlike, settings: ResultSettings) -> Iterator[Made]:
    """
    Make the figures of sizes of units that were sampled alike.

    Parameters
    ----------
    group : SampledAlike
    settings : ResultSettings

    Yields
    ------
    Made
        Of each name and of all corals: geometric mean, quantiles, spread and shape of log size,
        and the share of each size class with the colonies measured in it.
    """
    for thing in filter(is_told_apart, things_of(group.tallies, "colonies")):
        met = met_sizes(group, thing, settings)
        if met.sizes is None:
            flags = (*survey_settings(group, settings).scope_flags(), *met.flags)
            missing = Estimate(
                what="geometric_mean_cm", estimate=None, n_units=len(group.units), flags=flags
            )
            yield Made(thing=thing, found=missing, n_colonies=met.n_colonies)
        elif len(met.sizes.size_cm):
            survey = survey_settings(group, settings, thing, "sizes")
            for made in _described(thing, met.sizes, survey, settings.size_edges_cm):
                yield made.flagged(*met.flags)


def _described(
    thing: str, sizes: ColonySizes, survey: SurveySettings, edges_cm: Sequence[float]
) -> Iterator[Made]:
    """Describe sizes, with the cut-off and how colonies were weighed."""
    found = describe_sizes(sizes, survey, _classes(edges_cm, sizes))
    cut = f"colonies of {sizes.cut_off_cm:g} cm and more" if sizes.cut_off_cm else "all sizes"
    about = cut + ("; weighed by one over the chance of being met" if sizes.is_weighted else "")
    n = found.n_colonies
    quantiles = [estimate_quantile(sizes, share, survey) for share in SHARES]
    for one in (*found.figures, *quantiles):
        yield Made(thing=thing, found=one, about=about, n_colonies=n).flagged(*found.flags)
    for size_class in found.classes:
        lo, hi = size_class.lo_cm, size_class.hi_cm
        words = f"{lo:g} cm and more" if math.isinf(hi) else f"{lo:g} to under {hi:g} cm"
        yield Made(
            thing=thing,
            found=size_class.share,
            about=f"{words}; {about}",
            n_colonies=size_class.count,
        ).flagged(*found.flags)


def _classes(edges_cm: Sequence[float], sizes: ColonySizes) -> tuple[float, ...]:
    """Return the classes from the cut-off up; one more where colonies lie below the first."""
    edges = (0.0, *edges_cm) if sizes.size_cm.min() < edges_cm[0] else tuple(edges_cm)
    return tuple(
        e for e, end in zip(edges, (*edges[1:], math.inf), strict=True) if end > sizes.cut_off_cm
    )


def juveniles_of(
    group: SampledAlike, names: Mapping[str, NotedName], settings: ResultSettings
) -> Iterator[Made]:
    """
    Make the density of juveniles, from belts and quadrats in which every colony was sized.

    Parameters
    ----------
    group : SampledAlike
    names : mapping of str to NotedName
    settings : ResultSettings

    Yields
    ------
    Made
    """
    if group.design not in AREA_DESIGNS:
        return
    tallies, survey = group.tallies, survey_settings(group, settings)
    areas = [one.design.searched_m2 or BLANK for one in tallies]
    things = list(filter(is_told_apart, things_of(tallies, "counts")))
    sums = [dict[str, float]() for _ in tallies]
    for thing in things:
        of_all = counted(tallies, thing).counts
        for unit, one, n in zip(sums, tallies, of_all, strict=True):
            unit[thing] = _juveniles(one, thing, n, settings.juvenile_cm)
    for thing in things:
        counts = [unit[thing] for unit in sums]
        if all(map(math.isnan, counts)) or not any(thing in one.colonies for one in tallies):
            continue
        yield Made(
            thing=thing,
            found=juvenile_density(tallies, thing, survey, settings.juvenile_cm),
            about=juvenile_words(settings),
            n_colonies=int(sum(n for n in counts if not math.isnan(n))),
            bounds=genus_bounds(thing, names, counts, [_known(u) for u in sums], areas),
        )


def juvenile_words(settings: ResultSettings) -> str:
    """
    Say which colonies are juveniles.

    Parameters
    ----------
    settings : ResultSettings

    Returns
    -------
    str
    """
    return f"colonies under {settings.juvenile_cm:g} cm"


def juvenile_density(
    tallies: Sequence[UnitTally], thing: str, survey: SurveySettings, under_cm: float
) -> Estimate:
    """
    Estimate the density of a thing's juveniles; low, and flagged so, from photos alone.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Belts or quadrats.
    thing : str
    survey : SurveySettings
    under_cm : float

    Returns
    -------
    Estimate
    """
    rows = [row for one in tallies for of_thing in one.colonies.values() for row in of_thing]
    of_all = counted(tallies, thing)
    found = estimate_density(
        [
            _juveniles(one, thing, n, under_cm)
            for one, n in zip(tallies, of_all.counts, strict=True)
        ],
        [one.design.searched_m2 or BLANK for one in tallies],
        survey,
        edge_rule=edge_rule_of(tallies),
        what="juvenile_density_per_m2",
    )
    found = as_noted(found) if of_all.reads_low else found
    is_from_photos = bool(rows) and all(row.photo_id is not None for row in rows)
    return flag_juveniles(found, largest_cm=under_cm, is_from_photos=is_from_photos)


def _juveniles(tally: UnitTally, thing: str, n: float, under_cm: float) -> float:
    """Count a unit's juveniles among `n`; blank where a colony was counted that nobody sized."""
    if math.isnan(n):
        return BLANK
    sizes = [row.longest_cm for row in tally.colonies.get(thing, []) if row.longest_cm is not None]
    if len(sizes) + tally.chosen.get(thing, 0) < n:
        return BLANK
    return float(sum(size < under_cm for size in sizes))


def _known(sums: Mapping[str, float]) -> dict[str, float]:
    """Leave out what is blank."""
    return {thing: n for thing, n in sums.items() if not math.isnan(n)}
