"""Change, tagged colonies and likeness of units, in the report of a survey."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from dryslate.app.change_words import SIZE_CHANGE
from dryslate.app.colony_words import FIGURE_WORDS as COLOUR_WORDS
from dryslate.app.colony_words import STATE_WORDS, WHY_WORDS
from dryslate.app.survey_words import SURVEY_FLAGS, figure_words
from dryslate.base.quality import Flag
from dryslate.documents.report_blocks import Block, Text, beside, heading, para, subheading, table
from dryslate.documents.report_language import NBSP, Speech
from dryslate.documents.survey_charts import scatter_chart
from dryslate.documents.survey_figures import (
    DESIGN_WORDS,
    links_to_units,
    say_words,
    unit_of,
    with_unit,
    write_value,
)

if TYPE_CHECKING:
    from dryslate.app.change_rows import ChangeRow
    from dryslate.app.colony_book import ColonyStory
    from dryslate.app.community_rows import CommunityRow
    from dryslate.app.report_contents import SurveyReport
    from dryslate.core.health.colony_colour import ColourChange

Section = tuple[list[Block], list[str]]
MOST_CONTRIBUTIONS = 6
VERDICTS = {"changed": "changed", "no_change_seen": "no change seen", "not_told": "not known"}
READINGS = {"changed": "changed", "not_shown": "no change shown", "not_known": "not known"}
KINDS = {
    "visits": "two visits",
    "trend": "trend a year",
    "sites": "several sites",
    "contrast": "impact less control",
}


def change_section(report: SurveyReport, speech: Speech) -> Section:
    """Return what changed, each with the smallest change its design could have seen."""
    rows, named = (
        [row for row in changes.rows if row.estimate is not None]
        for changes in (report.changes, report.named_changes)
    )
    if not rows and not named and report.choice.dates:
        return [], [speech.say("Change: shown in the report of all visits alone.")]
    if not rows and not named:
        return [], [speech.say("Change: no site was surveyed twice in the same way.")]
    blocks = [
        heading(speech.say("Change"), "change"),
        para(
            speech.say(
                "“Could have seen” is the smallest change that this design shows four times out "
                "of five: where a change is smaller than that, not seeing it says little. p stands "
                "as it is, and beside it adjusted for the {n} tests of the table.",
                n=report.changes.n_tests,
            )
        ),
        _changes_table(rows, "change", speech),
    ]
    if named:
        blocks += [
            subheading(speech.say("Change by name of coral")),
            para(
                speech.say(
                    "Names are compared at the coarsest list that the visits have in common, as "
                    "they were noted. Where corals that nobody told to genus could be all of a "
                    "change, it is not known. p is adjusted for the {n} tests of this table.",
                    n=report.named_changes.n_tests,
                )
            ),
            _changes_table(named, "named-change", speech),
        ]
    problems = dict.fromkeys((*report.changes.problems, *report.named_changes.problems))
    for one in problems:
        place = f"{one.place}{speech.colon}" if one.place else ""
        said = f"{place}{speech.word(one.message)} {speech.word(one.fix)}"
        blocks.append(para(said.strip(), "hint"))
    return blocks, []


def _changes_table(rows: Sequence[ChangeRow], mark: str, speech: Speech) -> Block:
    """Return changes, one a row."""
    columns = [
        (speech.say("figure"), False, 2.6),
        (speech.say("where"), False, 2.4),
        (speech.say("from, to"), False, 1.9),
        (speech.say("change (of shares: percentage points)"), True, 1.3),
        (speech.say("95 % interval"), True, 1.1),
        (speech.say("could have seen"), True, 0.8),
        ("p", True, 1.0),
        (speech.say("reading"), False, 3.0),
    ]
    lines = [(f"{mark}-{k}", _change_cells(row, speech)) for k, row in enumerate(rows, 1)]
    return table(columns, lines, is_small=True)


def _p(value: float, speech: Speech) -> str:
    """Write a p; one that rounds to zero is not zero."""
    return f"<{NBSP}{speech.number(0.001, 3)}" if value < 0.0005 else speech.number(value, 3)


def _change_cells(row: ChangeRow, speech: Speech) -> Sequence[str]:
    """Return the cells of one change."""

    def said(value: float | None) -> str:
        return speech.say("none") if value is None else write_value(row.figure, value, speech)

    is_share = "%" in unit_of(row.figure) and row.figure != SIZE_CHANGE
    unit = "" if is_share else speech.word(unit_of(row.figure))
    ends = speech.say("none")
    if row.lo95 is not None and row.hi95 is not None:
        ends = speech.say("{lo} to {hi}", lo=said(row.lo95), hi=said(row.hi95))
    p = "" if row.p is None else _p(row.p, speech)
    if row.p_adjusted is not None:
        p += f" ({_p(row.p_adjusted, speech)})"
    said_once = {Flag.NAMES_AS_NOTED}
    flags = [speech.word(SURVEY_FLAGS.get(f, f)) for f in row.flags if f not in said_once]
    flags += _names_said(row, speech)
    where = [row.site, row.zone, speech.word(DESIGN_WORDS.get(row.design, row.design))]
    visits = {"first": speech.date(row.first), "last": speech.date(row.last)}
    return (
        f"{speech.word(figure_words(row.figure))}{speech.colon}{speech.word(row.thing)}",
        ", ".join(part for part in where if part),
        speech.semicolon.join(
            [
                speech.say("{first} to {last}", **visits),
                speech.word(KINDS.get(row.kind, row.kind)),
            ]
        ),
        f"{said(row.estimate)} {unit}".strip(),
        ends,
        said(row.sees),
        p,
        speech.semicolon.join([speech.word(READINGS.get(row.reading, row.reading)), *flags]),
    )


def _names_said(row: ChangeRow, speech: Speech) -> Iterator[str]:
    """Say at which level a name was compared, and what share was not told to it."""
    if row.level not in {"", "genus"}:
        yield speech.say("compared as: {level}", level=speech.word(row.level))
    if row.together:
        yield speech.say("put together: {names}", names=", ".join(row.together))
    if row.undetermined_first or row.undetermined_last:
        first, last = (
            f"{speech.number(100 * (share or 0.0), 0)}{NBSP}%"
            for share in (row.undetermined_first, row.undetermined_last)
        )
        yield speech.say("not told to it: {first}, then {last}", first=first, last=last)


def colony_section(report: SurveyReport, speech: Speech) -> Section:
    """Return the tagged colonies and what became of them."""
    if not report.colonies:
        return [], [speech.say("Tagged colonies: none are on record.")]
    columns = [
        (speech.say("colony"), False, 1.5),
        (speech.say("site"), False, 1.6),
        (speech.say("why tagged"), False, 1.1),
        (speech.say("since"), False, 1.1),
        (speech.say("found"), False, 1.5),
        (speech.say("bleached, first and last"), True, 1.4),
        (speech.say("colour since its first visit"), False, 3.2),
    ]
    lines = [
        (f"colony-{story.colony.organism_id}", _colony_cells(story, changes, speech))
        for story, changes in report.colonies
    ]
    told = speech.say(
        "Lost is not dead. Colonies that were tagged because they were stressed are in no share of "
        "bleached colonies and in no mean of a site."
    )
    return [
        heading(speech.say("Tagged colonies"), "colonies"),
        para(told),
        table(columns, lines),
    ], []


def _colony_cells(
    story: ColonyStory, changes: Sequence[ColourChange], speech: Speech
) -> Sequence[str]:
    """Return the cells of one colony; nothing is said of what nobody judged or measured."""
    none, last = speech.say("none"), story.last
    state = none
    if last is not None and last.sighting is not None:
        state = f"{speech.word(STATE_WORDS[last.sighting.state])}, {speech.date(last.visit.date)}"
    judged = [shares["bleached_pct"] for v in story.visits if (shares := v.mean_shares())]
    bleached = none
    if judged:
        ends = judged[:1] if len(judged) == 1 else [judged[0], judged[-1]]
        bleached = ", ".join(f"{speech.number(end, 0)}{NBSP}%" for end in ends)
    colours = []
    for one in changes:
        ends_said = speech.say("no interval")
        if one.lo95 is not None and one.hi95 is not None:
            lo, hi = (speech.number(end, 1) for end in (one.lo95, one.hi95))
            ends_said = speech.say("{lo} to {hi}", lo=lo, hi=hi)
        words = f"{speech.word(COLOUR_WORDS[one.figure])} {speech.number(one.difference, 1)}"
        verdict = speech.word(VERDICTS.get(one.verdict, one.verdict))
        colours.append(f"{words} ({ends_said}){speech.colon}{verdict}")
    colony = story.colony
    return (
        f"{colony.label} {story.name}".strip(),
        colony.site,
        speech.word(WHY_WORDS[colony.why_tagged]),
        speech.date(story.visits[0].visit.date) if story.visits else none,
        state,
        bleached,
        speech.semicolon.join(colours) or none,
    )


def community_section(report: SurveyReport, speech: Speech) -> Section:
    """Return how alike units are, and whether groups differ."""
    blocks: list[Block] = []
    numbers = {unit.unit.unit_id: unit.number for unit in report.units}
    for by, found in report.communities:
        starts = [k for k, row in enumerate(found.rows) if row.figure == "stress"]
        for start, end in pairwise([*starts, len(found.rows)]):
            if len({r.first for r in found.rows[start:end] if r.figure == "axis_1"}) < 2:
                continue  # one group alone: there is nothing to compare
            blocks += _compared(found.rows[start:end], numbers, speech)
        said: dict[str, list[str]] = {}
        for p in found.problems:
            said.setdefault(p.message, []).append(
                speech.word(DESIGN_WORDS.get(p.place or "", p.place or ""))
            )
        for message, ways in said.items():
            head = f"{speech.word(by)}, {speech.listed(ways)}{speech.colon}"
            blocks.append(para(head + say_words(message, speech), "hint"))
    if not any(block.kind == "beside" for block in blocks):
        return [], [speech.say("How alike units are: fewer than three units to compare.")]
    told = speech.say(
        "Each mark is a unit. The nearer two marks, the more alike in what they hold; scale and "
        "direction mean nothing. Stress says how badly a plane shows it: over 0.2, do not read it."
    )
    return [heading(speech.say("How alike units are"), "likeness"), para(told), *blocks], []


def _compared(
    rows: Sequence[CommunityRow], numbers: dict[str, int], speech: Speech
) -> Iterator[Block]:
    """Show one comparison: the picture, the tests, what groups differ by."""
    first = rows[0]
    design = speech.word(DESIGN_WORDS.get(first.design, first.design))
    yield subheading(speech.say("By {by}: {design}", by=speech.word(first.by), design=design))
    xs = [row for row in rows if row.figure == "axis_1"]
    ys = {row.unit_id: row.estimate or 0.0 for row in rows if row.figure == "axis_2"}
    points = [
        (row.estimate or 0.0, ys.get(row.unit_id, 0.0), say_words(row.first, speech)) for row in xs
    ]
    stress = speech.digits(first.estimate or 0.0)
    flags = "".join(f"{speech.semicolon}{speech.word(SURVEY_FLAGS.get(f, f))}" for f in first.flags)
    said = speech.say("stress {stress}, {n} units", stress=stress, n=first.n_units)
    links = links_to_units([r.unit_id for r in xs], numbers)
    told: list[Text] = [
        [f"{said[0].upper()}{said[1:]} (", *links, f"){flags}. {say_words(first.method, speech)}."],
        *(_tested(row, speech) for row in rows if row.p is not None),
        *_contributions(rows, speech),
    ]
    yield beside(scatter_chart(points), f"{said}; {design}", told)


def _tested(row: CommunityRow, speech: Speech) -> str:
    """Write a test with the number of ways it had, and the smallest p they give."""
    head = (
        speech.say("Do they differ (PERMANOVA)?")
        if row.figure == "permanova_f"
        else speech.say("Do they differ in spread (PERMDISP, distance to the centroid)?")
    )
    flags = "".join(f"{speech.semicolon}{speech.word(SURVEY_FLAGS.get(f, f))}" for f in row.flags)
    return f"{head} " + speech.say(
        "F {f}, p {p}; exchanged: {what}; {n} distinct ways, {taken} taken, smallest possible p "
        "{least}{flags}.",
        f=speech.digits(row.estimate or 0.0),
        p=speech.number(row.p or 0.0, 4),
        what=speech.word(row.exchanged.replace("_", " ")),
        n=row.n_distinct if (row.n_distinct or 0) < 10**12 else speech.say("over 10¹²"),
        taken=row.n_permutations,
        least=speech.digits(row.p_smallest or 0.0, 2),
        flags=flags,
    )


def _contributions(rows: Sequence[CommunityRow], speech: Speech) -> Iterator[str]:
    """Say what each pair of groups differs most by."""
    for pair in (row for row in rows if row.figure == "dissimilarity_frac"):
        parts = [
            f"{row.thing} {with_unit(row.figure, row.estimate or 0.0, speech)}"
            for row in rows
            if row.figure == "contribution_frac"
            and (row.first, row.second) == (pair.first, pair.second)
        ]
        yield speech.say(
            "Mean dissimilarity of {groups}: {value}. Most by {parts}.",
            groups=speech.listed([say_words(pair.first, speech), say_words(pair.second, speech)]),
            value=f"{write_value(pair.figure, pair.estimate or 0.0, speech)}{NBSP}%",
            parts=", ".join(parts[:MOST_CONTRIBUTIONS]),
        )
