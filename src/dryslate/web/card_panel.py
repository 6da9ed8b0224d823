"""The part of the photo page about its card, filled from what the use case gathered."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.photo_card import CardSheet, card_sheet
from dryslate.app.ports import SurveyStore
from dryslate.web.card_words import (
    MEDIUM,
    STATUS,
    dropped_words,
    found_words,
    problems_here,
    with_doubt,
)
from dryslate.web.reach import reach_of


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
        ``card`` and ``words``.
    """
    tables = wiring.reference_tables(reach_of(request).settings.project)
    sheet = card_sheet(tables, store, photo_id)
    return {"card": sheet, "words": _words(request, sheet)}


def _words(request: Request, sheet: CardSheet) -> dict[str, Any]:
    """Put figures and reasons into words."""
    tilts = [with_doubt(request, c.tilt_deg, c.tilt_deg_u, "°") for c in sheet.cards]
    used = next((t for t, c in zip(tilts, sheet.cards, strict=True) if c.is_used), "–")
    dropped = () if sheet.drawing is None else sheet.drawing.dropped
    scale = sheet.scale
    return {
        "how": [found_words(request, card) for card in sheet.cards],
        "tilt": tilts,
        "used_tilt": used,
        "scale": with_doubt(request, scale.get("px_per_mm"), scale.get("px_per_mm_u"), "px/mm"),
        "status": STATUS,
        "medium": MEDIUM,
        "dropped": {p.patch_id: dropped_words(request, p.dropped) for p in dropped},
        "problems": problems_here(request, sheet.problems),
    }
