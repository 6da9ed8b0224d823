"""Words of the list of photos."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request

from dryslate.web.languages import N_, catalogue, language_of, number

if TYPE_CHECKING:
    from dryslate.app.photo_list import PhotoLine

SHOWN: dict[str, str] = {
    "all": N_("all photos"),
    "not_corrected": N_("not corrected yet"),
    "corrected": N_("corrected by their own card"),
    "borrowed": N_("corrected with borrowed colours"),
    "refused": N_("colour refused"),
    "no_card": N_("no card found"),
    "unreadable": N_("cannot be read"),
    "corals": N_("with corals noted"),
    "slate": N_("of a slate"),
    "no_unit": N_("of no unit yet"),
    "apart": N_("said to be of no unit"),
    "aside": N_("set aside"),
}
OUTCOMES: dict[str, str] = {
    "not_corrected": N_("not corrected yet"),
    "corrected": N_("corrected"),
    "borrowed": N_("borrowed colours"),
    "refused": N_("colour refused"),
    "no_card": N_("no card found"),
    "unreadable": N_("cannot be read"),
}
SEEN_CHOICES: dict[str, str] = {
    "": N_("seen in any way"),
    "sound": N_("seen well"),
    "tilted": N_("tilted over 30 degrees"),
    "hidden": N_("partly hidden"),
    "patches": N_("some patches not used"),
    "off": N_("check difference over 3"),
    "by_hand": N_("corners set by hand"),
}
CARD: dict[str, str] = {
    "sound": N_("card seen well"),
    "tilted": N_("card tilted"),
    "hidden": N_("card partly hidden"),
    "patches": N_("patches not used: {n}"),
    "off": N_("check difference {off}"),
    "by_hand": N_("corners set by hand"),
}
PORTS: dict[str, str] = {
    "unknown": N_("not known"),
    "flat": N_("a flat window"),
    "dome": N_("a dome"),
    "none": N_("none: taken in air"),
}
"""What stood between lens and water."""


def in_language(request: Request, texts: dict[str, str]) -> dict[str, str]:
    """Return texts in the person's language."""
    known = catalogue(language_of(request))
    return {key: known.gettext(text) for key, text in texts.items()}


def card_words(request: Request, line: PhotoLine) -> str:
    """Say how the card of a photo was seen."""
    texts = in_language(request, CARD)
    off = "" if line.off_de00 is None else number(line.off_de00, 1, language_of(request))
    return ", ".join(
        texts[s].replace("{n}", str(line.n_dropped)).replace("{off}", off) for s in line.seen
    )
