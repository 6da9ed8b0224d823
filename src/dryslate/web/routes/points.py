"""Naming points on photos: one at a time, as a crop with the whole photo beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app.entry_unit import EntrySheet, entry_sheet
from dryslate.app.name_lookup import name_groups
from dryslate.app.photo_page import n_levels
from dryslate.app.tiles import TILE_PX, key_of_corrected, key_of_original
from dryslate.app.unit_points import PointFrame, place_unit_points
from dryslate.web.entry_desk import tools_of
from dryslate.web.languages import catalogue, language_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of, session_of
from dryslate.web.record_words import REASONS
from dryslate.web.routes.unit import UnitId
from dryslate.web.taxon_names import taxa_of

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

router = APIRouter()
CROPS_MM = (30, 60, 100, 200, 400)
USUAL_MM = 100
CROP_SHARE = 0.1
"""Without a scale the crop is this share of the photo's longer side."""


@router.get("/records/points/{unit_id}", response_class=HTMLResponse)
def points(
    request: Request, unit_id: UnitId, mm: Annotated[int, Query(ge=10, le=2000)] = USUAL_MM
) -> Response:
    """Show the points of a unit, one after the other; to who may only look, a table."""
    if not session_of(request).may("surveyor"):
        return RedirectResponse(f"/records/table?unit={unit_id}", 303)
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = entry_sheet(store, unit_id, tools_of(reach).usual)
        if sheet.stated is None or sheet.stated.design.design != "photo_points":
            return RedirectResponse(f"/records/units/{unit_id}", 303)
        frames = place_unit_points(store, sheet.stated, tools_of(reach).size_of)
        start = {
            "unit": unit_id,
            "observer": session_of(request).observer,
            "seal": sheet.seal,
            "mm": mm,
            "share": CROP_SHARE,
            "frames": [_frame(store, frame) for frame in frames],
            "answers": _answers(sheet),
            "options": _options(request, sheet, store.region()),
        }
    shown: dict[str, Any] = {"sheet": sheet, "start": start, "mm": mm, "crops": CROPS_MM}
    shown["n_points"] = sum(len(frame.points_px) for frame in frames)
    shown["n_without_scale"] = sum(frame.px_per_mm is None for frame in frames)
    return page(request, "points.html", 200, **shown)


def _frame(store: SurveyStore, frame: PointFrame) -> dict[str, Any]:
    """Return what the page needs of a photo."""
    photo_id = frame.photo.photo_id
    width, height = frame.size_px
    row = store.correction(photo_id)
    corrected = key_of_corrected(row)
    return {
        "photo_id": photo_id,
        "name": frame.name,
        "is_broken": row is not None and row.outcome == "unreadable",
        "width": width,
        "height": height,
        "tile": TILE_PX,
        "n_levels": n_levels(width, height),
        "variant": "corrected" if corrected else "original",
        "key": corrected or key_of_original(),
        "px_per_mm": frame.px_per_mm,
        "points": frame.points_px,
    }


def _answers(sheet: EntrySheet) -> list[dict[str, Any]]:
    """Return what is stored of each point."""
    return [
        {
            "row_no": noted.row_no,
            "photo": noted.row.photo_id,
            "x": noted.row.x_px,
            "y": noted.row.y_px,
            "category": noted.row.category,
            "name": noted.row.name,
            "unreadable": noted.row.unreadable,
        }
        for noted in sheet.rows
        if noted.row.kind == "point"
    ]


def _options(request: Request, sheet: EntrySheet, region: str | None) -> list[list[str]]:
    """Return what a point can be called: categories, names with theirs, reasons."""
    gettext = catalogue(language_of(request)).gettext
    hard = next((c.category for c in sheet.categories if c.is_hard_coral), "")
    of_group = {"stony": hard, "hydrocoral": "hydrocoral", "octocoral": "soft coral"}
    known = sheet.known
    found = [[f"c\t{c.category}\t", c.category, c.definition] for c in sheet.categories]
    for name, group in name_groups(taxa_of(reach_of(request)), region):
        category = of_group.get(group, "")
        if category in known and name not in known:
            found.append([f"n\t{category}\t{name}", name, category])
    return found + [[f"u\t\t{gettext(word)}", f"? {gettext(word)}", ""] for word in REASONS]
