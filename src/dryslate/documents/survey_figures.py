"""Figures of a survey as a reader meets them: the number, its interval, what limits it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.about_words import say_about
from dryslate.app.survey_words import SURVEY_FLAGS, figure_words
from dryslate.documents.report_blocks import Block, Span, table
from dryslate.documents.report_language import NBSP, Speech
from dryslate.documents.survey_charts import Dot

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport
    from dryslate.app.result_rows import ResultRow

ALL = "all corals"
DESIGN_WORDS = {
    "line_intercept": "line intercept",
    "point_intercept": "point intercept",
    "belt": "belt transect",
    "quadrat_counts": "quadrat, counted",
    "quadrat_cells": "quadrat, read by cells",
    "photo_points": "photo station, read at points",
    "timed_swim": "timed swim",
}


_SAID_UNITS = ("per square metre", "per minute", "par mètre carré", "par minute", "par m²")
"""Ends of figures in words that say their unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedRow:
    """A figure with its number in the report, from 1 in the order of the table."""

    number: int
    row: ResultRow

    @property
    def anchor(self) -> str:
        """Where links to it lead."""
        return f"figure-{self.number}"

    @property
    def where(self) -> tuple[str, str, str, str, str]:
        """Site, date, zone, design, and the weights of a site from zones."""
        row = self.row
        return row.site, row.date, row.zone, row.design, row.weights


def numbered(report: SurveyReport) -> list[NumberedRow]:
    """Number the figures of a report."""
    return [NumberedRow(number=k, row=row) for k, row in enumerate(report.rows, 1)]


def unit_of(figure: str) -> str:
    """
    Return the unit that the name of a figure ends with.

    Parameters
    ----------
    figure : str

    Returns
    -------
    str

    Examples
    --------
    >>> unit_of("cover_frac"), unit_of("juvenile_density_per_m2"), unit_of("log_sd")
    ('%', 'per m²', '')
    """
    for end, unit in (
        ("_frac_per_year", "% a year"),
        ("_frac", "%"),
        ("_per_m2", "per m²"),
        ("_per_min", "per minute"),
        ("_cm", "cm"),
    ):
        if figure.endswith(end):
            return unit
    return ""


def write_value(figure: str, value: float, speech: Speech) -> str:
    """
    Write a value of a figure without its unit: per cent with one decimal, else three digits.

    Parameters
    ----------
    figure : str
    value : float
    speech : Speech

    Returns
    -------
    str
    """
    if "%" in unit_of(figure):
        return speech.number(100 * value, 1)
    return speech.digits(value)


def with_unit(figure: str, value: float, speech: Speech) -> str:
    """Write a value of a figure with its unit."""
    unit = speech.word(unit_of(figure))
    return f"{write_value(figure, value, speech)}{NBSP}{unit}".strip()


def write_interval(row: ResultRow, speech: Speech) -> str:
    """Write the interval of a figure, or the limit that stands for it."""
    lo, hi = (
        None if end is None else write_value(row.figure, end, speech)
        for end in (row.lo95, row.hi95)
    )
    if lo is not None and hi is not None:
        return speech.say("{lo} to {hi}", lo=lo, hi=hi)
    if hi is not None:
        return speech.say("under {hi}", hi=hi)
    if lo is not None:
        return speech.say("over {lo}", lo=lo)
    return speech.say("none")


def thing_of(row: ResultRow, speech: Speech) -> str:
    """Return what a figure is of; our own words in the language, noted ones as noted."""
    return speech.word(row.thing) if row.kind_of_thing != "category" else row.thing


def about_of(row: ResultRow, speech: Speech) -> str:
    """Say what a figure is about beyond its name; noted words as noted."""
    return say_words(row.about, speech)


def say_words(text: str, speech: Speech) -> str:
    """Say sentences of figures and comparisons that have values in them."""

    def write(value: str) -> str:
        return value.replace(".", ",") if speech.language == "fr" else value

    return say_about(text, speech.word, write, speech.semicolon)


def place_of(site: str, date: str, zone: str, speech: Speech) -> str:
    """Write site, zone and date."""
    return ", ".join(part for part in (site, zone, speech.date(date) if date else "") if part)


def title_of(figure: str, speech: Speech) -> str:
    """Write a figure with its unit."""
    title, unit = speech.word(figure_words(figure)), speech.word(unit_of(figure))
    is_said = not unit or f"({unit})" in title or title.casefold().endswith(_SAID_UNITS)
    return title if is_said else f"{title} ({unit})"


def axis_writer(figure: str, speech: Speech) -> Callable[[float], str]:
    """Return how numbers of a figure are written along an axis."""
    if "%" in unit_of(figure):
        return lambda value: speech.digits(round(100 * value, 10))
    return lambda value: write_value(figure, value, speech)


def group_words(
    where: tuple[str, str, str, str, str], speech: Speech, *, has_brackets: bool = True
) -> str:
    """
    Write site, zone, date and way of sampling.

    Parameters
    ----------
    where : tuple of str
        As `NumberedRow.where` has it.
    speech : Speech
    has_brackets : bool
        Around the way of sampling.
    """
    site, date, zone, design, weights = where
    said = place_of(site, date, zone, speech)
    words = speech.word(DESIGN_WORDS.get(design, design.replace("_", " ")))
    if weights:
        weighed = speech.say("zones weighed {weights}", weights=weights)
        words = speech.semicolon.join(part for part in (words, weighed) if part)
    if not has_brackets:
        return ", ".join(part for part in (said, words) if part)
    return f"{said} ({words})" if words else said


def undetermined_of(row: ResultRow, speech: Speech) -> str:
    """Say what share was not told to genus, and the figure if all of it is this one."""
    if not row.undetermined_frac or row.if_all is None:
        return ""
    return speech.say(
        "{share}{nbsp}% of what may be it not told to genus; {all} if all of it is",
        share=speech.number(100 * row.undetermined_frac, 1),
        nbsp=NBSP,
        all=with_unit(row.figure, row.if_all, speech),
    )


def flags_of(row: ResultRow, speech: Speech) -> str:
    """Write what limits a figure, in plain words."""
    said = [speech.word(SURVEY_FLAGS.get(flag, flag)) for flag in row.flags]
    return speech.semicolon.join([*said, *filter(None, [undetermined_of(row, speech)])])


def links_to_units(unit_ids: Sequence[str], numbers: dict[str, int]) -> list[Span | str]:
    """Write the numbers of units, ranges put together, each leading to the first."""
    known = sorted(numbers[unit] for unit in set(unit_ids) if unit in numbers)
    runs: list[list[int]] = []
    for number in known:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    found: list[Span | str] = []
    for first, last in runs:
        if found:
            found.append(", ")
        text = str(first) if first == last else f"{first}\N{EN DASH}{last}"
        found.append(Span(text=text, href=f"unit-{first}"))
    return found


def figure_table(rows: Sequence[NumberedRow], numbers: dict[str, int], speech: Speech) -> Block:
    """Return a table of figures, each with the units it rests on."""
    columns = [
        (speech.say("no."), True, 0.6),
        (speech.say("figure"), False, 3.0),
        (speech.say("of what"), False, 1.8),
        (speech.say("estimate"), True, 1.1),
        (speech.say("95 % interval"), True, 1.5),
        (speech.say("units"), False, 1.1),
        (speech.say("what limits it"), False, 2.4),
    ]
    lines = []
    for one in rows:
        row = one.row
        figure = speech.word(figure_words(row.figure))
        about = f" ({about_of(row, speech)})" if row.about else ""
        estimate = (
            speech.say("nothing can be said")
            if row.estimate is None
            else write_value(row.figure, row.estimate, speech)
        )
        units: list[Span | str] = [
            f"{row.n_units}{speech.colon}",
            *links_to_units(row.unit_ids, numbers),
        ]
        if row.n_colonies is not None:
            units.append(f"{speech.semicolon}{speech.say('{n} colonies', n=row.n_colonies)}")
        cells = (
            str(one.number),
            f"{figure}{about}",
            thing_of(row, speech),
            [Span(text=estimate, is_strong=True)],
            write_interval(row, speech),
            units,
            flags_of(row, speech),
        )
        lines.append((one.anchor, cells))
    return table(columns, lines)


def dots_of(rows: Sequence[NumberedRow], speech: Speech) -> list[Dot]:
    """Return figures as rows of a chart."""
    return [
        Dot(
            label=thing_of(one.row, speech),
            value=one.row.estimate,
            lo=one.row.lo95,
            hi=one.row.hi95,
        )
        for one in rows
    ]
