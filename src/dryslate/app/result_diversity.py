"""Diversity of the genera in units, at equal effort; never from points as if they were colonies."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from dryslate.app.result_made import Bounds, Made
from dryslate.app.result_settings import rng_of
from dryslate.app.result_tallies import ALL, UNNAMED, NotedName, SampledAlike
from dryslate.app.result_units import unseen
from dryslate.base.quality import Flag
from dryslate.core.survey.designs import COVER_KINDS, ROW_KINDS, Design
from dryslate.core.survey.diversity import (
    Counted,
    Sample,
    measure_indices,
    read_counts,
    read_units,
    sample_coverage,
)
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Figure, Method, find_rule
from dryslate.core.survey.rarefaction import (
    FURTHEST,
    CurvePoint,
    expected_coverage,
    hill_curve,
    size_for_coverage,
)
from dryslate.core.survey.richness import Richness, chao1, chao2
from dryslate.core.survey.tally import UnitTally

COLONY_DESIGNS: tuple[Design, ...] = ("belt", "quadrat_counts", "timed_swim")
"""Designs that count colonies, each with the same chance."""
TRIED_UNITS, TOO_WIDE_BELOW = (5, 20), 15
"""Units for which intervals were tried in simulated surveys; below, they read too wide."""
NEARLY_ALL = 1 - 1e-9
CLEARLY = 1 + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class GenusSample:
    """
    Which genera the units of a group hold.

    Parameters
    ----------
    units : Sample or None
        None where fewer than two units say, or nothing was found in them.
    colonies : Sample or None
        None where colonies were not counted, each with the same chance.
    n_units, n_blank : int
        Blank: corals were noted and no genus, or nobody looked.
    undetermined_frac : float
        Share of the corals noted that were not told to genus.
    """

    units: Sample | None
    colonies: Sample | None
    n_units: int
    n_blank: int
    undetermined_frac: float


def genus_sample(group: SampledAlike, names: Mapping[str, NotedName]) -> GenusSample:
    """
    Gather the genera of a group's units.

    Parameters
    ----------
    group : SampledAlike
    names : mapping of str to NotedName

    Returns
    -------
    GenusSample
    """
    held = [_genera(one, names) for one in group.tallies]
    said = [one for one, tally in zip(held, group.tallies, strict=True) if _says(tally, one)]
    genera = sorted({genus for one in said for genus in one})
    units = colonies = None
    if len(said) > 1 and genera:
        units = read_units([[float(genus in one) for genus in genera] for one in said])
    if group.design in COLONY_DESIGNS:
        counts = [sum(one.get(genus, 0.0) for one in held) for genus in genera]
        if sum(counts) > 1:
            colonies = read_counts(counts, Counted.COLONIES)
    told = sum(sum(one.values()) for one in held)
    everything = sum(_amounts(one).get(ALL, 0.0) for one in group.tallies)
    return GenusSample(
        units=units,
        colonies=colonies,
        n_units=len(said),
        n_blank=len(held) - len(said),
        undetermined_frac=1 - told / everything if everything > 0 else 0.0,
    )


def _amounts(tally: UnitTally) -> Mapping[str, float]:
    """Return what a unit has of each thing: what lies on it, else how many."""
    return tally.on if _reads_cover(tally.design.design) else tally.counts


def _reads_cover(design: Design) -> bool:
    """Tell whether cover is read in units of a design."""
    return any(kind in COVER_KINDS for kind in ROW_KINDS[design])


def _genera(tally: UnitTally, names: Mapping[str, NotedName]) -> dict[str, float]:
    """Return how much of each genus a unit holds; colonies under a tape hold their genus too."""
    found: dict[str, float] = defaultdict(float)
    for thing, amount in _amounts(tally).items():
        if amount > 0 and thing in names and names[thing].is_genus:
            found[names[thing].genera[0]] += amount
    for thing in tally.colonies:
        if thing in names and names[thing].is_genus:
            found[names[thing].genera[0]] += 0.0
    return found


def _says(tally: UnitTally, genera: Mapping[str, float]) -> bool:
    """Tell whether a unit says which genera it holds: it names one, or it holds no coral."""
    if genera:
        return True
    if _amounts(tally).get(ALL, 0.0) > 0:
        return False
    if _reads_cover(tally.design.design):
        return tally.read > 0
    if not tally.counts:
        return False
    if tally.design.searched or unseen(tally, ALL) == 0.0:
        return True
    return ALL in tally.counts and UNNAMED in tally.counts


@dataclass(frozen=True, slots=True, kw_only=True)
class EqualEffort:
    """
    Where surveys of one design can be compared.

    Parameters
    ----------
    n_units : int
        Twice the fewest units of any of them.
    coverage : float
        The lowest that any of them reaches at twice its units.
    """

    n_units: int
    coverage: float


def equal_efforts(
    groups: Sequence[SampledAlike], names: Mapping[str, NotedName]
) -> dict[Design, EqualEffort]:
    """
    Find where surveys of each design can be compared.

    Parameters
    ----------
    groups : sequence of SampledAlike
    names : mapping of str to NotedName

    Returns
    -------
    dict
        By design, of all the groups that say two units or more.
    """
    samples: dict[Design, list[Sample]] = defaultdict(list)
    for group in groups:
        found = genus_sample(group, names).units
        if found is not None:
            samples[group.design].append(found)
    return {
        design: EqualEffort(
            n_units=min(_furthest(one) for one in found),
            coverage=min(float(expected_coverage(one, [_furthest(one)])[0]) for one in found),
        )
        for design, found in samples.items()
    }


def _furthest(sample: Sample) -> int:
    """Return how far a sample may be extrapolated."""
    return int(FURTHEST * sample.n)


def diversity_of(
    group: SampledAlike, names: Mapping[str, NotedName], efforts: Mapping[Design, EqualEffort]
) -> Iterator[Made]:
    """
    Make the figures of diversity of units that were sampled alike.

    Parameters
    ----------
    group : SampledAlike
    names : mapping of str to NotedName
    efforts : mapping of str to EqualEffort
        Where surveys of the design can be compared.

    Yields
    ------
    Made
        Hill numbers of order 0, 1 and 2 in as many units as were surveyed, in as many as all
        surveys of the design reach, and at the coverage that all reach; coverage; bounds of
        richness from units and from colonies; indices of the colonies as found.
    """
    sample = genus_sample(group, names)
    flags = (
        *((Flag.OF_THESE_PLOTS,) if group.is_permanent else ()),
        *((Flag.BLANK_UNITS,) if sample.n_blank else ()),
    )
    made: list[Made] = []
    if sample.units is not None:
        made += _at_equal_effort(group, sample.units, efforts[group.design])
        made.append(_bound(chao2(sample.units)))
    if sample.colonies is not None:
        made += _of_colonies(sample.colonies)
    for one in made:
        found = replace(
            one.found,
            n_units=sample.n_units,
            n_blank=sample.n_blank,
            df=float(sample.n_units - 1) if one.found.lo95 is not None else None,
            flags=(*flags, *one.found.flags, *_tried(one.found, sample.n_units)),
        )
        yield replace(one, found=found, bounds=Bounds(undetermined_frac=sample.undetermined_frac))


def _tried(found: Estimate, n_units: int) -> tuple[Flag, ...]:
    """Say how the interval of a Hill number fared in simulated surveys."""
    if found.method is not Method.BOOTSTRAP_T_LOG:
        return ()
    if not TRIED_UNITS[0] <= n_units <= TRIED_UNITS[1]:
        return (Flag.COVERAGE_NOT_SIMULATED,)
    return (Flag.COVERAGE_HIGH,) if n_units < TOO_WIDE_BELOW else ()


def _at_equal_effort(group: SampledAlike, units: Sample, effort: EqualEffort) -> Iterator[Made]:
    """Hill numbers as surveyed, in equal units, and at equal coverage; and the coverage."""
    yield Made(
        thing=ALL,
        found=Estimate(what="sample_coverage_frac", estimate=sample_coverage(units)),
        about="share of the genera of units, each as often as it occurs, that was found",
    )
    coverage = min(effort.coverage, NEARLY_ALL)
    at_coverage = size_for_coverage(units, coverage)
    wanted = (
        ("at_survey", units.n, "as surveyed"),
        ("at_size", effort.n_units, "the most that all surveys of this design reach"),
        ("at_coverage", at_coverage, f"at the coverage of {coverage:.3f} that all surveys reach"),
    )
    sizes = sorted({size for _, size, _ in wanted})
    points = hill_curve(units, sizes, rng_of(*group.drawn_by, "diversity"))
    by_size = {(point.order, point.size): point for point in points}
    for name, size, words in wanted:
        here = [by_size[order, size] for order in (0, 1, 2)]
        values = [point.estimate for point in here]
        crosses = any(high > low * CLEARLY for low, high in pairwise(values))
        for point in here:
            made = _hill(point, f"hill_q{point.order}_{name}", words)
            yield made.flagged(Flag.ORDERS_CROSS) if crosses else made


def _hill(point: CurvePoint, what: str, words: str) -> Made:
    """Put a Hill number into a figure, with what it is an estimate of."""
    method = find_rule(Figure.HILL_NUMBER).method if point.lo95 is not None else Method.NONE
    beyond = ", extrapolated" if point.is_extrapolated else ""
    found = Estimate(
        what=what,
        estimate=point.estimate,
        u=point.u,
        lo95=point.lo95,
        hi95=point.hi95,
        method=method,
    )
    return Made(thing=ALL, found=found, about=f"{point.estimand}{beyond}; {words}")


def _bound(richness: Richness, n_colonies: int | None = None) -> Made:
    """Put a bound of richness into a figure; its form is in its name."""
    found = Estimate(what=f"richness_{richness.form}", estimate=richness.estimate, u=richness.u)
    about = f"{richness.estimand}; {richness.observed} found"
    return Made(thing=ALL, found=found, about=about, n_colonies=n_colonies)


def _of_colonies(colonies: Sample) -> Iterator[Made]:
    """Bounds of richness, and indices as found, from counts of colonies."""
    n = colonies.n
    for is_bias_corrected in (False, True):
        yield _bound(chao1(colonies, is_bias_corrected=is_bias_corrected), n)
    indices = measure_indices(colonies)
    for what, value in (
        ("shannon_nat", indices.shannon),
        ("gini_simpson_frac", indices.gini_simpson),
    ):
        found = Estimate(what=what, estimate=value)
        about = f"{indices.estimand}; grows with effort"
        yield Made(thing=ALL, found=found, about=about, n_colonies=n)
