"""How figures of a survey are shown on a terminal: below visit and figure, one thing a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from dryslate.app.survey_words import SURVEY_FLAGS, figure_words

if TYPE_CHECKING:
    from dryslate.app.result_rows import ResultRow

NOTHING = "Nothing was noted in units yet; take it in with `dryslate records import`."


def results_text(found: Sequence[ResultRow]) -> Iterator[str]:
    """Yield the lines."""
    if not found:
        yield NOTHING
    for where, rows in groupby(found, key=_where):
        yield where
        for (figure, about), same in groupby(rows, key=_heading):
            yield f"  {figure_words(figure)}{f' ({about})' if about else ''}"
            yield from _lines(list(same))
        yield ""


def _where(row: ResultRow) -> str:
    """Return visit, zone and design, and of what a site's figure is made."""
    parts = (row.site, row.date, row.zone, row.design.replace("_", " "))
    return ", ".join(part for part in parts if part) + (
        f", zones weighed {row.weights}" if row.weights else ""
    )


def _heading(row: ResultRow) -> tuple[str, str]:
    """Return the figure and what it is about."""
    return row.figure, row.about


def _lines(rows: Sequence[ResultRow]) -> Iterator[str]:
    """Yield a line for each thing: estimate, interval, units, and below it what limits it."""
    wide = min(40, max(len(row.thing) for row in rows))
    for row in rows:
        said = "nothing can be said" if row.estimate is None else _number(row.estimate)
        ends = ""
        if row.lo95 is not None and row.hi95 is not None:
            ends = f"{_number(row.lo95)} to {_number(row.hi95)}"
        elif row.hi95 is not None:
            ends = f"under {_number(row.hi95)}"
        elif row.lo95 is not None:
            ends = f"over {_number(row.lo95)}"
        units = "1 unit" if row.n_units == 1 else f"{row.n_units} units"
        if row.n_colonies is not None:
            units += f", {row.n_colonies} colonies"
        yield f"    {row.thing:<{wide}}  {said:>8}  {ends:<18}  {units}".rstrip()
        limits = [SURVEY_FLAGS.get(flag, flag) for flag in row.flags]
        if row.undetermined_frac:
            share = f"{100 * row.undetermined_frac:.3g} % of what may be it not told to genus"
            all_of_it = "" if row.if_all is None else f", {_number(row.if_all)} if all of it is"
            limits.append(share + all_of_it)
        if limits:
            yield f"    {'':<{wide}}  {'; '.join(limits)}"


def _number(value: float) -> str:
    """Return three digits, without an exponent where it can be read without."""
    return f"{value:.3g}" if not 1000 <= abs(value) < 1e9 else f"{value:.0f}"
