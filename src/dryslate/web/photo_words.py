"""Words of the photo page, for its buttons and for its scripts."""

from __future__ import annotations

from starlette.requests import Request

from dryslate.web.languages import N_, catalogue, language_of

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
    "point": N_("Point {n}"),
    "begin": N_("begin measuring"),
    "set": N_("set a point"),
    "move": N_("move a point"),
    "take_point": N_("take out a point"),
    "finish": N_("finish"),
    "drop": N_("drop what was drawn"),
    "save": N_("save a measurement"),
    "saved": N_("Saved."),
    "length_hint": N_("Set both ends."),
    "polyline_hint": N_("Set points along it, then Enter."),
    "outline_hint": N_("Set points around it; the first closes it."),
    "corallites_hint": N_("Two points a corallite, on opposite sides; then Enter."),
    "colour_hint": N_("Set points around one colour; the first closes it."),
    "done_hint": N_("Move points as needed, name the coral, then Enter to save."),
    "coarse": N_(
        "At this zoom a point may be {n} px off: zoom in, or move points by the arrow keys."
    ),
    "budget": N_("What the doubt is made of"),
    "measured_here": N_("Measured in this photo"),
    "length": N_("line"),
    "polyline": N_("line with bends"),
    "outline": N_("outline"),
    "corallites": N_("corallites"),
    "colour": N_("colour"),
    "earlier": N_("earlier correction"),
    "better": N_("Set its points better"),
    "take_back": N_("Take it back"),
    "again": N_("Let it stand again"),
    "no_longer": N_("No longer standing"),
    "other_coral": N_("It is of another coral"),
    "move_there": N_("Move it there"),
    "by": N_("points set by {name}"),
    "coral": N_("Coral"),
    "which": N_("Which"),
    "outlined": N_("{name} has an outline in this photo already: is this another part of it?"),
    "name_it": N_("Name it"),
    "to_coral": N_("Its page"),
    "form": N_("growth form: {form}"),
    "no_form": N_("growth form not noted"),
    "no_outline": N_("no outline yet"),
    "elsewhere": N_("{n} measurements in other photos"),
    "health": N_("How its surface looks, in per cent"),
    "normal_pct": N_("normal"),
    "pale_pct": N_("pale"),
    "bleached_pct": N_("bleached"),
    "recently_dead_pct": N_("recently dead"),
    "old_dead_pct": N_("old dead"),
    "unknown": N_("not judged: it stays unknown"),
    "sum": N_("makes {sum} %, {rest} % to go"),
    "rest": N_("The rest is normal"),
    "empty": N_("Not judged"),
    "save_health": N_("Save how it looks"),
    "corrected_anew": N_("The photo was corrected anew: load the page again before you save."),
}


def said(request: Request, text: str) -> str:
    """Return a text in the person's language."""
    return catalogue(language_of(request)).gettext(text)


def script_words(request: Request) -> dict[str, str]:
    """Return every text that the page's scripts show."""
    known = catalogue(language_of(request))
    return {key: known.gettext(text) for key, text in SCRIPT_WORDS.items()}
