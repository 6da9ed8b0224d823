"""A site from its zones, by the weights that the team stated."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from dryslate.app.result_figures import (
    COUNT_DESIGNS,
    COVER_DESIGNS,
    cover_bounds,
    cover_of,
    density_bounds,
    density_of,
)
from dryslate.app.result_made import Bounds, Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import AREA_DESIGNS, juvenile_density, juvenile_words
from dryslate.app.result_tallies import NotedName, SampledAlike
from dryslate.app.result_units import is_told_apart, survey_settings, things_of
from dryslate.base.problems import Problem
from dryslate.core.survey.zones import estimate_site

MadeOf = Callable[[SampledAlike, str], Iterator[Made]]
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
    zones: Sequence[SampledAlike],
    weights: Mapping[str, float],
    names: Mapping[str, NotedName],
    settings: ResultSettings,
) -> Iterator[Made]:
    """
    Make the figures of a site from its zones: cover, density, counts per minute and juveniles.

    Parameters
    ----------
    zones : sequence of SampledAlike
        Of one visit and design.
    weights : mapping of str to float
    names : mapping of str to NotedName
    settings : ResultSettings

    Yields
    ------
    Made
        With the weights used. Prevalence and sizes are of colonies, not of ground: weights by area
        do not make a site's figure of them.
    """
    for which, make in _kinds(zones[0], names, settings):
        things = sorted({thing for zone in zones for thing in things_of(zone.tallies, which)})
        for thing in things:
            parts = {zone.zone: made for zone in zones for made in make(zone, thing)}
            if len(parts) < len(zones) or any(m.found.estimate is None for m in parts.values()):
                continue
            first = next(iter(parts.values()))
            what, found = first.found.what, {zone: m.found for zone, m in parts.items()}
            site = estimate_site(
                found,
                weights,
                is_fraction=what.endswith("_frac"),
                what=what,
                coverage=settings.coverage,
            )
            yield replace(first, found=site, n_colonies=None, bounds=_bounds(parts, site.weights))


def _bounds(parts: Mapping[str, Made], weights: Sequence[tuple[str, float]]) -> Bounds | None:
    """Weigh what names short of genus leave open in each zone."""
    own = most = 0.0
    for zone, weight in weights:
        bounds, estimate = parts[zone].bounds, parts[zone].found.estimate
        if bounds is None or bounds.if_all is None or estimate is None:
            return None
        own += weight * estimate
        most += weight * bounds.if_all
    return Bounds(undetermined_frac=(most - own) / most if most > 0 else 0.0, if_all=most)


def _kinds(
    first: SampledAlike, names: Mapping[str, NotedName], settings: ResultSettings
) -> Iterator[tuple[str, MadeOf]]:
    """Name the sums, and how a figure of one zone comes of them."""

    def cover(group: SampledAlike, thing: str) -> Iterator[Made]:
        found = cover_of(group.tallies, thing, survey_settings(group, settings))
        yield Made(thing=thing, found=found, bounds=cover_bounds(group.tallies, thing, names))

    def density(group: SampledAlike, thing: str) -> Iterator[Made]:
        found = density_of(group.tallies, thing, survey_settings(group, settings))
        yield Made(thing=thing, found=found, bounds=density_bounds(group.tallies, thing, names))

    def juveniles(group: SampledAlike, thing: str) -> Iterator[Made]:
        if is_told_apart(thing):
            survey, under_cm = survey_settings(group, settings), settings.juvenile_cm
            found = juvenile_density(group.tallies, thing, survey, under_cm)
            yield Made(thing=thing, found=found, about=juvenile_words(settings))

    if first.design in COVER_DESIGNS:
        yield "on", cover
    if first.design in COUNT_DESIGNS:
        yield "counts", density
    if first.design in AREA_DESIGNS:
        yield "colonies", juveniles
