"""Words about the card in a photo: how it was found, what its figures mean, what would help."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from starlette.requests import Request

from dryslate.web import reading_words
from dryslate.web.languages import N_, language_of, number
from dryslate.web.pages import translate

HOW: dict[str, str] = {
    "markers": N_("found by %(n)s of its %(all)s markers"),
    "chart": N_("found by the layout of its patches"),
    "picture": N_("found by its picture"),
    "corners": N_("corners set by hand"),
}
STATUS: dict[str, str] = {
    "measured": N_("its colours are measured"),
    "from_photos": N_("its colours come from photos beside a known target"),
    "nominal": N_("its colours are nominal: only its greys are used"),
}
MEDIUM: dict[str, str] = {"air": N_("as in air"), "water": N_("as under water")}
EARLIER: dict[str, str] = {
    "markers": N_("found by its markers"),
    "chart": N_("found by the layout of its patches"),
    "picture": N_("found by its picture"),
    "corners": N_("corners set by hand"),
    "point": N_("one point picked by hand"),
}
"""How an earlier correction came to be."""
OUTCOME: dict[str, str] = {
    "no_card": N_("no card found"),
    "borrowed": N_("borrowed colours"),
    "refused": N_("colour refused"),
    "unreadable": N_("cannot be read"),
    "corrected": N_("corrected"),
}
DROPPED: dict[str, tuple[str, str]] = {
    "outside the frame": (N_("outside the frame"), N_("Keep the whole card in the frame.")),
    "too few pixels": (N_("too few pixels"), N_("Go nearer, or use a larger card.")),
    "clipped": (N_("too bright or too dark"), N_("Expose so that white is not burnt out.")),
    "glare": (N_("glare"), N_("Hold the card a little askew to flash and sun.")),
    "partly covered": (N_("partly covered"), N_("Keep fingers, sand and lanyard off it.")),
    "shaded or partly covered": (
        N_("shaded or partly covered"),
        N_("Keep shadows, fingers and lanyard off it."),
    ),
    "shaded": (N_("shaded"), N_("Turn the card so that no shadow falls on it.")),
    "covered or shaded": (N_("covered or shaded"), N_("Keep shadows, fingers and lanyard off it.")),
}
"""Why a patch is left out, by the beginning of the reason; with what would help."""

FIXES: dict[str, str] = {
    **reading_words.FIXES,
    "correct-no-card": N_(
        "Set its four corners by hand, or pick one white or grey point, both under Card."
    ),
}
"""What to do about a problem on the page, where its own words name options of a command."""

REASONS: dict[str, str] = {
    "white balance is not stated": N_("white balance is not stated as fixed in both"),
    "they come from different cameras": N_("they come from different cameras"),
    "the camera is not stated": N_("the camera is not stated"),
    "flash is not stated in both": N_("flash is not stated in both"),
    "one was taken with flash": N_("one was taken with flash, the other without"),
    "the lens differs": N_("the lens differs"),
    "the focal length is not stated": N_("the focal length is not stated in both"),
    "zoom differs": N_("the zoom differs"),
    "digital zoom differs": N_("the digital zoom differs"),
    "one is a raw file": N_("one is a raw file, the other is not"),
}
"""Why two photos do not share a point's correction, by the beginning of the reason."""
CORNERS = (N_("top left"), N_("top right"), N_("bottom right"), N_("bottom left"))
"""The card's own corners, in the order in which they are given."""

SCRIPT_WORDS: dict[str, str] = {
    "saved": N_("Corrected anew."),
    "save_mine": N_("Save mine"),
    "keep_theirs": N_("Keep the saved one"),
    "theirs": N_("saved"),
    "mine": N_("yours"),
    "nothing": N_("not corrected"),
    "small": N_("The photo as it would be corrected"),
    "held": N_("let an earlier correction hold"),
    "took_again": N_("take new values"),
    "begin_corners": N_("begin with the corners"),
    "set_corner": N_("set a corner"),
    "move_corner": N_("move a corner"),
    "take_corner": N_("take out a corner"),
    "drop_corners": N_("drop the corners"),
    "saved_corners": N_("correct with corners set by hand"),
    "begin_point": N_("begin with a point"),
    "set_point": N_("set the point"),
    "move_point": N_("move the point"),
    "take_point": N_("take out the point"),
    "drop_point": N_("drop the point"),
    "saved_point": N_("correct by one point"),
    "shared": N_("share a point"),
    "white": N_("White point"),
    "grey": N_("Grey point"),
    "place_white": N_(
        "Click something truly white that is not burnt out, or bring the cross there and press "
        "Space. It is taken to reflect 90 %."
    ),
    "place_grey": N_(
        "Click something truly mid grey, or bring the cross there and press Space. It is taken to "
        "reflect 18 %."
    ),
    "point_hint": N_("Drag the point, or move it by the arrow keys; Enter corrects by it."),
    "begin_define": N_("begin to define a card"),
    "set_mark": N_("set a mark"),
    "move_mark": N_("move a mark"),
    "take_mark": N_("take out a mark"),
    "drop_define": N_("drop the card"),
    "filled": N_("fill in patches"),
    "defined": N_("define a card"),
    "tick": N_("tick {n} of the scale"),
    "box": N_("patch {n}, corner {k}"),
    "patch_name": N_("Name of patch {n}"),
    "patch_role": N_("What patch {n} is"),
    "neutral": N_("grey"),
    "colour": N_("coloured"),
    "place_tick": N_(
        "Tick {n}: click a tick of the card's scale; take two as far apart as you can."
    ),
    "place_box": N_("Patch {n}: click its upper left corner, a little inside."),
    "place_box_end": N_("Patch {n}: click its lower right corner, a little inside."),
    "define_needs": N_("At least three grey patches, then a name."),
    "place_corner": N_(
        "Corner {n}: click the card's own {corner}, or bring the cross there by the arrow keys and "
        "press Space."
    ),
    "corners_hint": N_(
        "Drag the corners onto the card's outer edge; 1 to 4 choose one, arrows move it by 1 px, "
        "with Shift 10. The drawn patches must lie on the card's."
    ),
}
"""Words that the scripts of the card show."""


def script_words(request: Request) -> dict[str, Any]:
    """Return every text that the scripts of the card show."""
    said = {key: translate(request, text) for key, text in SCRIPT_WORDS.items()}
    return {**said, "corners": [translate(request, name) for name in CORNERS]}


def reason_words(request: Request, reason: str) -> str:
    """Say why a photo may not share a point's correction."""
    known = (text for head, text in REASONS.items() if reason.startswith(head))
    return translate(request, next(known, reason))


def found_words(request: Request, card: Any) -> str:
    """
    Say how a card was found.

    Parameters
    ----------
    request : Request
    card : SeenCard

    Returns
    -------
    str
    """
    text = translate(request, HOW.get(card.how, N_("found")))
    n_all = "?" if card.n_markers_all is None else card.n_markers_all
    return text % {"n": card.n_markers, "all": n_all} if "%(" in text else text


def dropped_words(request: Request, reason: str) -> dict[str, str]:
    """
    Say why a patch is left out, and what would help.

    Parameters
    ----------
    request : Request
    reason : str
        As the correction gives it, such as ``glare (12 % of its pixels ...)``.

    Returns
    -------
    dict
        ``why`` and ``help``.
    """
    head = reason.split(" (", maxsplit=1)[0]
    why, advice = DROPPED.get(head, (head, ""))
    share = re.search(r"\d+ %", reason)
    said = translate(request, why) + (f" ({share[0]})" if share else "")
    return {"why": said, "help": translate(request, advice) if advice else ""}


def problems_here(request: Request, problems: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return problems with what to do about them on this page."""
    return [
        {**p, "fix": translate(request, FIXES[p["slug"]])} if p["slug"] in FIXES else dict(p)
        for p in problems
    ]


def with_doubt(request: Request, value: float | None, u: float | None, unit: str) -> str:
    """Write a value with its standard uncertainty, rounded to the doubt; a dash where unknown."""
    from dryslate.base.figures import decimals_for

    language, after = language_of(request), unit if unit == "°" else f" {unit}"
    if value is None:
        return "–"
    if not u:
        return f"{number(value, 2, language)}{after}"
    n = decimals_for(float(u))
    return f"{number(value, n, language)} ± {number(u, n, language)}{after}"
