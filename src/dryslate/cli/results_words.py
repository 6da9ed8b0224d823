"""How figures of a survey are shown on a terminal: below visit and figure, one thing a line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from dryslate.app.survey_words import SURVEY_FLAGS, figure_words

if TYPE_CHECKING:
    from dryslate.app.result_rows import ResultRow

WIDE = 110
"""Letters that a line may have before what limits a figure goes below it."""
NOTHING = "Nothing was noted in units yet; take it in with `dryslate records import`."


def results_text(found: Sequence[ResultRow]) -> Iterator[str]:
    """Yield the lines."""
    if not found:
        yield NOTHING
        return
    for where, rows in groupby(found, key=_where):
        yield where
        figures: dict[tuple[str, str], list[ResultRow]] = {}
        for row in rows:
            figures.setdefault((row.figure, row.about), []).append(row)
        for (figure, about), same in figures.items():
            shared = set.intersection(*(set(row.flags) for row in same)) if len(same) > 1 else set()
            yield f"  {figure_words(figure)}{f' ({about})' if about else ''}"
            if shared:
                said = _limits(flag for flag in same[0].flags if flag in shared)
                yield f"    all of them: {said}"
            yield from _lines(same, shared)
        yield ""
    yield f"{len(found)} figures. Some of them: --site, --visit, --figure."


def _where(row: ResultRow) -> str:
    """Return visit, zone and design, and of what a site's figure is made."""
    parts = (row.site, row.date, row.zone, row.design.replace("_", " "))
    return ", ".join(part for part in parts if part) + (
        f", zones weighed {row.weights}" if row.weights else ""
    )


def _limits(flags: Iterable[str]) -> str:
    """Say what limits a figure."""
    return "; ".join(SURVEY_FLAGS.get(flag, flag) for flag in flags)


def _lines(rows: Sequence[ResultRow], said_once: set[str]) -> Iterator[str]:
    """Yield a line for each thing: estimate, interval, units, and below it what limits it."""
    wide = min(40, max(len(row.thing) for row in rows))
    for row in rows:
        said = "nothing can be said" if row.estimate is None else _number(row.estimate)
        units = _several(row.n_units, "unit", "units")
        if row.n_colonies is not None:
            units += f", {_several(row.n_colonies, 'colony', 'colonies')}"
        line = f"    {row.thing:<{wide}}  {said:>8}  {_ends(row):<18}  {units}"
        limits = [_limits(flag for flag in row.flags if flag not in said_once)]
        if row.undetermined_frac:
            share = f"{100 * row.undetermined_frac:.3g} % of what may be it not told to genus"
            all_of_it = "" if row.if_all is None else f", {_number(row.if_all)} if all of it is"
            limits.append(share + all_of_it)
        limited = "; ".join(filter(None, limits))
        if not limited or len(line) + len(limited) <= WIDE:
            yield f"{line}{'; ' if limited else ''}{limited}"
        else:
            yield line
            yield f"    {'':<{wide}}  {limited}"


def _ends(row: ResultRow) -> str:
    """Return the interval, or the limit."""
    if row.lo95 is not None and row.hi95 is not None:
        return f"{_number(row.lo95)} to {_number(row.hi95)}"
    if row.hi95 is not None:
        return f"under {_number(row.hi95)}"
    return "" if row.lo95 is None else f"over {_number(row.lo95)}"


def _several(n: int, one: str, more: str) -> str:
    """Return a number with its word."""
    return f"{n} {one if n == 1 else more}"


def _number(value: float) -> str:
    """Return three digits, without an exponent where it can be read without."""
    return f"{value:.3g}" if not 1000 <= abs(value) < 1e9 else f"{value:.0f}"
