"""What is measured and noted in a photo, as its page shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from dryslate.app.measure_saved import photo_state
from dryslate.app.tiles import require_photo
from dryslate.web.languages import language_of
from dryslate.web.pages import state_words
from dryslate.web.reach import reach_of
from dryslate.web.reading_words import reading_words, short_words

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


def state_of(request: Request, store: SurveyStore, photo_id: str) -> dict[str, Any]:
    """Return what is measured and noted in a photo, with every value in words."""
    state = photo_state(store, require_photo(store, photo_id))
    for row in (*state["measurements"], *state["taken_back"]):
        row["point_u_px"] = row["values"].get("point_u_px") or 1.0
        row["stood"] = row["values"].get("card_stood") or ""
        row["short"] = short_words(request, row["values"])
        row["words"] = reading_words(request, row.pop("values"))
    reach, language = reach_of(request), language_of(request)
    for coral in state["corals"]:
        form = coral.get("growth_form") or ""
        coral["growth_form_words"] = state_words(reach, language, "growth_form", form)
    return state
