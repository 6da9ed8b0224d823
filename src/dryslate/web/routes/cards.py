"""Cards: print them, say what colours they really have, compare them with their dry twin."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, Response

from dryslate import wiring
from dryslate.app import project_card
from dryslate.app.card_show import list_cards
from dryslate.app.correct_request import parse_point
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of

router = APIRouter()
PAPERS = ("a4", "letter", "a3")


@router.get("/cards", response_class=HTMLResponse)
def cards(request: Request) -> HTMLResponse:
    """List every known card."""
    found = list_cards(wiring.reference_tables(reach_of(request).settings.project))
    return page(request, "cards.html", cards=found)


@router.get("/cards/{name}", response_class=HTMLResponse)
def card(request: Request, name: str) -> HTMLResponse:
    """Show one card: how to print it, its values, its wear."""
    reach = reach_of(request)
    with reach.reading() as store:
        tables = wiring.reference_tables(reach.settings.project)
        found = project_card.card_page(tables, store, name)
        photos = project_card.photo_choices(store)
    return page(request, "card.html", card=found, photos=photos, papers=PAPERS)


@router.get("/cards/{name}/picture.png")
def picture(request: Request, name: str) -> Response:
    """Draw a card."""
    png = project_card.card_png(_work(request), name)
    return Response(png, media_type="image/png", headers={"cache-control": "max-age=60"})


@router.get("/cards/{name}/print.pdf")
def print_card(
    request: Request,
    name: str,
    paper: Annotated[str, Query()] = "a4",
    copies: Annotated[int | None, Query(ge=1, le=100)] = None,
    serial: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Return the PDF to print."""
    options = {"paper": paper, "copies": copies, "serial": serial}
    pdf = project_card.card_pdf(_work(request), name, options)
    saved = {"content-disposition": 'attachment; filename="card.pdf"'}
    return Response(pdf, media_type="application/pdf", headers=saved)


@router.post("/cards/{name}/readings", response_class=HTMLResponse)
def readings(
    request: Request,
    name: str,
    table: Annotated[str, Form()],
    illuminant: Annotated[str, Form()] = "",
    medium: Annotated[str, Form()] = "air",
    serial: Annotated[str, Form(max_length=40)] = "",
) -> HTMLResponse:
    """Give a card the values of a measured table."""
    observer_of(request)
    options = {"card": name, "illuminant": illuminant, "medium": medium, "serial": serial}
    is_cgats = "BEGIN_DATA" in table
    done = project_card.characterise_from_text(_work(request), table, is_cgats, options)
    return _done(request, done)


@router.post("/cards/{name}/beside", response_class=HTMLResponse)
def beside(
    request: Request,
    name: str,
    known: Annotated[str, Form()],
    photo: Annotated[list[str], Form()],
    serial: Annotated[str, Form(max_length=40)] = "",
) -> HTMLResponse:
    """Give a card the values seen beside a target of known values."""
    observer_of(request)
    options = {"card": name, "known": known, "serial": serial}
    with reach_of(request).reading() as store:
        done = project_card.characterise_from_photos(_work(request), store, photo, options)
    return _done(request, done)


@router.post("/cards/{name}/tray", response_class=HTMLResponse)
def tray(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    name: str,
    dry: Annotated[str, Form()],
    filled: Annotated[str, Form()],
    ptfe_dry: Annotated[str, Form()],
    ptfe_filled: Annotated[str, Form()],
    serial: Annotated[str, Form(max_length=40)] = "",
) -> HTMLResponse:
    """Carry a card's values from air to water."""
    observer_of(request)
    points = [parse_point(ptfe_dry, "PTFE"), parse_point(ptfe_filled, "PTFE")]
    options = {"card": name, "ptfe_px": points, "serial": serial}
    with reach_of(request).reading() as store:
        work = _work(request)
        done = project_card.characterise_in_water(work, store, (dry, filled), options)
    return _done(request, done)


@router.post("/cards/{name}/compare", response_class=HTMLResponse)
def compare(
    request: Request,
    name: str,
    dry: Annotated[str, Form()],
    dive: Annotated[str, Form()],
    dry_point: Annotated[str, Form()] = "",
) -> HTMLResponse:
    """Compare the dive card with its dry twin."""
    observer_of(request)
    point = parse_point(dry_point, "twin") if dry_point.strip() else None
    with reach_of(request).reading() as store:
        found = project_card.compare_in_project(_work(request), store, (dry, dive), name, point)
    return page(request, "card_compared.html", found=found)


def _work(request: Request) -> project_card.CardWork:
    """Gather what working on cards needs."""
    project = reach_of(request).settings.project
    return project_card.CardWork(
        tables=wiring.reference_tables(project),
        reader=wiring.photo_reader(),
        vault=wiring.vault(project),
        documents=wiring.document_writer(),
    )


def _done(request: Request, done: dict[str, Any]) -> HTMLResponse:
    """Show the values a card was given; where its file lies on the disk is not told."""
    return page(request, "card_done.html", done=done)
