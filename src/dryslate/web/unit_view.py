"""What the pages show of a visit's units: the strip, what time would say, what can be undone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from dryslate.app.unit_joining import plan_joins
from dryslate.app.unit_records import Unit
from dryslate.app.units import usual_gap
from dryslate.web.languages import N_, catalogue
from dryslate.web.pages import language_of
from dryslate.web.photo_choice import Asked, rows_of_visit
from dryslate.web.photos_words import in_language
from dryslate.web.reach import reach_of, session_of
from dryslate.web.unit_strip import StripRows, strip_lines
from dryslate.web.unit_work import SAID, Done, undo_book

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

KIND_WORDS: dict[str, str] = {
    "transect": N_("transect"),
    "quadrat": N_("quadrat"),
    "photo_station": N_("photo station"),
    "timed_swim": N_("timed swim"),
    "permanent_plot": N_("permanent plot"),
}
REASON_WORDS: dict[str, str] = {
    "blurred": N_("blurred"),
    "not_reef": N_("not of the reef (deck, hands, open water)"),
    "double": N_("taken twice"),
    "not_to_use": N_("not to be used"),
    "other": N_("another reason"),
}
NO_NAME = N_("a unit without a name")


def unit_words_of(request: Request) -> dict[str, Any]:
    """Return the words for kinds of unit and for reasons, in the person's language."""
    return {
        "kinds": in_language(request, KIND_WORDS),
        "reasons": in_language(request, REASON_WORDS),
    }


def units_context(
    request: Request, store: SurveyStore, asked: Asked, rows: StripRows
) -> dict[str, Any]:
    """
    Return what the page of a visit's photos shows of its units.

    Parameters
    ----------
    request : Request
    store : SurveyStore
    asked : Asked
    rows : StripRows
    """
    plan = plan_joins(rows.photos, rows.joins, rows.aside, rows.gap_min)
    chosen = asked.filter.unit or asked.stretch
    lines, units = strip_lines(rows, chosen), ordered_units(rows)
    shown = {band.unit.unit_id for line in lines for band in line.bands if band.unit}
    return {
        "visit_id": rows.visit_id,
        "lines": lines,
        "units": units,
        "off_strip": [unit for unit in units if unit.unit_id not in shown],
        "has_slates": any(join.how == "slate" for join in rows.joins.values()),
        "n_by_time": len(plan.changes),
        "done": done_context(request, rows.visit_id),
    }


def strip_rows(store: SurveyStore, visit_id: str) -> StripRows:
    """Read what a visit's strip is made from, with the limit it was last joined with."""
    return rows_of_visit(store, visit_id, usual_gap(store, visit_id))


def ordered_units(rows: StripRows) -> list[Unit]:
    """Return the units in the order of their photos on the strip, those without any last."""
    seen = dict.fromkeys(
        rows.joins[p.photo_id].unit_id for p in rows.photos if p.photo_id in rows.joins
    )
    first = [rows.units[unit_id] for unit_id in seen if unit_id is not None]
    return first + [unit for unit_id, unit in rows.units.items() if unit_id not in seen]


def done_context(request: Request, visit_id: str) -> dict[str, str]:
    """Say what can be undone and done again; empty where nothing can."""
    observer = session_of(request).observer
    if observer is None:
        return {}
    undo, again = undo_book(reach_of(request)).top((observer, visit_id))
    told = {
        "visit": visit_id,
        "undo": done_words(request, undo) if undo is not None else "",
        "again": done_words(request, again) if again is not None else "",
    }
    return told if undo is not None or again is not None else {}


def done_words(request: Request, done: Done) -> str:
    """Say what was done."""
    texts = catalogue(language_of(request))
    said = texts.gettext(SAID[done.what][done.n != 1])
    return said.replace("{n}", str(done.n)).replace("{unit}", done.unit or texts.gettext(NO_NAME))
