"""Words of the pages on tagged colonies, to be translated when they are shown."""

from __future__ import annotations

from starlette.requests import Request

from dryslate.web.languages import N_, catalogue, language_of

WHYS = {
    "random": N_("at random"),
    "place": N_("by its place"),
    "stressed": N_("because it looked stressed"),
}
STATES = {
    "seen": N_("found alive"),
    "tag_lost": N_("found by its place, tag lost"),
    "dead": N_("dead: no living tissue"),
    "not_found": N_("not found"),
    "not_looked_for": N_("not looked for"),
}
SHARES = {
    "normal_pct": N_("normal"),
    "pale_pct": N_("pale"),
    "bleached_pct": N_("bleached"),
    "recently_dead_pct": N_("recently dead"),
    "old_dead_pct": N_("old dead"),
}
STEPS = {
    "weeks_2_4": N_("2 to 4 weeks"),
    "months_2": N_("2 months"),
    "months_6": N_("6 months"),
    "months_12": N_("12 months"),
    "months_24": N_("24 months"),
}
DUES = {
    "done": N_("done"),
    "open": N_("not yet"),
    "due": N_("due now"),
    "overdue": N_("overdue"),
    "late": N_("done late"),
    "missed": N_("missed"),
    "not_asked": N_("not asked"),
}
OUTLINES = {
    "added": N_("photo added"),
    "drawn": N_("outline drawn by hand"),
    "aligned": N_("outline carried over"),
    "tie_points": N_("outline carried by pairs of points"),
    "cleared": N_("outline taken off"),
    "confirmed": N_("said to lie right"),
    "reference": N_("made the one that the others come from"),
    "removed": N_("photo said not to show it"),
}
FIGURES = {
    "white_distance": N_("distance from the card's white"),
    "lightness": "L*",
    "chroma": N_("chroma"),
    "hue_deg": N_("hue, degrees"),
}
PICTURE = (
    N_("per cent"),
    N_("since the first visit"),
    N_("distance from white"),
    N_("hollow: no change seen beyond its doubt"),
    N_("not judged"),
    N_("tag lost"),
    N_("dead"),
    N_("°C-weeks"),
)
"""What the timeline says beside these."""

PAIRS = {
    "drawing": N_("Drawing on the photo"),
    "point": N_("Pair {n}"),
    "set": N_("set a point"),
    "move": N_("move a point"),
    "take": N_("take out a pair"),
    "now_first": N_("Pair {n}: now the same spot in the photo with the outline."),
    "now_second": N_("Pair {n}: now the same spot in the photo to carry it to."),
    "left": N_("Set a spot that both photos show, in each; {n} more pairs are needed."),
    "one_left": N_("Set a spot that both photos show, in each; {n} more pair is needed."),
    "look": N_("Does the outline lie right? Save it, or set another pair."),
    "lacks_first": N_("not yet in the photo with the outline"),
    "lacks_second": N_("not yet in the photo to carry it to"),
    "odd": N_("does not fit the others"),
    "show": N_("Show pair {n} in both photos"),
    "out": N_("Take out"),
    "out_n": N_("Take out pair {n}"),
}
"""What the script of the page of pairs says."""


def pair_words(request: Request) -> dict[str, str]:
    """Return every text that the script of the page of pairs shows."""
    known = catalogue(language_of(request))
    return {key: known.gettext(text) for key, text in PAIRS.items()}
