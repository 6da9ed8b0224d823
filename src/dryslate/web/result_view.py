"""Figures of a survey as a page shows them: in words, with their place on an axis."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast
from urllib.parse import urlencode

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.about_words import say_about
from dryslate.app.result_panels import Panel
from dryslate.app.result_tallies import ALL, UNNAMED
from dryslate.app.result_trail import key_of
from dryslate.app.survey_words import SURVEY_FLAGS, figure_words
from dryslate.base.figures import rounded_to_doubt
from dryslate.web.languages import N_, catalogue, language_of, number
from dryslate.web.reach import reach_of
from dryslate.web.record_words import DESIGN_WORDS

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.result_rows import ResultRow
    from dryslate.app.result_settings import ResultSettings
    from dryslate.app.survey_results import SurveyFound

SUBJECT_WORDS: Mapping[str, str] = {
    "cover": N_("cover"),
    "density": N_("density and counts"),
    "sizes": N_("sizes"),
    "health": N_("health"),
    "diversity": N_("diversity"),
}
KIND_WORDS: Mapping[str, str] = {
    "category": N_("categories"),
    "group": N_("broader groups"),
    "name": N_("names of corals"),
}
WIDE, TALL = 240.0, 18.0
"""Size of the picture of one interval, in its own units."""
LEAST_MARK = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownFigure:
    """
    One figure as a line of a panel.

    Parameters
    ----------
    date : str
    words, interval : str
        The estimate, and its interval or limit; empty where there is none.
    units : str
    limits : tuple of str
        What limits it, in words.
    trail : str
        Where its units and rows are shown.
    at, from_, to : float or None
        On the axis, in units of the picture; `to` at its end where the interval goes on beyond.
    is_beyond : bool
    """

    date: str
    words: str
    interval: str
    units: str
    limits: tuple[str, ...]
    trail: str
    at: float | None
    from_: float | None
    to: float | None
    is_beyond: bool


def found_of(request: Request, store: SurveyStore) -> SurveyFound:
    """Return every figure of the project, made again only after something was stored."""
    from dryslate.app.survey_results import find_results

    reach, last = reach_of(request), store.last_change_no()
    kept = reach.keep("results", dict)
    if kept.get("last") != last:
        settings = usual_settings(request)
        kept["found"], kept["last"] = find_results(store, settings), last
    return cast("SurveyFound", kept["found"])


def usual_settings(request: Request) -> ResultSettings:
    """Return what figures of the pages are made with."""
    made = reach_of(request).keep("result settings", wiring.result_settings)
    return cast("ResultSettings", made)


def figure_title(request: Request, panel: Panel) -> str:
    """Say what a panel shows: the figure, what it is about, zone and way of sampling."""
    gettext = catalogue(language_of(request)).gettext
    about = f" ({about_said(request, panel.about)})" if panel.about else ""
    return gettext(figure_words(panel.figure)) + about


def about_said(request: Request, about: str) -> str:
    """Say what a figure is about beyond its name, numbers as the language writes them."""
    language = language_of(request)

    def write(text: str) -> str:
        return text.replace(".", number(0.5, 1, language)[1])

    return say_about(about, catalogue(language).gettext, write)


def where_words(request: Request, zone: str, design: str) -> str:
    """Say of which zone and how it was sampled."""
    gettext = catalogue(language_of(request)).gettext
    way = gettext(DESIGN_WORDS[design]) if design in DESIGN_WORDS else design
    return f"{zone}, {way}" if zone else way


def thing_words(request: Request, thing: str) -> str:
    """Return what a figure is of; our own words in the person's language, noted ones as noted."""
    own = (ALL.split("\t")[1], UNNAMED.split("\t")[1])
    return catalogue(language_of(request)).gettext(thing) if thing in own else thing


def shown(request: Request, panel: Panel) -> list[tuple[str, list[ShownFigure]]]:
    """Return the lines of a panel, by thing."""
    return [
        (
            thing_words(request, rows[0].thing),
            [shown_figure(request, row, (panel.low, panel.high)) for row in rows],
        )
        for rows in panel.things
    ]


def shown_figure(request: Request, row: ResultRow, ends: tuple[float, float]) -> ShownFigure:
    """
    Put one figure into words and onto an axis.

    Parameters
    ----------
    request : Request
    row : ResultRow
    ends : (float, float)
        Of the axis.

    Returns
    -------
    ShownFigure
    """
    low, high = ends

    def place(value: float | None) -> float | None:
        if value is None or not math.isfinite(value):
            return None
        return LEAST_MARK + (WIDE - 2 * LEAST_MARK) * (min(value, high) - low) / (high - low)

    return ShownFigure(
        date=row.date,
        words=figure_value(request, row),
        interval=_interval(request, row),
        units=_units(request, row),
        limits=limits_of(request, row),
        trail="/results/trail?" + urlencode(_address(row)),
        at=place(row.estimate),
        from_=place(low if row.lo95 is None and row.hi95 is not None else row.lo95),
        to=place(high if row.hi95 is None and row.lo95 is not None else row.hi95),
        is_beyond=row.hi95 is not None and row.hi95 > high,
    )


def axis_words(request: Request, panel: Panel) -> tuple[str, str]:
    """Write the ends of a panel's axis."""
    scale, mark = _scale(panel.figure)
    language = language_of(request)
    low, high = (scale * value for value in (panel.low, panel.high))
    digits = 0 if high >= 10 else 1 if high >= 1 else 3
    first = number(low, digits if low else 0, language)
    return f"{first}{mark}", f"{number(high, digits, language)}{mark}"


def figure_value(request: Request, row: ResultRow) -> str:
    """Write an estimate, rounded to its doubt."""
    if row.estimate is None:
        return "–"
    scale, mark = _scale(row.figure)
    value, _, digits = rounded_to_doubt(scale * row.estimate, scale * (row.u or 0.0))
    return number(value, digits, language_of(request)) + mark


def limits_of(request: Request, row: ResultRow) -> tuple[str, ...]:
    """Say what limits a figure."""
    language = language_of(request)
    gettext = catalogue(language).gettext
    said = [gettext(SURVEY_FLAGS[flag]) for flag in row.flags if flag in SURVEY_FLAGS]
    if row.undetermined_frac:
        share = number(100 * row.undetermined_frac, 0, language)
        said.append(gettext("%(n)s %% of what may be it was not told to genus") % {"n": share})
        if row.if_all is not None:
            scale, mark = _scale(row.figure)
            all_of_it, _, digits = rounded_to_doubt(scale * row.if_all, scale * (row.u or 0.0))
            told = {"n": number(all_of_it, digits, language) + mark}
            said.append(gettext("%(n)s if all of that is it") % told)
    return tuple(said)


def _interval(request: Request, row: ResultRow) -> str:
    """Write an interval or a limit."""
    scale, mark = _scale(row.figure)
    language = language_of(request)
    gettext = catalogue(language).gettext
    _, _, digits = rounded_to_doubt(scale * (row.estimate or 0.0), scale * (row.u or 0.0))

    def end(value: float) -> str:
        own = rounded_to_doubt(scale * value, 0.0)[2] if not row.u else digits
        return number(scale * value, own, language) + mark

    if row.lo95 is not None and row.hi95 is not None:
        return gettext("%(low)s to %(high)s") % {"low": end(row.lo95), "high": end(row.hi95)}
    if row.hi95 is not None:
        return gettext("under %(n)s") % {"n": end(row.hi95)}
    if row.lo95 is not None:
        return gettext("over %(n)s") % {"n": end(row.lo95)}
    return ""


def _units(request: Request, row: ResultRow) -> str:
    """Say of how many units, and colonies, a figure is."""
    words = catalogue(language_of(request))
    said = words.ngettext("%(num)s unit", "%(num)s units", row.n_units) % {"num": row.n_units}
    if row.n_colonies is None:
        return said
    n = {"num": row.n_colonies}
    return f"{said}, " + words.ngettext("%(num)s colony", "%(num)s colonies", row.n_colonies) % n


def _scale(figure: str) -> tuple[float, str]:
    """Return what a figure is multiplied by to be shown, and the mark behind it."""
    return (100.0, "\u00a0%") if figure.endswith("_frac") else (1.0, "")


def _address(row: ResultRow) -> dict[str, str]:
    """Return the words that tell a figure, as an address has them."""
    key = key_of(row)
    return {
        name: value
        for name in ("site", "date", "zone", "design", "figure", "about", "kind", "thing")
        if (value := getattr(key, name))
    }


def choose(wanted: str, among: Sequence[str]) -> str:
    """Return what is asked for where it is there, else the first; empty where there is none."""
    return wanted if wanted in among else next(iter(among), "")
