"""Sizes at a visit against those at the visit before it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sizes import MetSizes, met_sizes
from dryslate.app.result_tallies import SampledAlike
from dryslate.app.result_units import is_told_apart, survey_settings, things_of
from dryslate.core.survey.size_comparison import SizeComparison, compare_sizes
from dryslate.core.survey.size_frequency import FEWEST_COLONIES
from dryslate.core.survey.sizes import ColonySizes


def size_changes(
    groups: Sequence[SampledAlike], settings: ResultSettings
) -> Iterator[tuple[SampledAlike, SampledAlike, Made]]:
    """
    Hold the sizes at each visit against those at the one before, in the same zone and design.

    Parameters
    ----------
    groups : sequence of SampledAlike
    settings : ResultSettings

    Yields
    ------
    first, second : SampledAlike
    Made
        Ratio of geometric means, of each name and of all corals that were measured at both. What
        the distributions' distance says stands in `about`, with the p of exchanging whole units
        where there are 50 colonies at each visit.
    """
    places: dict[tuple[str, str, str, bool], list[SampledAlike]] = defaultdict(list)
    for group in groups:
        places[group.site, group.zone, group.design, group.is_permanent].append(group)
    for visits in places.values():
        for first, second in pairwise(sorted(visits, key=lambda one: one.date)):
            things = set(things_of(first.tallies, "colonies"))
            for thing in filter(things.__contains__, things_of(second.tallies, "colonies")):
                if is_told_apart(thing):
                    for made in _change(first, second, thing, settings):
                        yield first, second, made


def _change(
    first: SampledAlike, second: SampledAlike, thing: str, settings: ResultSettings
) -> Iterator[Made]:
    """Compare one thing; nothing where a visit measured none of it."""
    met = [met_sizes(group, thing, settings) for group in (first, second)]
    before, after = (_some(one) for one in met)
    if before is None or after is None:
        return
    survey = survey_settings(second, settings, thing, "size change")
    n = len(before.size_cm), len(after.size_cm)
    if min(n) < FEWEST_COLONIES:
        survey = replace(survey, rng=None)
    found = compare_sizes(before, after, survey)
    flags = (*found.flags, *(flag for one in met for flag in one.flags))
    about = f"against {first.date} ({n[0]} colonies); {_distance(found)}"
    yield Made(thing=thing, found=found.ratio, about=about, n_colonies=n[1]).flagged(*flags)


def _some(met: MetSizes) -> ColonySizes | None:
    """Return sizes, where there are any."""
    return met.sizes if met.sizes is not None and len(met.sizes.size_cm) else None


def _distance(found: SizeComparison) -> str:
    """Say how far apart the distributions are, and how often units dealt at random are as far."""
    said = f"greatest distance between the distributions {found.ks_d:.3g}"
    if found.p_units is None:
        return f"{said}, no p under {FEWEST_COLONIES} colonies a visit"
    ways = f"{found.n_distinct_permutations} ways, smallest p {found.p_smallest:.2g}"
    return f"{said}, p {found.p_units:.2g} by exchanging whole units ({ways})"
