"""Units and what they hold, ready to be compared with each other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.app.result_figures import COVER_DESIGNS
from dryslate.app.result_tallies import ALL
from dryslate.app.result_units import things_of, unseen
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import Design
from dryslate.core.survey.tally import UnitTally

if TYPE_CHECKING:
    from dryslate.app.result_tallies import SampledAlike, TalliedUnit

By = Literal["zone", "visit", "site", "group"]
Kind = Literal["category", "name"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComparedUnits:
    """
    A table of units by things, with what the units are grouped by.

    Parameters
    ----------
    design : str
    kind : {"category", "name"}
    things, unit_ids : tuple of str
    amounts : ndarray of float, shape (units, things)
        Cover fractions, colonies a square metre, or counts a minute.
    sites, groups, strata : tuple of str
        Of each unit: its site, what it is compared by, and within what it may be exchanged.
    n_left_out : int
        Units that are blank, or hold nothing of what is compared.
    n_things_left_out : int
        Things that some unit did not search for.
    """

    design: Design
    kind: Kind
    things: tuple[str, ...]
    unit_ids: tuple[str, ...]
    amounts: NDArray[np.float64]
    sites: tuple[str, ...]
    groups: tuple[str, ...]
    strata: tuple[str, ...]
    n_left_out: int
    n_things_left_out: int


def compared_units(
    sampled: Sequence[SampledAlike], by: By, kind: Kind | None, group_of: Mapping[str, str]
) -> ComparedUnits:
    """
    Lay out the units of one design.

    Parameters
    ----------
    sampled : sequence of SampledAlike
        Of one design, permanent plots or others.
    by : {"zone", "visit", "site", "group"}
        Zones and visits take every visit; sites and groups of sites the latest visit of each site.
    kind : {"category", "name"} or None
        None: categories of what covers the ground, names of what is counted.
    group_of : mapping of str to str
        Of sites, for ``group``; others are left out.

    Returns
    -------
    ComparedUnits

    Raises
    ------
    InputError
        ``community-too-few-units`` if fewer than three units are left.

    Notes
    -----
    Units stand by date and their sums, not by the site's name, so that draws are the same where
    that is withheld. Visits are numbered at each site in their order. Units of a permanent plot are
    exchanged between the visits of the same plot.
    """
    design = sampled[0].design
    kind = kind or ("category" if design in COVER_DESIGNS else "name")
    dates = {one.site: sorted({o.date for o in sampled if o.site == one.site}) for one in sampled}
    kept = [
        (part, one)
        for part in sorted(sampled, key=lambda one: one.drawn_by)
        if by in ("zone", "visit") or part.date == dates[part.site][-1]
        if by != "group" or part.site in group_of
        for one in part.units
    ]
    rows = _amounts(design, kind, [one for _, one in kept])
    is_whole = np.isfinite(rows.table).any(axis=1)
    things = [bool(known) for known in np.isfinite(rows.table[is_whole]).all(axis=0).ravel()]
    table = rows.table[:, things]
    holds = is_whole & (np.nan_to_num(table).sum(axis=1) > 0)
    at = [k for k in range(len(kept)) if holds[k]]
    if len(at) < 3:
        raise InputError(
            "community-too-few-units",
            f"{len(at)} units with something to compare are too few.",
            "Three are the fewest, and a test needs several in each group.",
        )
    groups = [_group(by, part, dates, group_of) for part, _ in kept]
    used = [bool(found) for found in (table[at] > 0).any(axis=0).ravel()]
    names = [thing for thing, is_kept in zip(rows.things, things, strict=True) if is_kept]
    return ComparedUnits(
        design=design,
        kind=kind,
        things=tuple(name for name, is_used in zip(names, used, strict=True) if is_used),
        unit_ids=tuple(kept[k][1].unit.unit_id for k in at),
        amounts=table[at][:, used],
        sites=tuple(kept[k][0].site for k in at),
        groups=tuple(groups[k] for k in at),
        strata=tuple(_stratum(by, *kept[k]) for k in at),
        n_left_out=len(kept) - len(at),
        n_things_left_out=things.count(False),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Amounts:
    """Amounts of things in units; NaN where it is not known."""

    things: tuple[str, ...]
    table: NDArray[np.float64]


def _amounts(design: Design, kind: Kind, units: Sequence[TalliedUnit]) -> _Amounts:
    """Return cover, density or rate of each thing of one kind in each unit."""
    tallies = [one.tally for one in units]
    is_cover = design in COVER_DESIGNS
    things = [
        thing
        for thing in things_of(tallies, "on" if is_cover else "counts")
        if thing.startswith(f"{kind}\t") and thing != ALL
    ]
    table = [[_amount(one, thing, is_cover=is_cover) for thing in things] for one in tallies]
    return _Amounts(
        things=tuple(thing.split("\t")[1] for thing in things),
        table=np.array(table, dtype=np.float64).reshape(len(tallies), len(things)),
    )


def _amount(tally: UnitTally, thing: str, *, is_cover: bool) -> float:
    """Return how much of a thing a unit holds, NaN where it does not say."""
    if is_cover:
        return tally.on.get(thing, 0.0) / tally.read if tally.read else math.nan
    design = tally.design
    effort = design.minutes if design.design == "timed_swim" else design.searched_m2
    count = tally.counts.get(thing, unseen(tally, thing))
    return count / effort if effort else math.nan


def _group(
    by: By, part: SampledAlike, dates: Mapping[str, Sequence[str]], group_of: Mapping[str, str]
) -> str:
    """Return what a unit is compared by."""
    if by == "visit":
        return f"visit {1 + dates[part.site].index(part.date)}"
    if by == "zone":
        return part.zone or "zone not stated"
    return part.site if by == "site" else group_of[part.site]


def _stratum(by: By, part: SampledAlike, one: TalliedUnit) -> str:
    """Return within what a unit may be exchanged."""
    if by == "zone":
        return f"{part.site}\t{part.date}"
    if by == "visit" and part.is_permanent and one.unit.name:
        return f"{part.site}\t{one.unit.name}"
    return part.site
