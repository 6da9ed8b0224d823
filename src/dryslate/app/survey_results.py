"""Figures of a survey: records to the sums of units, these to figures, these to rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryslate.app.result_choice import ResultChoice
from dryslate.app.result_figures import figures_of
from dryslate.app.result_rows import ResultRow, row_of
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_tallies import tally_units

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def survey_results(
    store: SurveyStore,
    settings: ResultSettings | None = None,
    choice: ResultChoice | None = None,
) -> tuple[ResultRow, ...]:
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
    tuple of ResultRow
        By site, date, zone, design, figure and thing. Zones are kept apart: a site's figure needs
        weights that the records do not state.

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
    found = [
        row_of(group.where, group.design, made, group.unit_ids)
        for group in tallied.groups
        if choice.has_group(group)
        for made in figures_of(group, tallied.names, settings)
    ]
    return tuple(choice.pick(found, tallied.groups))
