"""Pairs of points in two photos of a colony: set by hand, tried as they are set, saved."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from starlette.responses import HTMLResponse

from dryslate.app.colonies import find_colony
from dryslate.app.colony_ties import TieSheet, carry_by_pairs, tie_sheet, try_pairs
from dryslate.web.benches import tile_bench_of
from dryslate.web.card_words import problems_here
from dryslate.web.colony_words import pair_words
from dryslate.web.pages import page, part
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.roles import WORK
from dryslate.web.routes.colonies import OrganismId, PhotoId, _who
from dryslate.web.routes.photo_work import Point

router = APIRouter()
Pairs = Annotated[list[tuple[Point, Point]], Body(embed=True, max_length=60)]


@router.get(
    "/colonies/{organism_id}/frames/{photo_id}/pairs",
    response_class=HTMLResponse,
    dependencies=WORK,
)
def pairs(request: Request, organism_id: OrganismId, photo_id: PhotoId) -> HTMLResponse:
    """Show both photos side by side, to set pairs of points in them."""
    reach = reach_of(request)
    with reach.reading() as store:
        colony = find_colony(store, organism_id)
        sheet = tie_sheet(tile_bench_of(reach), store, colony, photo_id)
    return page(
        request,
        "colony_pairs.html",
        colony=colony,
        sheet=sheet,
        data=_for_script(sheet, f"/colonies/{organism_id}/frames/{photo_id}/pairs"),
        js_words=pair_words(request),
    )


def _for_script(sheet: TieSheet, address: str) -> dict[str, Any]:
    """Return what the page's script begins with."""
    return {
        "photos": [photo.for_viewer() for photo in sheet.photos],
        "outline": sheet.reference.outline_px,
        "carried": sheet.frame.outline_px,
        "pairs": sheet.saved,
        "address": address,
    }


@router.post("/colonies/{organism_id}/frames/{photo_id}/pairs/try")
def try_it(
    request: Request, organism_id: OrganismId, photo_id: PhotoId, pairs: Pairs
) -> dict[str, Any]:
    """Say how the pairs fit, and where they would put the outline."""
    observer_of(request)
    with reach_of(request).reading() as store:
        tried = try_pairs(store, find_colony(store, organism_id), photo_id, pairs)
    problems = problems_here(request, [p.as_dict() for p in tried.problems])
    return {
        "html": part(request, "colony_pairs_try.html", tried=tried, problems=problems),
        "outline": tried.outline_px,
        "misfit_px": tried.misfit_px,
        "pairs": [
            {
                "placed": pair.placed_px,
                "is_odd": pair.is_odd,
                "off": part(request, "colony_pairs_off.html", pair=pair).strip(),
            }
            for pair in tried.pairs
        ],
        "may_save": tried.may_save,
    }


@router.post("/colonies/{organism_id}/frames/{photo_id}/pairs")
def save(
    request: Request, organism_id: OrganismId, photo_id: PhotoId, pairs: Pairs
) -> dict[str, Any]:
    """Carry the outline by the pairs; who saves saw where it lies."""
    who = _who(request)
    with reach_of(request).writing(who[0]) as store:
        carry_by_pairs(store, find_colony(store, organism_id), photo_id, pairs, who)
    return {"address": f"/colonies/{organism_id}#photos"}
