"""The sections of a survey's report that show figures; those without data are named instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from dryslate.app.report_contents import MOST_COMPARED
from dryslate.documents.report_blocks import Block, chart, charts, heading, para
from dryslate.documents.report_language import Speech
from dryslate.documents.survey_charts import (
    HALF,
    MAP_WIDTH,
    WIDTH,
    Frame,
    dot_chart,
    map_chart,
)
from dryslate.documents.survey_comparisons import change_section, colony_section, community_section
from dryslate.documents.survey_figures import (
    ALL,
    NumberedRow,
    axis_writer,
    dots_of,
    group_words,
    numbered,
    title_of,
)
from dryslate.documents.survey_ledger import ledger
from dryslate.documents.survey_sites import ROW, few_names, few_table, how_to_read, site_pages

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport

PARTS: dict[str, tuple[str, ...]] = {
    "cover": ("cover",),
    "density": ("density", "count_per", "juvenile_density"),
    "sizes": ("geometric_mean", "log_", "size_", "class_share", "cv_"),
    "health": ("prevalence", "bleached_of_live", "partial_mortality", "bleaching_index"),
    "diversity": ("hill", "richness", "shannon", "sample_coverage", "gini"),
}
"""What figures are of, and how their names begin."""
OVERVIEW = (
    "cover_frac",
    "density_per_m2",
    "geometric_mean_cm",
    "prevalence_bleached_frac",
    "juvenile_density_per_m2",
    "count_per_min",
)
"""Of all corals, drawn for every site and zone side by side."""
MOST_OVERVIEW = 60
MISSING = {
    "cover": "Cover: no unit was read for it (tape, points, cells).",
    "density": "Density: no colonies were counted in a known area or time.",
    "sizes": "Sizes: no colonies were measured in units.",
    "health": "Health and bleaching: no shares of colonies were noted in units.",
    "diversity": "Diversity: no figures of it in the results.",
}


def sections(report: SurveyReport, speech: Speech) -> tuple[list[Block], list[Block], list[str]]:
    """
    Return every section with data, every figure, and a line for each section without.

    Parameters
    ----------
    report : SurveyReport
    speech : Speech

    Returns
    -------
    list of Block, list of Block, list of str
    """
    rows = numbered(report)
    numbers = {unit.unit.unit_id: unit.number for unit in report.units}
    parts = report.choice.parts
    blocks, missing = _map(report, speech)
    missing += [
        speech.say(MISSING[part])
        for part, starts in PARTS.items()
        if not any(one.row.figure.startswith(starts) for one in rows)
    ]
    blocks += _side_by_side(rows, speech)
    few = few_names(report)
    if "sites" in parts:
        blocks += site_pages(rows, report, few, speech)
        blocks += few_table(rows, few, report, speech)
    if "colonies" in parts:
        found, lacks = colony_section(report, speech)
        blocks, missing = [*blocks, *found], [*missing, *lacks]
    if "change" in parts:
        found, lacks = change_section(report, speech)
        blocks, missing = [*blocks, *found], [*missing, *lacks]
    if report.is_too_large_to_compare:
        missing.append(speech.say("How alike units are: over {n} units of one kind; “dryslate "
                                  "community” compares them.", n=MOST_COMPARED))  # fmt: skip
    elif "likeness" in parts and report.choice.is_whole:
        found, lacks = community_section(report, speech)
        blocks, missing = [*blocks, *found], [*missing, *lacks]
    elif "likeness" in parts:
        missing.append(speech.say("How alike units are: shown in the report of all sites alone."))
    every = ledger(rows, report, numbers, speech) if "figures" in parts else []
    return blocks, every, missing


def _side_by_side(rows: Sequence[NumberedRow], speech: Speech) -> list[Block]:
    """Draw figures of all corals, sites and zones side by side, the visit before below."""
    drawn = []
    for figure in OVERVIEW:
        series: dict[tuple[str, ...], list[NumberedRow]] = {}
        for one in rows:
            row = one.row
            if (row.figure, row.thing) == (figure, ALL) and row.estimate is not None:
                series.setdefault((row.site, row.zone, row.design, row.weights), []).append(one)
        n_ways = len({(design, weights) for _, _, design, weights in series})
        dots = []
        for (site, zone, design, weights), own in series.items():
            way = (design, weights) if n_ways > 1 else ("", "")
            label = group_words((site, "", zone, *way), speech, has_brackets=False)
            found = dots_of(sorted(own, key=lambda one: one.row.date)[-2:], speech)
            before = found[0] if len(found) > 1 else None
            dots.append(replace(found[-1], label=label, before=before))
        if not 2 <= len(dots) <= MOST_OVERVIEW:
            continue
        head = f"{speech.word(ALL)}{speech.colon}{title_of(figure, speech)}"
        frame = Frame(width=HALF, row=ROW, head=head)
        drawn.append((dot_chart(dots, "", axis_writer(figure, speech), frame=frame), head))
    if not drawn:
        return []
    return [
        heading(speech.say("Sites side by side"), "overview"),
        para(how_to_read(speech), "hint"),
        charts(drawn),
    ]


def _map(report: SurveyReport, speech: Speech) -> tuple[list[Block], list[str]]:
    """Draw where the sites lie, or say that it is not stated."""
    visited = {visit.site for visit in report.visits}
    places = [place for place in report.places if place.site in visited]
    lacking = sorted(visited - {place.site for place in places})
    if not places:
        return [], [speech.say("Map: no site has a position.")] if report.visits else []
    drawn = [(p.site, p.latitude_deg, p.longitude_deg, p.grid_deg) for p in places]
    svg = map_chart(drawn, lambda d: f"{speech.digits(d, 6)}°", speech.digits)
    blocks = [
        heading(speech.say("Where"), "map"),
        chart(
            svg,
            speech.say("Positions of the sites on a grid of latitude and longitude"),
            MAP_WIDTH / WIDTH,
        ),
        para(
            speech.say(
                "Positions in degrees (WGS 84), north up; latitudes south and longitudes west "
                "below zero. No coast is drawn."
            ),
            "hint",
        ),
    ]
    if any(place.grid_deg is not None for place in places):
        blocks.append(
            para(
                speech.say(
                    "A dashed square is a sensitive site: it lies somewhere in the square, "
                    "and its own position is not given here."
                ),
                "hint",
            )
        )
    lacks = speech.say("Map: no position of {sites}.", sites=speech.listed(lacking))
    return blocks, [lacks] if lacking else []
