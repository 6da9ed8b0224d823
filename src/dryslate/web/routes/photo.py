"""One photo: its picture at every scale, the card in it, what is measured and noted."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path, Query, Request
from fastapi.encoders import jsonable_encoder
from starlette.responses import HTMLResponse, Response

from dryslate import wiring
from dryslate.app import crop, tiles
from dryslate.app.card_grid import parse_box
from dryslate.app.photo_page import photo_sheet
from dryslate.app.tiles import TilePlace, Variant
from dryslate.web.benches import tile_bench_of
from dryslate.web.card_panel import card_context
from dryslate.web.pages import page
from dryslate.web.photo_state import state_of
from dryslate.web.photo_words import KINDS, NEXT, STOOD, said, script_words
from dryslate.web.reach import reach_of
from dryslate.web.tiles_ahead import tiles_ahead
from dryslate.web.unit_view import unit_words_of

router = APIRouter()
PhotoId = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
Key = Annotated[str, Query(pattern="^([0-9a-v][0-9a-v-]{0,79})?$")]
Number = Annotated[int, Path(ge=0, le=100_000)]


def picture_answer(request: Request, data: bytes, place: TilePlace, k: str) -> Response:
    """Answer with a JPEG: kept for long where its address names its key, else asked again."""
    tag = f'"{place.variant}-{place.key}"'
    kept = "private, max-age=31536000, immutable" if k == place.key else "private, no-cache"
    headers = {"cache-control": kept, "etag": tag}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(data, media_type="image/jpeg", headers=headers)


@router.get("/photos/{photo_id}/thumb/{variant}.jpg")
def thumb(request: Request, photo_id: PhotoId, variant: Variant, k: Key = "") -> Response:
    """Return a copy of 400 px; one whose address names the right key is found without records."""
    reach = reach_of(request)
    place = TilePlace(photo_id=photo_id, variant=variant, key=k or "-")
    data = tile_bench_of(reach).tiles.thumb(place) if k else None
    if data is None:
        with reach.reading() as store:
            place = tiles.place_of(store, photo_id, variant)
            data = tiles.picture_thumb(tile_bench_of(reach), store, place)
    return picture_answer(request, data, place, k)


@router.get("/photos/{photo_id}/picture/{variant}.jpg")
def picture(request: Request, photo_id: PhotoId, variant: Variant, k: Key = "") -> Response:
    """Return the whole photo at about 1500 px, for pages without the viewer."""
    reach = reach_of(request)
    with reach.reading() as store:
        place = tiles.place_of(store, photo_id, variant)
        small = tiles.plain_picture(tile_bench_of(reach), store, place)
    data = wiring.document_writer().picture_jpeg(small)
    return picture_answer(request, data, place, k)


@router.get("/photos/{photo_id}/crop.png")
def crop_png(
    request: Request,
    photo_id: PhotoId,
    box: Annotated[str, Query(max_length=100)],
    variant: Annotated[Variant, Query()] = "corrected",
    bar: Annotated[bool, Query()] = True,
) -> Response:
    """Return a part of a photo at full size, with a scale bar."""
    reach = reach_of(request)
    with reach.reading() as store:
        place = tiles.place_of(store, photo_id, variant)
        edges = parse_box(box)
        cut = crop.cut_crop(tile_bench_of(reach), store, place, edges, has_bar=bar)
    name = f"{cut.photo_name.rsplit('.', 1)[0]}-{photo_id[:8]}-part.png"
    saved = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    data = wiring.document_writer().crop_png(cut)
    return Response(data, media_type="image/png", headers=saved)


@router.get("/photos/{photo_id}/tiles/{variant}/{level}/{column}_{row}.jpg")
def tile(  # noqa: PLR0913, PLR0917  one part of the address each
    request: Request,
    photo_id: PhotoId,
    variant: Variant,
    level: Number,
    column: Number,
    row: Number,
    k: Key = "",
) -> Response:
    """Return one tile; one whose address names the right key is found without the records."""
    reach, address = reach_of(request), (level, column, row)
    place = TilePlace(photo_id=photo_id, variant=variant, key=k or "-")
    data = tile_bench_of(reach).tiles.tile(place, *address) if k else None
    if data is None:
        with reach.reading() as store:
            place = tiles.place_of(store, photo_id, variant)
            data = tiles.one_tile(tile_bench_of(reach), store, place, address)
    return picture_answer(request, data, place, k)


@router.get("/photos/{photo_id}", response_class=HTMLResponse)
def photo(request: Request, photo_id: PhotoId) -> HTMLResponse:
    """Show one photo, with what is measured and noted in it."""
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = photo_sheet(tile_bench_of(reach), store, photo_id)
        about_card = card_context(request, store, photo_id)
        state = jsonable_encoder(state_of(request, store, photo_id)) if sheet.size_px else None
    view = {**sheet.for_viewer(), "may_change": about_card["may_change"]}
    return page(
        request,
        "photo.html",
        **about_card,
        reasons=unit_words_of(request)["reasons"],
        sheet=sheet,
        view=view,
        state=state,
        tiles_ahead=tiles_ahead(view) if sheet.size_px else (),
        kinds=[(kind, key, said(request, label)) for kind, key, label in KINDS],
        stood=[(value, key, said(request, label)) for value, key, label in STOOD],
        js_words=script_words(request),
        next_address="/",
        next_label=said(request, NEXT),
    )
