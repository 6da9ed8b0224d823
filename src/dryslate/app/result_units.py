"""What the sums of units say of a thing that some of them do not mention, and how they are read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from dryslate.app.result_settings import ResultSettings, rng_of
from dryslate.app.result_tallies import ALL, UNNAMED, SampledAlike
from dryslate.base.quality import Flag
from dryslate.core.survey.designs import EdgeRule
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.methods import Method
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.tally import UnitTally

BLANK = math.nan


def survey_settings(group: SampledAlike, settings: ResultSettings, *words: str) -> SurveySettings:
    """
    Return how the figures of a group are stated.

    Parameters
    ----------
    group : SampledAlike
    settings : ResultSettings
    *words : str
        What the figure is of, where it draws units again.

    Returns
    -------
    SurveySettings
    """
    return SurveySettings(
        scope="plots" if group.is_permanent else "area",
        coverage=settings.coverage,
        rng=rng_of(*group.drawn_by, *words) if words else None,
    )


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


def is_told_apart(thing: str) -> bool:
    """
    Tell whether sizes and health are given of a thing: each name, and all corals.

    Parameters
    ----------
    thing : str

    Returns
    -------
    bool
    """
    return thing == ALL or thing.startswith("name\t")


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
    kind, _ = thing.split("\t")
    if thing == ALL:
        return 0.0 if _notes_all(tally) else BLANK
    if thing == UNNAMED:
        return 0.0 if ALL in tally.counts or _notes_all(tally) else BLANK
    if kind == "name" and tally.counts.get(ALL) == 0 and UNNAMED in tally.counts:
        return 0.0  # no coral at all was seen
    if tally.design.searched and kind == "name":
        return 0.0 if tally.counts and thing in tally.looked_for else BLANK
    is_noted = any(o.startswith(f"{kind}\t") and o not in (ALL, UNNAMED) for o in tally.counts)
    has_none = kind == "name" and ALL not in tally.counts and _notes_all(tally)
    return 0.0 if is_noted or has_none else BLANK


def _notes_all(tally: UnitTally) -> bool:
    """
    Tell whether a unit would have noted any coral.

    It does if it searched for all of them or noted categories: a category that it does not mention
    is 0 there, that of corals too.
    """
    if tally.counts and ALL in tally.looked_for:
        return True
    return any(thing.startswith("category\t") for thing in tally.counts)


def is_looked_for(tally: UnitTally, thing: str) -> bool:
    """
    Tell whether a unit would have noted a thing that it holds.

    Parameters
    ----------
    tally : UnitTally
    thing : str

    Returns
    -------
    bool
        False only of names, where the unit says which it searched for and this is none of them:
        a colony that somebody happened on says nothing of the others.
    """
    if not tally.design.searched or not thing.startswith("name\t") or thing == UNNAMED:
        return True
    return thing in tally.looked_for or unseen(tally, thing) == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """
    How many each unit counted of a thing.

    Parameters
    ----------
    counts : list of float
        NaN where the unit did not look.
    reads_low : bool
        No unit searched for it: these are what was noted all the same, and 0 elsewhere.
    """

    counts: list[float]
    reads_low: bool = False


def counted(tallies: Sequence[UnitTally], thing: str) -> Counted:
    """
    Return how many each unit counted of a thing.

    Parameters
    ----------
    tallies : sequence of UnitTally
        Of one design.
    thing : str

    Returns
    -------
    Counted
        Of the units that searched for it; where none did, of all in which anything was noted.
    """
    looked = [is_looked_for(one, thing) for one in tallies]
    if any(is_there and one.counts for is_there, one in zip(looked, tallies, strict=True)):
        return Counted(
            counts=[
                one.counts.get(thing, unseen(one, thing)) if is_there else BLANK
                for is_there, one in zip(looked, tallies, strict=True)
            ]
        )
    return Counted(
        counts=[one.counts.get(thing, 0.0) if one.counts else BLANK for one in tallies],
        reads_low=not all(looked),
    )


def as_noted(found: Estimate) -> Estimate:
    """
    Return a figure of what was noted without being searched for: no interval, and flagged.

    Parameters
    ----------
    found : Estimate

    Returns
    -------
    Estimate
    """
    of_coverage = {Flag.COVERAGE_LOW, Flag.COVERAGE_HIGH, Flag.COVERAGE_NOT_SIMULATED}
    flags = tuple(flag for flag in found.flags if flag not in of_coverage | {Flag.NO_SPREAD})
    return replace(
        found,
        u=None,
        lo95=None,
        hi95=None,
        df=None,
        method=Method.NONE,
        flags=(*flags, Flag.NOT_SEARCHED),
    )


def edge_rule_of(tallies: Sequence[UnitTally]) -> EdgeRule | None:
    """
    Return the edge rule of units; None where they have several, or none.

    Parameters
    ----------
    tallies : sequence of UnitTally

    Returns
    -------
    str or None
    """
    rules = {one.design.edge_rule for one in tallies}
    return rules.pop() if len(rules) == 1 else None
