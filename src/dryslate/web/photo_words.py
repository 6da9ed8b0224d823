"""Words of the photo page, for its buttons and for its scripts."""

from __future__ import annotations

from starlette.requests import Request

from dryslate.web.languages import catalogue
from dryslate.web.left_words import N_
from dryslate.web.pages import language_of

KINDS = (
    ("length", "l", N_("Line")),
    ("polyline", "p", N_("Line with bends")),
    ("outline", "o", N_("Outline")),
    ("corallites", "k", N_("Corallites")),
    ("colour", "c", N_("Colour")),
)
"""What can be measured, with its key."""

STOOD = (
    ("top", "t", N_("top")),
    ("edge", "e", N_("edge")),
    ("base", "b", N_("base")),
    ("", "n", N_("not said")),
)
"""Where the card stood, with its key."""

NEXT = N_("What is left to do")

SCRIPT_WORDS = {
    "drawing": N_("Drawing on the photo"),
    "not_corrected": N_("not corrected"),
}


def said(request: Request, text: str) -> str:
    """Return a text in the person's language."""
    return catalogue(language_of(request)).gettext(text)


def script_words(request: Request) -> dict[str, str]:
    """Return every text that the page's scripts show."""
    known = catalogue(language_of(request))
    return {key: known.gettext(text) for key, text in SCRIPT_WORDS.items()}
