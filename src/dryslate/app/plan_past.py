"""What past units of a project tell a plan: their spread, that of pairs, and its parts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dryslate.app.plan import PlanBasis
from dryslate.app.result_tallies import tally_units
from dryslate.app.unit_values import Series, series_of
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.survey.allocation import PhotoComponents, photo_components
from dryslate.core.survey.spread import (
    Spread,
    spread_of_differences,
    spread_of_pairs,
    spread_of_units,
)

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category

MOST_LISTED = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class PastAsked:
    """
    Which past figure a plan builds on.

    Parameters
    ----------
    figure : str
        ``cover_frac``, ``density_per_m2``, ``count_per_min``, ``prevalence_bleached_frac``, ...
    thing : str
        A category, a group or a name.
    site, zone, design : str or None
        Only these; None: all, pooled within visits.
    same_units : bool
        Units with the same name at two visits are the same place, permanent plots or not.
    """

    figure: str
    thing: str
    site: str | None = None
    zone: str | None = None
    design: str | None = None
    same_units: bool = False


def past_basis(
    store: SurveyStore, usual: Sequence[Category], asked: PastAsked, correlation: float | None
) -> PlanBasis:
    """
    Build a plan on past units of a project.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
    asked : PastAsked
    correlation : float or None
        Between two visits to the same unit, where no unit was seen twice.

    Returns
    -------
    PlanBasis

    Raises
    ------
    InputError
        ``plan-figure-unknown`` with what there is; ``plan-several-designs``;
        ``plan-data-too-thin``.
    """
    among = _chosen(series_of(tally_units(store, usual).groups), asked)
    visits = [visit.values for one in among for visit in one.visits]
    try:
        spread = spread_of_units(*visits)
    except InputError:
        raise InputError(
            "plan-data-too-thin",
            f"{asked.figure} of {asked.thing}: no visit has two units that differ, so that past "
            "data do not tell how units spread.",
            "State a standard deviation, with the units it comes from.",
        ) from None
    values = np.concatenate(visits)
    seen = values[np.isfinite(values)]
    missing: list[Problem] = []
    components = _components(store, usual, among, missing)
    n_visits = sum(visit.is_seen for one in among for visit in one.visits)
    return PlanBasis(
        spread=spread,
        differences=_differences(among, asked, spread, correlation, missing),
        source=f"{asked.figure} of {asked.thing}: {len(seen)} units of {n_visits} visits to "
        f"{len({one.site for one in among})} sites, pooled within visit and zone",
        level=float(seen.mean()),
        n_units=len(seen),
        n_visits=n_visits,
        components=components,
        missing=tuple(missing),
    )


def planned_figures(store: SurveyStore, usual: Sequence[Category]) -> tuple[tuple[str, str], ...]:
    """Return every figure and thing that a plan could build on."""
    found = series_of(tally_units(store, usual).groups)
    return tuple(dict.fromkeys((one.figure, one.thing) for one in found))


def _chosen(found: Sequence[Series], asked: PastAsked) -> list[Series]:
    """Return the series that were asked for, of one design."""
    like = [
        one
        for one in found
        if one.figure == asked.figure
        and one.thing.casefold() == asked.thing.casefold()
        and asked.site in (None, one.site)
        and asked.zone in (None, one.zone)
        and asked.design in (None, one.design)
    ]
    if not like:
        there = sorted({f"{one.figure} of {one.thing}" for one in found})
        more = f", and {len(there) - MOST_LISTED} more" if len(there) > MOST_LISTED else ""
        raise InputError(
            "plan-figure-unknown",
            f"No past unit has {asked.figure} of {asked.thing} there.",
            f"There are: {', '.join(there[:MOST_LISTED]) or 'none'}{more}.",
        )
    kinds = {one.kind_of_thing for one in like}
    if "category" in kinds:  # a word may stand for a category and for a group
        like = [one for one in like if one.kind_of_thing == "category"]
    designs = sorted({one.design for one in like})
    if len(designs) > 1:
        raise InputError(
            "plan-several-designs",
            f"{asked.figure} of {asked.thing} was noted in several designs: {', '.join(designs)}.",
            "Name the design that you mean to use.",
        )
    return like


def _differences(
    among: Sequence[Series],
    asked: PastAsked,
    spread: Spread,
    correlation: float | None,
    missing: list[Problem],
) -> Spread | None:
    """Return the spread of differences within a unit: from pairs, else by the correlation."""
    if correlation is not None:
        return spread_of_differences(spread, correlation)
    tables = [_pairs(one) for one in among if one.is_permanent or asked.same_units]
    try:
        return spread_of_pairs(*(table for table in tables if table.size))
    except InputError:
        missing.append(
            Problem(
                slug="plan-no-pairs",
                severity="note",
                place="",
                message="No two units were seen at two visits as the same: the same units again "
                "cannot be planned for.",
                fix="State the correlation between two visits to a unit, or plan from permanent "
                "plots.",
            )
        )
        return None


def _pairs(series: Series) -> NDArray[np.float64]:
    """Return units by visits, named units only, of the visits that share units."""
    by_visit = [
        {unit.label: unit.value for unit in visit.units if unit.label}
        for visit in series.visits
        if visit.is_seen
    ]
    labels = sorted(set.intersection(*map(set, by_visit))) if by_visit else []
    if not labels and len(by_visit) > 2:
        by_visit = by_visit[-2:]
        labels = sorted(set.intersection(*map(set, by_visit)))
    return np.array([[visit[label] for visit in by_visit] for label in labels], dtype=np.float64)


def _components(
    store: SurveyStore,
    usual: Sequence[Category],
    among: Sequence[Series],
    missing: list[Problem],
) -> PhotoComponents | None:
    """Take the spread apart where units are photos with points."""
    why = "The past units are no photos with points: these cannot be weighed against units."
    if among[0].design == "photo_points" and among[0].figure == "cover_frac":
        try:
            return photo_components(*_photos(store, usual, among))
        except InputError:
            why = "No visit has two units with two photos each: photos cannot be weighed."
    missing.append(
        Problem(
            slug="plan-no-photos",
            severity="note",
            place="",
            message=why,
            fix="Plan from past photos with points.",
        )
    )
    return None


def _photos(
    store: SurveyStore, usual: Sequence[Category], among: Sequence[Series]
) -> list[list[list[tuple[float, float]]]]:
    """Return points on the thing and points read, by visit, unit and photo."""
    kind, thing = among[0].kind_of_thing, among[0].thing
    wanted = {unit.unit_id for one in among for visit in one.visits for unit in visit.units}
    groups = {one.category for one in (*store.categories(), *usual) if one.group == thing}
    aside = {one.photo_id for one in store.photos_set_aside()}
    on: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0, 0.0]))
    for noted in store.survey_rows():
        row = noted.row
        if noted.unit_id not in wanted or row.photo_id is None or row.photo_id in aside:
            continue
        if row.unreadable:
            continue
        sums = on[noted.unit_id][row.photo_id]
        sums[1] += 1
        name = noted.name or row.name
        if kind == "name":
            sums[0] += name == thing
        else:
            sums[0] += row.category == thing or (kind == "group" and row.category in groups)
    return [
        [
            [(hits, read) for hits, read in on[unit.unit_id].values()]
            for unit in visit.units
            if unit.unit_id in on
        ]
        for one in among
        for visit in one.visits
    ]
