"""Tagged colonies: the list with what is due, and one colony with its visits and photos."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Path, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app.colonies import TagRequest, find_colony, tag_colony
from dryslate.app.colony_book import colony_stories, colony_story
from dryslate.app.colony_colours import colour_series, frames_to_measure, measure_frame
from dryslate.app.colony_due import (
    TO_DO,
    due_dates,
    due_together,
    onset_at,
    state_onset,
    take_onset_back,
)
from dryslate.app.colony_page import frame_picture, frames_of, outlines_measured, sketch_picture
from dryslate.app.colony_sketch import location_sketch
from dryslate.app.colony_timeline import colony_timeline
from dryslate.app.colony_visits import Seen, judge_colony, see_colony
from dryslate.app.coral_health import SHARES
from dryslate.app.outline_history import files_lost, photos_not_here, sketch_not_here
from dryslate.app.site_loggers import site_heat
from dryslate.app.visits import visit_of
from dryslate.base.errors import InputError
from dryslate.web import colony_words
from dryslate.web.benches import bench_of, tile_bench_of
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.logger_words import heat_lines
from dryslate.web.pages import page, translate
from dryslate.web.reach import observer_of, reach_of, session_of

router = APIRouter()
OrganismId = Annotated[str, Path(pattern="^[0-9a-f-]{36}$")]
PhotoId = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
Short = Annotated[str, Form(max_length=300)]


def _today() -> str:
    """The date on the computer, UTC."""
    return wiring.clock().now_utc()[:10]


def _who(request: Request) -> tuple[str, str]:
    """Who saves, and when."""
    return observer_of(request), wiring.clock().now_utc()


@router.get("/colonies", response_class=HTMLResponse)
def colonies(request: Request) -> HTMLResponse:
    """List the tagged colonies and what is due."""
    return _list(request, {})


def _list(request: Request, said: dict[str, Any], error: InputError | None = None) -> HTMLResponse:
    """Show the list, with what was written and what is wrong with it."""
    with reach_of(request).reading() as store:
        shown: dict[str, Any] = {"stories": colony_stories(store), "visits": store.visits()}
        shown |= {"sites": [s.site for s in store.sites()], "onsets": store.stress_onsets()}
        looks = due_dates(store, _today())
        recall = reach_of(request).keep
        heat = [one for site in shown["sites"] for one in site_heat(store, site, recall)]
    shown["heat"] = heat_lines(heat)
    shown["due"] = due_together(d for d in looks if d.state in TO_DO)
    shown["missed"] = due_together(d for d in looks if d.state == "missed")
    shown["coming"] = due_together(d for d in looks if d.state == "open")[:2]
    shown |= {"words": colony_words, "said": said}
    shown["problem"] = problem_of_error(error) if error else None
    shown["observer"] = session_of(request).observer
    return page(request, "colonies.html", status_of(error) if error else 200, **shown)


@router.post("/colonies")
def tag(
    request: Request,
    label: Short,
    visit: Short,
    why: Short = "",
    place: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Tag a colony."""
    reach, (observer, now) = reach_of(request), _who(request)
    try:
        with reach.writing(observer) as store:
            on = visit_of(store, visit)
            wanted = TagRequest(
                label=label,
                observer=observer,
                visit=(on.site, on.date),
                why=why,
                place=place,
                is_new=True,
            )
            colony = tag_colony(store, wanted, now, wiring.new_identity)
    except InputError as error:
        said = {"label": label, "visit": visit, "why": why, "place": place}
        return _list(request, said, error)
    return RedirectResponse(f"/colonies/{colony.organism_id}", 303)


@router.post("/colonies/onsets")
def onset(
    request: Request,
    site: Short,
    date: Short,
    reason: Annotated[str, Form(max_length=2000)] = "",
    take_back: Annotated[bool, Form()] = False,
) -> Response:
    """Say when stress set in at a site, or take it back."""
    who = _who(request)
    try:
        with reach_of(request).writing(who[0]) as store:
            if take_back:
                take_onset_back(store, onset_at(site, None, date), who)
            else:
                state_onset(store, (site, None), (date, reason), who)
    except InputError as error:
        return _list(request, {"site": site, "date": date, "reason": reason}, error)
    return RedirectResponse("/colonies", 303)


@router.get("/colonies/{organism_id}", response_class=HTMLResponse)
def colony(request: Request, organism_id: OrganismId) -> HTMLResponse:
    """Show one colony."""
    return _one(request, organism_id)


def _one(
    request: Request,
    organism_id: str,
    said: dict[str, Any] | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    """Show one colony, with what was written and what is wrong with it."""
    with reach_of(request).reading() as store:
        found = find_colony(store, organism_id)
        heat = site_heat(store, found.site, reach_of(request).keep)
        series = [one.found for one in heat if one.found]
        timeline = colony_timeline(store, found, series, say=partial(translate, request))
        due = [d for d in due_dates(store, _today()) if d.organism_id == organism_id]
        shown: dict[str, Any] = {
            "story": colony_story(store, found),
            "series": colour_series(store, found),
            "frames": frames_of(store, found),
            "choices": outlines_measured(store, found),
            "due": due,
            "heat": heat_lines(heat),
            "sketch": location_sketch(found),
            "sketch_photo": found.sketch_sha256 and store.photo(found.sketch_sha256),
            "elsewhere": photos_not_here(store, found),
            "sketch_elsewhere": sketch_not_here(store, found),
        }
    shown["lost"] = files_lost(shown["frames"], wiring.vault(reach_of(request).settings.project))
    shown["refused_photo"] = (said or {}).get("refused_photo")
    shown["has_reference"] = any(f.frame.is_reference for f in shown["frames"])
    shown["timeline"] = wiring.document_writer().colony_timeline(timeline)
    shown |= {"words": colony_words, "said": said or {}, "shares": SHARES}
    shown["problem"] = problem_of_error(error) if error else None
    shown["observer"] = session_of(request).observer
    return page(request, "colony.html", status_of(error) if error else 200, **shown)


Share = Annotated[str, Form(max_length=10)]


def shares_form(
    normal_pct: Share = "",
    pale_pct: Share = "",
    bleached_pct: Share = "",
    recently_dead_pct: Share = "",
    old_dead_pct: Share = "",
) -> dict[str, str]:
    """Read the five fractions as written; with a decimal comma too."""
    five = (normal_pct, pale_pct, bleached_pct, recently_dead_pct, old_dead_pct)
    return {name: text.strip().replace(",", ".") for name, text in zip(SHARES, five, strict=True)}


def _read_shares(said: dict[str, str]) -> dict[str, float | None]:
    """Turn written fractions into numbers; empty is not judged."""
    try:
        return {name: float(text) if text else None for name, text in said.items()}
    except ValueError as error:
        raise InputError(
            "health-share-impossible",
            "A share is no number.",
            "Give 0 to 100, or leave it empty where it was not judged.",
        ) from error


@router.post("/colonies/{organism_id}/visits")
def visit(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    organism_id: OrganismId,
    said: Annotated[dict[str, str], Depends(shares_form)],
    visit_id: Short,
    state: Annotated[str, Form(max_length=40)],
    lesion: Annotated[str, Form(max_length=2000)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Note what became of a colony on a visit, and how it looked."""
    who = _who(request)
    try:
        shares = _read_shares(said)
        with reach_of(request).writing(who[0]) as store, store.write():
            found = find_colony(store, organism_id)
            day = visit_of(store, visit_id)
            see_colony(store, found, day, Seen(state=state, note=note), who)
            if lesion.strip() or any(value is not None for value in shares.values()):
                judge_colony(store, found, day, (shares, lesion), who)
    except InputError as error:
        kept = {**said, "visit_id": visit_id, "state": state, "lesion": lesion, "note": note}
        return _one(request, organism_id, kept, error)
    return RedirectResponse(f"/colonies/{organism_id}", 303)


@router.post("/colonies/{organism_id}/follow")
def follow(request: Request, organism_id: OrganismId) -> Response:
    """Measure the colour of frames that are new; nobody waits to save meanwhile."""
    reach, (observer, now) = reach_of(request), _who(request)
    with reach.reading() as store:
        found = find_colony(store, organism_id)
        bench = bench_of(reach, store)
        rows = [measure_frame(bench, frame, now) for frame in frames_to_measure(store, found)]
    with reach.writing(observer) as store:
        store.save_colony_colours(rows)
    return RedirectResponse(f"/colonies/{organism_id}#colour", 303)


@router.get("/colonies/{organism_id}/frames/{photo_id}.jpg")
def picture(request: Request, organism_id: OrganismId, photo_id: PhotoId) -> Response:
    """Return the part of a photo around a colony's outline."""
    reach = reach_of(request)
    with reach.reading() as store:
        found = find_colony(store, organism_id)
        pixels = frame_picture(tile_bench_of(reach), store, found, photo_id)
    data = wiring.document_writer().picture_jpeg(pixels)
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})


@router.post("/colonies/{organism_id}/sketch")
def choose_sketch(request: Request, organism_id: OrganismId, sketch: Short) -> Response:
    """Say which photo of the project shows the sketch of where a colony stands."""
    observer, now = _who(request)
    try:
        with reach_of(request).writing(observer) as store:
            found = find_colony(store, organism_id)
            first = visit_of(store, found.first_visit_id)
            wanted = TagRequest(
                label=found.label, observer=observer, visit=(first.site, first.date), sketch=sketch
            )
            tag_colony(store, wanted, now, wiring.new_identity)
    except InputError as error:
        return _one(request, organism_id, {"sketch": sketch}, error)
    return RedirectResponse(f"/colonies/{organism_id}#where", 303)


@router.get("/colonies/{organism_id}/sketch.jpg")
def sketch_jpg(request: Request, organism_id: OrganismId) -> Response:
    """Return the picture of a colony's sketch."""
    reach = reach_of(request)
    with reach.reading() as store:
        pixels = sketch_picture(tile_bench_of(reach), store, find_colony(store, organism_id))
    data = wiring.document_writer().picture_jpeg(pixels)
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})
