"""Figures of a survey: records to the sums of units, these to figures, these to rows."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.result_choice import ResultChoice
from dryslate.app.result_diversity import diversity_of, equal_efforts
from dryslate.app.result_figures import figures_of
from dryslate.app.result_rows import ResultRow, row_of
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_sites import site_figures, site_groups
from dryslate.app.result_size_changes import size_changes
from dryslate.app.result_tallies import tally_units

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.base.problems import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyFound:
    """
    The figures of a survey, and what is to be said of all of them.

    Parameters
    ----------
    rows : tuple of ResultRow
    notes : tuple of Problem
        Such as a site whose zones have no weights.
    """

    rows: tuple[ResultRow, ...]
    notes: tuple[Problem, ...]


def survey_results(
    store: SurveyStore,
    settings: ResultSettings | None = None,
    choice: ResultChoice | None = None,
) -> tuple[ResultRow, ...]:
    """Make the rows of `find_results`."""
    return find_results(store, settings, choice).rows


def find_results(
    store: SurveyStore,
    settings: ResultSettings | None = None,
    choice: ResultChoice | None = None,
) -> SurveyFound:
    """
    Make every figure that the records of a project carry.

    Parameters
    ----------
    store : SurveyStore
    settings : ResultSettings, optional
    choice : ResultChoice, optional
        Some of them only.

    Returns
    -------
    SurveyFound
        Rows by site, date, zone, design, figure and thing; then those of whole sites, from zones
        by their stated weights (without weights a site has figures by zone only, and a note); then
        cover and density by name corrected for misnaming, where there is something to correct by.

    Notes
    -----
    Points on photos that are set aside are left out. Which interval goes with which figure is
    fixed in `dryslate.core.survey.methods.RULES`. Units of
    one design, zone and visit make a figure together; permanent plots apart from others. A name
    that was looked for and not seen in a unit is a zero there; without "none seen", and where the
    unit does not say what was searched for, names seen elsewhere count as zero only in designs in
    which everything is noted (cover), or where the unit noted corals by name at all.
    """
    settings, choice = settings or ResultSettings(), choice or ResultChoice()
    tallied = tally_units(store, settings.usual)
    groups = [group for group in tallied.groups if choice.has_group(group)]
    efforts = equal_efforts(tallied.groups, tallied.names)
    changes: dict[tuple[str, ...], list[ResultRow]] = defaultdict(list)
    for first, second, made in size_changes(tallied.groups, settings):
        ids = (*first.unit_ids, *second.unit_ids)
        changes[second.key].append(row_of(second.where, second.design, made, ids))
    found: list[ResultRow] = []
    for group in groups:
        figures = (
            *figures_of(group, tallied.names, settings),
            *diversity_of(group, tallied.names, efforts),
        )
        ids = group.unit_ids
        found += [row_of(group.where, group.design, made, ids) for made in figures]
        found += changes[group.key]
    weights: dict[str, dict[str, float]] = defaultdict(dict)
    for one in store.zone_weights():
        weights[one.site][one.zone] = one.weight
    sites, notes = site_groups(groups, weights)
    for zones in sites:
        where = (zones[0].site, zones[0].date, "")
        ids = tuple(unit_id for zone in zones for unit_id in zone.unit_ids)
        for made in site_figures(zones, weights[zones[0].site], tallied.names, settings):
            found.append(row_of(where, zones[0].design, made, ids))
    if settings.names is not None and (settings.error_table or store.review_outcomes()):
        from dryslate.app.adjusted_results import adjusted_results

        corrected, said = adjusted_results(store, tallied, settings, choice)
        found += corrected
        notes = [*notes, *said]
    return SurveyFound(rows=tuple(choice.pick(found, tallied.groups)), notes=tuple(notes))
