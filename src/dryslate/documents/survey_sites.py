"""A page for each site: what all corals come to, visit beside visit, and drawings of the latest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

from dryslate.documents.report_blocks import Block, Span, Text, charts, heading, para, table
from dryslate.documents.report_language import NBSP, Speech
from dryslate.documents.survey_charts import HALF, Frame, dot_chart
from dryslate.documents.survey_figures import (
    ALL,
    DESIGN_WORDS,
    NumberedRow,
    about_of,
    axis_writer,
    dots_of,
    group_words,
    place_of,
    title_of,
    write_interval,
    write_value,
)

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport

FEW_NOTED = 20
"""Names noted less often in the whole survey stand in a table of their own, not in drawings."""
MOST_SITES = 60
MOST_PANELS = 16
MOST_VISITS = 4
MOST_THINGS = 16
ROW = 13.0
WHOLE = (
    "cover_frac",
    "cover_adjusted_frac",
    "density_per_m2",
    "count_per_min",
    "juvenile_density_per_m2",
    "geometric_mean_cm",
    "prevalence_bleached_frac",
    "prevalence_lesion_frac",
    "bleached_of_live_frac",
    "partial_mortality_recent_frac",
    "hill_q1_at_coverage",
)
"""Figures of all corals that the table of a site holds."""
DRAWN = (
    "cover_frac",
    "density_per_m2",
    "count_per_min",
    "class_share_frac",
    "prevalence_bleached_frac",
    "prevalence_lesion_frac",
)
"""Figures that are drawn: things side by side; of size classes those of all corals."""


def few_names(report: SurveyReport) -> dict[str, int]:
    """
    Return the names that were noted seldom, with how often.

    Parameters
    ----------
    report : SurveyReport

    Returns
    -------
    dict
    """
    named = {row.thing for row in report.rows if row.kind_of_thing == "name"}
    return {
        name: report.n_named[name]
        for name in sorted(named)
        if 0 < report.n_named.get(name, 0) < FEW_NOTED
    }


def site_pages(
    rows: Sequence[NumberedRow], report: SurveyReport, few: dict[str, int], speech: Speech
) -> list[Block]:
    """
    Return a page for each site.

    Parameters
    ----------
    rows : sequence of NumberedRow
    report : SurveyReport
    few : dict
        Names that are not drawn.
    speech : Speech

    Returns
    -------
    list of Block
    """
    sites = list(dict.fromkeys(one.row.site for one in rows))
    blocks: list[Block] = []
    for k, site in enumerate(sites[:MOST_SITES], 1):
        own = [one for one in rows if one.row.site == site]
        blocks += [Block(kind="break"), heading(site, f"site-{k}")]
        blocks += _whole(own, speech)
        drawn = list(_panels(own, few, speech))
        if drawn:
            told = (
                "Drawn: latest visit. Small grey square: the visit before. Open dot: no interval."
            )
            blocks += [para(speech.say(told)), charts(drawn[:MOST_PANELS])]
        if len(drawn) > MOST_PANELS:
            blocks.append(para(speech.say(
                "Further drawings are left out; every figure stands in the tables.")))  # fmt: skip
    if len(sites) > MOST_SITES:
        left = speech.say("{n} further sites have no page of their own; every figure stands in the "
                          "tables.", n=len(sites) - MOST_SITES)  # fmt: skip
        blocks.append(para(left))
    if blocks:
        blocks.append(Block(kind="break"))
    return blocks


def how_to_read(speech: Speech) -> str:
    """Say how the drawings are read."""
    return speech.say(
        "Dot: latest visit, with its 95 % interval; open where there is none. Small grey square on "
        "a thin line: the visit before. Arrow: a limit alone. Where a figure was found in several "
        "ways, a site draws the one with most units."
    )


def _whole(rows: Sequence[NumberedRow], speech: Speech) -> Iterator[Block]:
    """List the figures of all corals, a column for each of the latest visits."""
    wanted = [one for one in rows if one.row.thing == ALL and one.row.figure in WHOLE]
    dates = sorted({one.row.date for one in wanted})[-MOST_VISITS:]
    if not dates:
        return
    columns = [
        (speech.say("all corals"), False, 2.6),
        (speech.say("sampled"), False, 1.8),
        *((speech.date(date), True, 1.7) for date in dates),
    ]
    wanted = [one for one in wanted if not _is_more_diversity(one, wanted)]
    keys: dict[tuple[str, ...], dict[str, NumberedRow]] = {}
    for one in sorted(wanted, key=lambda o: (WHOLE.index(o.row.figure), o.number)):
        key = (one.row.figure, one.row.zone, one.row.design, one.row.weights)
        keys.setdefault(key, {}).setdefault(one.row.date, one)
    lines: list[tuple[str, Sequence[Text]]] = []
    last = ""
    for (figure, zone, design, weights), found in keys.items():
        if not any(date in found for date in dates):
            continue
        cells: list[Text] = [_told(found.get(date), speech) for date in dates]
        way = speech.word(DESIGN_WORDS.get(design, design))
        weighed = speech.say("zones weighed {weights}", weights=weights) if weights else ""
        sampled = ", ".join(part for part in (zone, way, weighed) if part)
        lines.append(("", ("" if figure == last else title_of(figure, speech), sampled, *cells)))
        last = figure
    yield table(columns, lines)


def _is_more_diversity(one: NumberedRow, rows: Sequence[NumberedRow]) -> bool:
    """Whether a figure of diversity has one of more units beside it, found in another way."""
    if not one.row.figure.startswith("hill"):
        return False
    units: dict[str, int] = {}
    for other in rows:
        if (other.row.figure, other.row.zone) == (one.row.figure, one.row.zone):
            units[other.row.design] = max(units.get(other.row.design, 0), other.row.n_units)
    return one.row.design != max(units, key=lambda design: units[design])


def _told(one: NumberedRow | None, speech: Speech) -> Text:
    """Write a figure with its interval; the number leads to its row."""
    if one is None or one.row.estimate is None:
        return "" if one is None else speech.say("nothing can be said")
    value = write_value(one.row.figure, one.row.estimate, speech)
    said = Span(text=value, href=one.anchor, is_strong=True)
    has_interval = one.row.lo95 is not None or one.row.hi95 is not None
    return [said, f"{NBSP} ({write_interval(one.row, speech)})"] if has_interval else [said]


def _panels(
    rows: Sequence[NumberedRow], few: dict[str, int], speech: Speech
) -> Iterator[tuple[str, str]]:
    """Draw what the latest visit found, the visit before below it."""
    by_key: dict[tuple[str, ...], list[NumberedRow]] = {}
    for one in rows:
        row = one.row
        is_drawn = row.figure in DRAWN and row.estimate is not None and row.thing not in few
        if is_drawn and (row.figure != "class_share_frac" or row.thing == ALL):
            by_key.setdefault((row.figure, row.zone, row.design, row.weights), []).append(one)
    chosen: dict[tuple[str, ...], tuple[int, tuple[str, ...]]] = {}
    for key, own in by_key.items():
        n = max(one.row.n_units for one in own)
        if n > chosen.get(key[:2], (0, key))[0]:
            chosen[key[:2]] = (n, key)
    for key in sorted((key for _, key in chosen.values()), key=lambda one: DRAWN.index(one[0])):
        (figure, zone, design, weights), own = key, by_key[key]
        dates = sorted({one.row.date for one in own})
        now = [one for one in own if one.row.date == dates[-1]]
        then = {}
        if len(dates) > 1:
            earlier = [one for one in own if one.row.date == dates[-2]]
            known = zip(earlier, dots_of(earlier, speech), strict=True)
            then = {(one.row.thing, one.row.about): dot for one, dot in known}
        dots = []
        for one, dot in zip(now, dots_of(now, speech), strict=True):
            is_class = figure == "class_share_frac"
            label = about_of(one.row, speech).split(speech.semicolon)[0] if is_class else dot.label
            before = then.get((one.row.thing, one.row.about))
            dots.append(replace(dot, label=label, before=before))
        if figure == "class_share_frac" and len(dots) < 2:
            continue
        where = group_words(("", "", zone, design, weights), speech, has_brackets=False)
        head = f"{title_of(figure, speech)}; {where}; {speech.date(dates[-1])}"
        said = f"{head}; {own[0].row.site}"
        for at in range(0, len(dots), MOST_THINGS):
            svg = dot_chart(
                dots[at : at + MOST_THINGS],
                "",
                axis_writer(figure, speech),
                has_bars=figure == "class_share_frac",
                frame=Frame(width=HALF, row=ROW, head=head),
            )
            yield svg, said


def few_table(
    rows: Sequence[NumberedRow], few: dict[str, int], report: SurveyReport, speech: Speech
) -> list[Block]:
    """
    Return the names noted seldom in one table, each with its figures.

    Parameters
    ----------
    rows : sequence of NumberedRow
    few : dict
    report : SurveyReport
    speech : Speech

    Returns
    -------
    list of Block
    """
    if not few:
        return []
    columns = [
        (speech.say("name"), False, 1.6),
        (speech.say("noted"), True, 0.7),
        (speech.say("where"), False, 3.4),
        (speech.say("figures"), False, 2.4),
    ]
    lines = []
    for name, n in few.items():
        own = [one for one in rows if one.row.thing == name]
        places = list(dict.fromkeys(
            place_of(one.row.site, one.row.date, one.row.zone, speech)
            for one in own if one.row.estimate
        ))  # fmt: skip
        lines.append(("", (name, str(n), speech.semicolon.join(places), _ranges(own))))
    told = speech.say(
        "Noted under {n} times in the whole survey: too few to draw. Their figures stand under "
        "“Every figure” and in {file}.",
        n=FEW_NOTED,
        file=report.table_name,
    )
    return [heading(speech.say("Names of few records"), "few"), para(told), table(columns, lines)]


def _ranges(rows: Sequence[NumberedRow]) -> list[Span | str]:
    """Write the numbers of figures, runs put together."""
    found: list[Span | str] = []
    for _, run in groupby(enumerate(rows), key=lambda pair: pair[1].number - pair[0]):
        own = [one for _, one in run]
        if found:
            found.append(", ")
        first, last = own[0], own[-1]
        text = str(first.number) if first is last else f"{first.number}–{last.number}"
        found.append(Span(text=text, href=first.anchor))
    return found
