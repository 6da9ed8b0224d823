"""Help: a page each, and the catalogue of messages."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from dryslate import wiring
from dryslate.app.message_catalogue import parse_messages
from dryslate.web.errors import Refusal
from dryslate.web.languages import N_, language_of
from dryslate.web.pages import page
from dryslate.web.reach import reach_of

router = APIRouter()
TOPICS = {
    "day": N_("A day with it"),
    "take": N_("Taking in a memory card"),
    "photos": N_("Photos and correcting"),
    "units": N_("Units and the strip of times"),
    "photo": N_("One photo: colour, scale, measuring"),
    "naming": N_("Naming a coral"),
    "second": N_("The second observer"),
    "cards": N_("Cards"),
    "people": N_("People, roles and safety of the data"),
    "care": N_("Cautions"),
}
"""Topics in the order in which they are listed; each has a template below ``help/``."""


@router.get("/help", response_class=HTMLResponse)
def contents(request: Request) -> HTMLResponse:
    """List the topics."""
    return page(request, "help/contents.html", topics=TOPICS)


@router.get("/help/messages", response_class=HTMLResponse)
def messages(request: Request) -> HTMLResponse:
    """Show what every message means and what to do."""
    language = language_of(request)
    found = reach_of(request).keep(
        f"messages {language}", lambda: parse_messages(wiring.message_pages(language))
    )
    return page(request, "help/messages.html", entries=found)


@router.get("/help/{topic}", response_class=HTMLResponse)
def topic(request: Request, topic: str) -> HTMLResponse:
    """Show one topic."""
    if topic not in TOPICS:
        raise Refusal("page-not-found", 404)
    return page(request, f"help/{topic}.html", topic=topic, topics=TOPICS)
