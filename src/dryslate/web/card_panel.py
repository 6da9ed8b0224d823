"""The part of the photo page about its card, filled from what the use cases gathered."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.measure_again import Again, resting_on_earlier, try_again
from dryslate.app.measure_try import prepare
from dryslate.app.photo_card import CardSheet, EarlierCorrection, card_sheet, describe_correction
from dryslate.app.ports import SurveyStore
from dryslate.app.records import CorrectionRow
from dryslate.app.tiles import require_photo
from dryslate.app.try_by_hand import Tried
from dryslate.web.benches import bench_of, shelf_of
from dryslate.web.card_words import (
    EARLIER,
    MEDIUM,
    OUTCOME,
    STATUS,
    dropped_words,
    found_words,
    problems_here,
    script_words,
    with_doubt,
)
from dryslate.web.languages import N_, day, number
from dryslate.web.pages import language_of, translate
from dryslate.web.photo_words import SCRIPT_WORDS
from dryslate.web.reach import reach_of, session_of
from dryslate.web.reading_words import short_words
from dryslate.web.said import semicolon


def card_context(request: Request, store: SurveyStore, photo_id: str) -> dict[str, Any]:
    """
    Return what the templates of the card show.

    Parameters
    ----------
    request : Request
    store : SurveyStore
    photo_id : str

    Returns
    -------
    dict
        ``card``, ``words``, ``again``, ``known_cards``, ``may_change``.
    """
    tables = wiring.reference_tables(reach_of(request).settings.project)
    sheet = card_sheet(tables, store, photo_id)
    return {
        "card": sheet,
        "words": _words(request, sheet),
        "again": _again(request, store, photo_id),
        "followers": (),
        "known_cards": [(c.name, c.title) for c in tables.cards()],
        "may_change": session_of(request).may("surveyor"),
        "card_js_words": script_words(request),
    }


def _words(request: Request, sheet: CardSheet) -> dict[str, Any]:
    """Put figures and reasons into words."""
    tilts = [with_doubt(request, c.tilt_deg, c.tilt_deg_u, "°") for c in sheet.cards]
    used = next((t for t, c in zip(tilts, sheet.cards, strict=True) if c.is_used), "–")
    dropped = () if sheet.drawing is None else sheet.drawing.dropped
    scale = sheet.scale
    return {
        "how": [found_words(request, card) for card in sheet.cards],
        "by": _by(request, sheet.by_hand),
        "picked_by": _by(request, sheet.picked),
        "tilt": tilts,
        "used_tilt": used,
        "scale": with_doubt(request, scale.get("px_per_mm"), scale.get("px_per_mm_u"), "px/mm"),
        "status": STATUS,
        "medium": MEDIUM,
        "dropped": {p.patch_id: dropped_words(request, p.dropped) for p in dropped},
        "problems": problems_here(request, sheet.problems),
        "earlier": [(e.key, _earlier(request, e)) for e in sheet.earlier],
    }


def try_words(request: Request, tried: Tried) -> dict[str, Any]:
    """Put the figures of a try into words."""
    card, scale = tried.card or {}, tried.scale or {}
    dropped = (tried.colour or {}).get("dropped") or {}
    return {
        "tilt": with_doubt(request, card.get("tilt_deg"), card.get("tilt_deg_u"), "°"),
        "scale": with_doubt(request, scale.get("px_per_mm"), scale.get("px_per_mm_u"), "px/mm"),
        "dropped": {patch: dropped_words(request, why) for patch, why in dropped.items()},
        "problems": problems_here(request, tried.problems),
    }


def correction_words(request: Request, row: CorrectionRow) -> str:
    """Say in a line what a correction is: how it came to be, by whom, with which figures."""
    return _earlier(request, describe_correction(row))


def _by(request: Request, by_hand: Any) -> str:
    """Say who set something by hand, and when; empty where it is not known."""
    if not by_hand or not by_hand.get("observer"):
        return ""
    when = day(by_hand.get("at"), language_of(request))
    return translate(request, N_("by %(name)s, %(when)s")) % {
        "name": by_hand["observer"],
        "when": when,
    }


def _earlier(request: Request, told: EarlierCorrection) -> str:
    """Say in a line what a correction is."""
    language = language_of(request)
    head = translate(request, EARLIER.get(told.how) or OUTCOME.get(told.outcome, told.outcome))
    parts = [f"{head} ({told.card})" if told.card and told.how != "point" else head]
    by_hand = {"observer": told.by, "at": told.at}
    parts += [text for text in (_by(request, by_hand),) if text]
    if told.off_de00 is not None:
        text = translate(request, N_("check difference 95 %% below %(n)s"))
        parts.append(text % {"n": number(told.off_de00, 1, language)})
    if told.px_per_mm is not None:
        parts.append(f"{number(told.px_per_mm, 3, language)} px/mm")
    return semicolon(language).join(parts)


def _again(request: Request, store: SurveyStore, photo_id: str) -> dict[str, Any]:
    """Say which measurements rest on an earlier correction, and what they give by the latest."""
    rows = resting_on_earlier(store, require_photo(store, photo_id))
    if not rows:
        return {"rows": [], "problems": []}
    reach = reach_of(request)
    ready = prepare(shelf_of(reach), bench_of(reach, store), photo_id, "length")
    tried = [
        Again(row=row, values=None) if row.kind == "colour" else try_again(row, ready)
        for row in rows
    ]
    problems = {one.problem.message: one.problem.as_dict() for one in tried if one.problem}
    shown = [
        {
            "id": one.row.measurement_id,
            "name": f"{one.row.colony}, {translate(request, SCRIPT_WORDS[one.row.kind])}",
            "was": short_words(request, one.row.values),
            "now": None if one.values is None else short_words(request, one.values),
            "can": one.problem is None,
        }
        for one in tried
    ]
    return {"rows": shown, "problems": problems_here(request, problems.values())}
