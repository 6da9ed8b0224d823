"""The sections of a survey's report that show figures; those without data are named instead."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

from dryslate.app.survey_words import figure_words
from dryslate.documents.report_blocks import Block, chart, heading, para, subheading
from dryslate.documents.report_language import Speech
from dryslate.documents.survey_charts import dot_chart, map_chart
from dryslate.documents.survey_comparisons import change_section, colony_section, community_section
from dryslate.documents.survey_figures import (
    ALL,
    DESIGN_WORDS,
    NumberedRow,
    dots_of,
    figure_table,
    numbered,
    place_of,
    thing_of,
    unit_of,
    write_value,
)

if TYPE_CHECKING:
    from dryslate.app.survey_report import SurveyReport

MOST_CHARTS = 30
"""Of a section; the tables hold every figure."""
MOST_DOTS = 45
FEWEST_DRAWN = 50
"""Colonies of a name from which on its sizes are drawn."""

PARTS: tuple[tuple[str, str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("cover", "Cover", ("cover",), ("cover_frac",)),
    (
        "density",
        "Density",
        ("density", "count_per", "juvenile_density"),
        ("density_per_m2", "count_per_min"),
    ),
    (
        "sizes",
        "Sizes",
        ("geometric_mean", "log_", "size_", "class_share", "cv_"),
        ("class_share_frac", "geometric_mean_cm"),
    ),
    (
        "health",
        "Health and bleaching",
        ("prevalence", "bleached_of_live", "partial_mortality", "bleaching_index"),
        ("prevalence_bleached_frac", "prevalence_lesion_frac"),
    ),
    (
        "diversity",
        "Diversity",
        ("hill", "richness", "shannon", "chao", "sample_coverage", "gini", "simpson", "jackknife",
         "diversity", "bootstrap", "order_"),
        (),
    ),
)  # fmt: skip
"""Anchor, heading, how figures of it begin, and those that are drawn."""
OVERVIEW: dict[str, tuple[str, ...]] = {
    "cover": ("cover_frac",),
    "density": ("density_per_m2", "juvenile_density_per_m2"),
    "sizes": ("geometric_mean_cm",),
    "health": ("prevalence_bleached_frac",),
    "diversity": ("hill_q0_at_coverage", "hill_q1_at_coverage"),
}
"""Of all corals, drawn for every visit side by side at the head of a section."""
MOST_OVERVIEW = 60
MISSING = {
    "cover": "Cover: no unit was read for it (tape, points, cells).",
    "density": "Density: no colonies were counted in a known area or time.",
    "sizes": "Sizes: no colonies were measured in units.",
    "health": "Health and bleaching: no shares of colonies were noted in units.",
    "diversity": "Diversity: no figures of it in the results.",
}


def sections(report: SurveyReport, speech: Speech) -> tuple[list[Block], list[str]]:
    """
    Return every section with data, and a line for each without.

    Parameters
    ----------
    report : SurveyReport
    speech : Speech

    Returns
    -------
    list of Block, list of str
    """
    rows = numbered(report)
    numbers = {unit.unit.unit_id: unit.number for unit in report.units}
    blocks, missing = _map(report, speech)
    taken: set[int] = set()
    for anchor, title, starts, drawn in PARTS:
        own = [one for one in rows if one.row.figure.startswith(starts)]
        taken |= {one.number for one in own}
        if own:
            blocks.append(heading(speech.say(title), anchor))
            if not any(block.kind == "table" for block in blocks):
                blocks.append(_key(speech))
            blocks += _overview(own, OVERVIEW[anchor], speech)
            blocks += _figures(own, drawn, numbers, speech)
        else:
            missing.append(speech.say(MISSING[anchor]))
        if anchor == "health":
            for made in (colony_section, change_section):
                found, lacks = made(report, speech)
                blocks += found
                missing += lacks
    rest = [one for one in rows if one.number not in taken]
    if rest:
        blocks.append(heading(speech.say("Other figures"), "other"))
        blocks += _figures(rest, (), numbers, speech)
    found, lacks = community_section(report, speech)
    return [*blocks, *found], [*missing, *lacks]


def _key(speech: Speech) -> Block:
    """Say how the drawings are read."""
    said = speech.say(
        "Full dot: a figure with its 95 % interval. Open dot: no interval. Arrow: a limit "
        "alone. Each figure stands in the table below its drawing."
    )
    return para(said, "hint")


def _overview(
    rows: Sequence[NumberedRow], figures: Sequence[str], speech: Speech
) -> Iterator[Block]:
    """Draw a figure of all corals at every visit side by side, where there are several."""
    for figure in figures:
        own = [
            one
            for one in rows
            if (one.row.figure, one.row.thing) == (figure, ALL) and one.row.estimate is not None
        ]
        if not 2 <= len(own) <= MOST_OVERVIEW:
            continue
        unit = speech.word(unit_of(figure))
        title = speech.word(figure_words(figure))
        head = f"{title} ({unit})" if unit and f"({unit})" not in title else title
        named = zip(dots_of(own, speech), _places_of(own, speech), strict=True)
        dots = [replace(dot, label=label) for dot, label in named]
        svg = dot_chart(dots, f"{speech.word(ALL)}{speech.colon}{head}", _writer(figure, speech))
        yield chart(svg, f"{speech.word(ALL)}{speech.colon}{head}")


def _places_of(rows: Sequence[NumberedRow], speech: Speech) -> list[str]:
    """Name figures by site, zone and date, and by the way of sampling where that is not enough."""
    labels = [place_of(one.row.site, one.row.date, one.row.zone, speech) for one in rows]
    n_alike = Counter(labels)
    ways = [speech.word(DESIGN_WORDS.get(one.row.design, one.row.design)) for one in rows]
    return [
        f"{label}, {way}" if n_alike[label] > 1 else label
        for label, way in zip(labels, ways, strict=True)
    ]


def _figures(
    rows: Sequence[NumberedRow], drawn: Sequence[str], numbers: dict[str, int], speech: Speech
) -> Iterator[Block]:
    """Draw and list figures, a visit after the other."""
    n_charts = 0
    for where, here in groupby(rows, key=lambda one: one.where):
        own = list(here)
        site, date, zone, design, weights = where
        said = place_of(site, date, zone, speech)
        words = speech.word(DESIGN_WORDS.get(design, design.replace("_", " ")))
        weighed = f"; {speech.say('zones weighed {weights}', weights=weights)}" if weights else ""
        yield subheading(f"{said} ({words}{weighed})" if words or weighed else said)
        for block in _charts(own, drawn, said, speech):
            n_charts += 1
            if n_charts <= MOST_CHARTS:
                yield block
            elif n_charts == MOST_CHARTS + 1:
                yield para(speech.say("Further drawings are left out; the tables are whole."))
        first = [one for one in own if _is_first(one, drawn)]
        rest = [one for one in own if not _is_first(one, drawn)]
        if first:
            yield figure_table(first, numbers, speech)
        if rest:
            title = speech.say("Further figures: {n}", n=len(rest))
            yield replace(figure_table(rest, numbers, speech), is_wide=bool(first), alt=title)


def _is_first(one: NumberedRow, drawn: Sequence[str]) -> bool:
    """Tell whether a figure stands on paper too: of all corals, of the ground, or drawn."""
    is_whole = one.row.thing == ALL or one.row.kind_of_thing == "category"
    return is_whole or (one.row.figure in drawn and one.row.figure != "class_share_frac")


def _charts(
    rows: Sequence[NumberedRow], drawn: Sequence[str], said: str, speech: Speech
) -> Iterator[Block]:
    """Draw the figures that are drawn: things side by side, size classes of each thing."""
    for figure in drawn:
        own = [one for one in rows if one.row.figure == figure and one.row.estimate is not None]
        title = speech.word(figure_words(figure))
        unit = speech.word(unit_of(figure))
        if figure == "class_share_frac":
            for _, classes in groupby(own, key=lambda one: one.row.thing):
                held = list(classes)
                is_many = held[0].row.thing == ALL or (held[0].row.n_colonies or 0) >= FEWEST_DRAWN
                if len(held) < 2 or not is_many:
                    continue
                dots = dots_of(held, speech)
                named = [
                    replace(dot, label=one.row.about) for dot, one in zip(dots, held, strict=True)
                ]
                head = f"{title}{speech.colon}{thing_of(held[0].row, speech)} ({unit})"
                svg = dot_chart(named, head, _writer(figure, speech), has_bars=True)
                yield chart(svg, f"{head}; {said}")
            continue
        for at in range(0, len(own), MOST_DOTS):
            head = f"{title} ({unit})" if unit and f"({unit})" not in title else title
            dots = dots_of(own[at : at + MOST_DOTS], speech)
            yield chart(dot_chart(dots, head, _writer(figure, speech)), f"{head}; {said}")


def _writer(figure: str, speech: Speech) -> Callable[[float], str]:
    """Return how numbers of a figure are written along an axis."""
    if "%" in unit_of(figure):
        return lambda value: speech.digits(round(100 * value, 10))
    return lambda value: write_value(figure, value, speech)


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
        chart(svg, speech.say("Positions of the sites on a grid of latitude and longitude")),
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
