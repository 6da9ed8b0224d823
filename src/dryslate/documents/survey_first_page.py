"""The first page of a survey's report: for somebody who manages a reef and is no statistician."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from dryslate.base.quality import Flag
from dryslate.documents.report_blocks import Block, Span, Text, bullets, heading, para
from dryslate.documents.report_language import NBSP, Speech
from dryslate.documents.survey_figures import (
    ALL,
    NumberedRow,
    numbered,
    place_of,
    unit_of,
    with_unit,
    write_value,
)

if TYPE_CHECKING:
    from dryslate.app.change_rows import ChangeRow
    from dryslate.app.report_contents import SurveyReport

MOST_PLACES = 8
HARD_CORAL = "hard coral"
"""What the usual list of categories calls it; changes tell the same figure once."""
PLAIN_DESIGNS = {
    "line_intercept": "lines read along their length",
    "point_intercept": "lines read at points",
    "belt": "strips in which everything was counted",
    "quadrat_counts": "frames in which everything was counted",
    "quadrat_cells": "frames read square by square",
    "photo_points": "sets of photos read at points",
    "timed_swim": "timed swims",
}
SAYINGS: tuple[tuple[str, str], ...] = (
    ("cover_frac", "living hard coral covers {value} of the bottom"),
    ("density_per_m2", "coral colonies number {value}"),
    ("count_per_min", "coral colonies met number {value}"),
    ("prevalence_bleached_frac", "{value} of the colonies looked at have bleached parts"),
    ("juvenile_density_per_m2", "young ones number {value}"),
)
"""Figures of all corals that a first page tells, in this order."""


def first_page(report: SurveyReport, speech: Speech, missing: Sequence[str]) -> list[Block]:
    """
    Return the first page: what was looked at, what was found, how sure, what is not known.

    Parameters
    ----------
    report : SurveyReport
    speech : Speech
    missing : sequence of str
        Sections without data.

    Returns
    -------
    list of Block
    """
    title = f"{speech.say('Results of the survey')}{speech.colon}{report.title}"
    blocks = [
        Block(kind="title", text=[Span(text=title)]),
        para(
            speech.say(
                "Before the next dive: dive within your training and the local law, with a buddy; "
                "data come second. Touch nothing; hydrocorals sting. Hold the permits your work "
                "needs. Nothing here says how deep or how long to dive."
            ),
            "care",
        ),
        heading(speech.say("What was looked at"), "glance"),
        para(_looked_at(report, speech)),
    ]
    found = list(_found(report, speech))
    blocks.append(heading(speech.say("What was found"), "found"))
    if found:
        blocks.append(bullets(found))
    else:
        blocks.append(para(speech.say("No figures of all corals together can be given.")))
    if report.rows:
        blocks += [heading(speech.say("How sure it is"), "sure"), para(_sure(speech))]
    blocks += [heading(speech.say("What is not known"), "unknown"), bullets(_unknown(
        report, speech, missing))]  # fmt: skip
    return blocks


def _looked_at(report: SurveyReport, speech: Speech) -> str:
    """Say how many sites, days and units, and how they were sampled."""
    if not report.units:
        return speech.say(
            "Nothing was noted in units yet, so there are no figures. Records are taken in with "
            "“dryslate records import”."
        )
    counts = Counter(unit.design.design for unit in report.units)
    ways = [f"{n} {speech.word(PLAIN_DESIGNS[design])}" for design, n in sorted(counts.items())]
    dates = sorted({unit.date for unit in report.units})
    sites = {unit.site for unit in report.units}
    when = speech.date(dates[0])
    if len(dates) > 1:
        when = speech.say("{first} to {last}", first=when, last=speech.date(dates[-1]))
    return speech.say(
        "Sites: {sites}. Days: {days} ({when}). Sampled: {ways}. Each of these is called a unit; "
        "what is said of a site rests on how its units differ.",
        sites=len(sites),
        days=len(dates),
        when=when,
        ways=speech.listed(ways),
    )


def _found(report: SurveyReport, speech: Speech) -> Iterator[Text]:
    """Tell the figures of all corals at the latest visit of each site, a zone a line."""
    rows = numbered(report)
    latest: dict[str, str] = {}
    for one in rows:
        latest[one.row.site] = max(latest.get(one.row.site, ""), one.row.date)
    places = list(dict.fromkeys(
        (one.row.site, one.row.zone) for one in rows if one.row.date == latest[one.row.site]
    ))  # fmt: skip
    told = 0
    for site, zone in places:
        here = [
            one
            for one in rows
            if (one.row.site, one.row.zone, one.row.date) == (site, zone, latest[site])
            and one.row.thing == ALL
            and one.row.estimate is not None
        ]
        said: list[Span | str] = [Span(text=place_of(site, latest[site], zone, speech),
                                       is_strong=True), speech.colon]  # fmt: skip
        n = 0
        for figure, saying in SAYINGS:
            for one in [o for o in here if o.row.figure == figure][:1]:
                said += [*([speech.semicolon] if n else []), *_told(one, saying, speech)]
                n += 1
        if not n:
            continue
        told += 1
        if told > MOST_PLACES:
            yield speech.say("Further sites and zones stand in the tables below.")
            return
        yield [*said, ".", *_changed(report, site, zone, speech)]


def _told(one: NumberedRow, saying: str, speech: Speech) -> list[Span | str]:
    """Tell one figure with its interval; the number leads to its row."""
    row = one.row
    value = Span(
        text=with_unit(row.figure, row.estimate or 0.0, speech), href=one.anchor, is_strong=True
    )
    before, after = speech.say(saying).split("{value}")
    said: list[Span | str] = [before, value, after]
    if row.lo95 is not None and row.hi95 is not None:
        lo, hi = (write_value(row.figure, end, speech) for end in (row.lo95, row.hi95))
        end = f"{hi}{NBSP}%" if "%" in unit_of(row.figure) else hi
        said.append(speech.say(" (likely between {lo} and {hi})", lo=lo, hi=end))
    elif row.hi95 is not None:
        hi = with_unit(row.figure, row.hi95, speech)
        said.append(speech.say(" (none was found; it is likely under {hi})", hi=hi))
    elif row.lo95 is not None:
        lo = with_unit(row.figure, row.lo95, speech)
        said.append(speech.say(" (likely over {lo})", lo=lo))
    else:
        said.append(speech.say(" (how sure cannot be said)"))
    return said


def _changed(report: SurveyReport, site: str, zone: str, speech: Speech) -> list[Span | str]:
    """Tell the change of coral cover since the first visit, never without what could be seen."""
    found: list[tuple[int, ChangeRow]] = [
        (k, row)
        for k, row in enumerate((r for r in report.changes.rows if r.estimate is not None), 1)
        if (row.site, row.zone, row.kind) == (site, zone, "visits")
        and row.figure == "cover_frac"
        and row.thing in {ALL, HARD_CORAL}
    ]
    if not found:
        return []
    k, row = found[-1]
    points = speech.say("percentage points")
    by = Span(
        text=f"{speech.number(100 * abs(row.estimate or 0.0), 1)} {points}",
        href=f"change-{k}",
        is_strong=True,
    )
    since = speech.date(row.first)
    if row.reading == "changed":
        is_up = (row.estimate or 0.0) > 0
        text = "Since {date} coral cover rose by " if is_up else "Since {date} coral cover fell by "
        return [" ", speech.say(text, date=since), by, "."]
    if row.reading == "not_shown" and row.sees is not None:
        sees = f"{speech.number(100 * row.sees, 1)} {points}"
        text = speech.say(
            "No change of coral cover since {date} is shown, but only one of {sees} or more could "
            "have been seen.",
            date=since,
            sees=sees,
        )
        return [" ", text]
    return [" ", speech.say("Whether coral cover changed since {date} is not known.", date=since)]


def _sure(speech: Speech) -> str:
    """Say what the intervals mean."""
    return speech.say(
        "“Likely between” is the range that holds the true figure of the site about 95 times in "
        "100, if the units were placed without an eye on what grows there. It comes from how the "
        "units differ: more units make it narrower, more photos of the same unit hardly do. Where "
        "nothing was found, there is still an upper limit. Wrong names, and what divers or photos "
        "miss, are not in these ranges."
    )


def _unknown(report: SurveyReport, speech: Speech, missing: Sequence[str]) -> list[Text]:
    """List what the figures do not say."""
    found: list[Text] = []
    flags = {flag for row in report.rows for flag in row.flags}
    for flag, saying in (
        (Flag.ONE_UNIT, "In places there is one unit only: nothing says how units differ there."),
        (Flag.OF_THESE_PLOTS, "Permanent plots speak of themselves, not of the reef around them."),
        (Flag.BLANK_UNITS, "Some units were left blank and are left out; blank is not zero."),
        (Flag.EDGE_NOT_STATED, "Which colonies on an edge were counted was not noted everywhere."),
        (Flag.JUVENILES_READ_LOW, "Young colonies counted on photos are too few."),
        (
            Flag.COVERAGE_LOW,
            "Some ranges are too narrow in surveys of this kind; the tables mark them.",
        ),
    ):
        if flag in flags:
            found.append(speech.say(saying))
    short = sum(bool(row.undetermined_frac) for row in report.rows)
    if short:
        found.append(
            speech.say(
                "{n} figures of a genus leave out corals that were not told to genus; the tables "
                "give both ends.",
                n=short,
            )
        )
    return [*found, *missing] or [speech.say("Nothing beyond what the ranges say.")]
