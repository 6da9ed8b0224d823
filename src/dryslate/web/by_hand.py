"""What the routes of work by hand share: the run, one correction, and the answer with all of it."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from fastapi import Request
from starlette.responses import JSONResponse, Response

from dryslate import wiring
from dryslate.app.correct import Workshop
from dryslate.app.correct_by_hand import (
    HandCorners,
    HandRequest,
    put_on_record,
    run_by_hand,
    work_out,
)
from dryslate.app.correct_project import ProjectPlace, ProjectRun
from dryslate.app.photo_card import followers_of
from dryslate.app.photo_page import photo_sheet
from dryslate.app.tiles import require_photo
from dryslate.app.try_by_hand import PixelShelf, Tried
from dryslate.base.errors import StoreError
from dryslate.web.benches import tile_bench_of
from dryslate.web.card_panel import card_context, correction_words, try_words
from dryslate.web.errors import answer_to
from dryslate.web.languages import N_, number
from dryslate.web.pages import language_of, part, translate
from dryslate.web.photo_state import state_of
from dryslate.web.reach import Reach, observer_of, reach_of

if TYPE_CHECKING:
    from dryslate.app.one_point import PickedPoint
    from dryslate.app.ports import SurveyStore


class Unheard:
    """Progress that nobody waits for: one photo is done at once."""

    def start(self, what: str, total: int | None) -> None:
        """Begin."""

    def step(self, n: int = 1, note: str = "") -> None:
        """Count."""

    def done(self) -> None:
        """End."""


def pixel_shelf_of(reach: Reach) -> PixelShelf:
    """Return the decoded photos that are being worked on."""
    return cast(PixelShelf, reach.keep("pixel shelf", PixelShelf))


def place_of_project(reach: Reach, store: SurveyStore) -> ProjectPlace:
    """Return the project with its records."""
    folder = reach.settings.project
    return ProjectPlace(folder=folder, store=store, vault=wiring.vault(folder))


def run_of(reach: Reach, store: SurveyStore, photo_id: str) -> ProjectRun:
    """Return what correcting one photo works with."""
    workshop = Workshop(
        reader=wiring.photo_reader(),
        tables=wiring.reference_tables(reach.settings.project),
        runner=wiring.runner(1),
        progress=Unheard(),
    )
    photo = require_photo(store, photo_id)
    return run_by_hand(place_of_project(reach, store), workshop, photo)


def correct_by_hand(
    request: Request, photo_id: str, version: str, what: HandCorners | PickedPoint
) -> Response:
    """Correct a photo by what was set, and answer with the new state, or with both versions."""
    reach, observer = reach_of(request), observer_of(request)
    now = wiring.clock().now_utc()
    wanted = HandRequest(photo_id=photo_id, version=version, what=what, observer=observer, now=now)
    with both_on_conflict(request, photo_id) as answers:
        with reach.reading() as store, tile_bench_of(reach).turns.of(photo_id):
            run = run_of(reach, store, photo_id)
            worked = work_out(run, wanted)
        with reach.writing(observer) as store:
            place = place_of_project(reach, store)
            put_on_record(replace(run, place=place), worked, wanted)
            state = whole_state(request, store, photo_id, followers_of(store, photo_id))
            answers.append(JSONResponse(state))
    return answers[0]


@contextmanager
def both_on_conflict(request: Request, photo_id: str) -> Iterator[list[Response]]:
    """Answer with what is kept where somebody else was quicker."""
    answers: list[Response] = []
    try:
        yield answers
    except StoreError as error:
        if error.slug != "changed-meanwhile":
            raise
        with reach_of(request).reading() as store:
            row = store.correction(photo_id)
            kept = None if row is None else correction_words(request, row)
            both = {"kept": kept, **whole_state(request, store, photo_id)}
        answers.append(answer_to(error, request.scope, both))


def whole_state(
    request: Request, store: SurveyStore, photo_id: str, followers: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Return all that the page shows of a photo after its correction changed."""
    view = photo_sheet(tile_bench_of(reach_of(request)), store, photo_id).for_viewer()
    context = {**card_context(request, store, photo_id), "followers": followers}
    html = part(request, "photo_card_state.html", **context)
    scale = view["scale"]
    said = translate(request, N_("no scale that can be trusted"))
    if scale["usable"]:
        text = translate(request, N_("%(scale)s px/mm at the card"))
        said = text % {"scale": number(scale["px_per_mm"], 2, language_of(request))}
    return {
        "view": view,
        "html": html,
        "scale_words": said if scale["px_per_mm"] else "",
        "state": state_of(request, store, photo_id),
    }


def tried_answer(request: Request, tried: Tried) -> dict[str, Any]:
    """Return what a try gives, in words, with its small picture."""
    html = part(request, "photo_card_try.html", tried=tried, words=try_words(request, tried))
    is_refused = any(p["severity"] == "error" for p in tried.problems)
    return {"html": html, "small": _picture(tried), "refused": is_refused}


def _picture(tried: Tried) -> str | None:
    """Return the small corrected copy as an address that carries its data."""
    if tried.small is None:
        return None
    data = wiring.document_writer().picture_jpeg(tried.small)
    return "data:image/jpeg;base64," + base64.b64encode(data).decode("ascii")
