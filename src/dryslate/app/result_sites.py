"""A site from its zones, by the weights that the team stated."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence

from dryslate.app.result_figures import COUNT_DESIGNS, COVER_DESIGNS, cover_of, density_of
from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import AREA_DESIGNS, juvenile_density, juvenile_words
from dryslate.app.result_tallies import SampledAlike
from dryslate.app.result_units import is_told_apart, survey_settings, things_of
from dryslate.base.problems import Problem
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.zones import estimate_site

FigureOf = Callable[[SampledAlike, str], Estimate]
Weights = Mapping[str, Mapping[str, float]]


def site_groups(
    groups: Sequence[SampledAlike], weights: Weights
) -> tuple[list[tuple[SampledAlike, ...]], list[Problem]]:
    """
    Put the zones of a site together, where the team stated their weights.

    Parameters
    ----------
    groups : sequence of SampledAlike
    weights : mapping of str to mapping of str to float
        Of each zone, by site.

    Returns
    -------
    list of tuple of SampledAlike
        Zones of one visit and design, each with a weight.
    list of Problem
        Why a site has no figures of its own, once for each reason: ``results-zones-unweighted``,
        ``results-zone-not-surveyed``.
    """
    alike: dict[tuple[str, str, bool], list[SampledAlike]] = defaultdict(list)
    for group in groups:
        alike[group.visit_id, group.design, group.is_permanent].append(group)
    found, notes = [], {}
    for zones in alike.values():
        site, names = zones[0].site, [zone.zone for zone in zones]
        stated = weights.get(site, {})
        if len(zones) == 1 and (not names[0] or not stated or set(stated) <= set(names)):
            continue
        without = [name or "no zone" for name in names if name not in stated]
        missing = [name for name, weight in stated.items() if weight > 0 and name not in names]
        if without:
            notes["weights", site] = _unweighted(site, without)
        elif missing:
            where = f"{site}, {zones[0].date}, {zones[0].design}"
            notes["zones", where] = _not_surveyed(where, missing)
        else:
            found.append(tuple(zones))
    return found, list(notes.values())


def _unweighted(site: str, zones: Sequence[str]) -> Problem:
    """Say that a site's zones lack weights."""
    return Problem(
        slug="results-zones-unweighted",
        severity="note",
        place=site,
        message=f"figures are by zone only: no weight is stated of {', '.join(zones)}",
        fix="State the area or share of each zone with `dryslate units zone-weights`.",
    )


def _not_surveyed(where: str, zones: Sequence[str]) -> Problem:
    """Say that a visit left a zone out."""
    return Problem(
        slug="results-zone-not-surveyed",
        severity="note",
        place=where,
        message=f"no figure of the whole site: nothing was surveyed in {', '.join(zones)}",
        fix="Compare zone by zone, or state the weights of the zones that the site is taken for.",
    )


def site_figures(
    zones: Sequence[SampledAlike], weights: Mapping[str, float], settings: ResultSettings
) -> Iterator[Made]:
    """
    Make the figures of a site from its zones: cover, density, counts per minute and juveniles.

    Parameters
    ----------
    zones : sequence of SampledAlike
        Of one visit and design.
    weights : mapping of str to float
    settings : ResultSettings

    Yields
    ------
    Made
        With the weights used. Prevalence and sizes are of colonies, not of ground: weights by area
        do not make a site's figure of them.
    """
    for which, figure_of, about in _kinds(zones[0], settings):
        things = sorted({thing for zone in zones for thing in things_of(zone.tallies, which)})
        for thing in things:
            if about and not is_told_apart(thing):
                continue
            parts = {zone.zone: figure_of(zone, thing) for zone in zones}
            if any(part.estimate is None for part in parts.values()):
                continue
            what = next(iter(parts.values())).what
            found = estimate_site(parts, weights, is_fraction=what.endswith("_frac"), what=what)
            yield Made(thing=thing, found=found, about=about)


def _kinds(first: SampledAlike, settings: ResultSettings) -> Iterator[tuple[str, FigureOf, str]]:
    """Name the sums, how a figure comes of them, and what it is about."""
    if first.design in COVER_DESIGNS:
        yield "on", lambda g, t: cover_of(g.tallies, t, survey_settings(g, settings)), ""
    if first.design in COUNT_DESIGNS:
        yield "counts", lambda g, t: density_of(g.tallies, t, survey_settings(g, settings)), ""
    if first.design in AREA_DESIGNS:
        yield (
            "colonies",
            lambda g, t: juvenile_density(
                g.tallies, t, survey_settings(g, settings), settings.juvenile_cm
            ),
            juvenile_words(settings),
        )
