"""Results: figures with their intervals, and from each the way back to units, rows and photos."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from dryslate.app.result_panels import KINDS, SUBJECTS, panels_of, subject_of
from dryslate.app.result_trail import TrailKey, trail_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.record_words import in_words
from dryslate.web.result_view import (
    KIND_WORDS,
    SUBJECT_WORDS,
    axis_words,
    choose,
    figure_title,
    found_of,
    shown,
    shown_figure,
    thing_words,
    usual_settings,
    where_words,
)

router = APIRouter()
Words = Annotated[str, Query(max_length=300)]
MOST_ROWS = 200
"""Rows of one unit that a trail shows; the page of the unit has all."""


@router.get("/results", response_class=HTMLResponse)
def results(
    request: Request, site: Words = "", subject: Words = "", things: Words = ""
) -> HTMLResponse:
    """Show the figures of a site on one subject."""
    with reach_of(request).reading() as store:
        found = found_of(request, store)
    sites = list(dict.fromkeys(row.site for row in found.rows))
    here = choose(site, sites)
    of_site = [row for row in found.rows if row.site == here]
    there = {subject_of(row.figure) for row in of_site}
    subjects = [one for one in SUBJECTS if one in there]
    about = choose(subject, subjects)
    rows = [row for row in of_site if subject_of(row.figure) == about]
    kinds = [one for one in KINDS if any(row.kind_of_thing == one for row in rows)]
    usual = "name" if about in ("sizes", "diversity") and "name" in kinds else ""
    kind = choose(things or usual, kinds)
    panels = panels_of([row for row in rows if row.kind_of_thing == kind])
    told: list[dict[str, object]] = [
        {
            "title": figure_title(request, panel),
            "where": where_words(request, panel.zone, panel.design),
            "weights": panel.weights,
            "ends": axis_words(request, panel),
            "things": shown(request, panel),
        }
        for panel in panels
    ]
    return page(
        request,
        "results.html",
        sites=sites,
        here=here,
        subjects=subjects,
        about=about,
        kinds=kinds,
        kind=kind,
        panels=told,
        notes=[note for note in found.notes if note.place in (here, "")],
        subject_words=in_words(request, SUBJECT_WORDS),
        kind_words=in_words(request, KIND_WORDS),
    )


@router.get("/results/trail", response_class=HTMLResponse)
def trail(  # noqa: PLR0913, PLR0917  the words that tell a figure, one parameter each
    request: Request,
    site: Words,
    date: Words,
    design: Words,
    figure: Words,
    kind: Words,
    thing: Words,
    zone: Words = "",
    about: Words = "",
) -> HTMLResponse:
    """Show what one figure rests on."""
    key = TrailKey(
        site=site,
        date=date,
        zone=zone,
        design=design,
        figure=figure,
        about=about,
        kind=kind,
        thing=thing,
    )
    with reach_of(request).reading() as store:
        rows = found_of(request, store).rows
        found = trail_of(store, usual_settings(request).usual, rows, key)
        names = {photo.photo_id: photo.files[0].original_name for photo in store.photos()}
    panel = panels_of([found.row])[0]
    return page(
        request,
        "result_trail.html",
        title=figure_title(request, panel),
        where=where_words(request, zone, design),
        row=found.row,
        thing=thing_words(request, found.row.thing),
        told=shown_figure(request, found.row, (panel.low, panel.high)),
        units=found.units,
        names=names,
        most=MOST_ROWS,
        back={"site": site, "subject": subject_of(figure), "things": kind},
    )
