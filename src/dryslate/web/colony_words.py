"""Words of the pages on tagged colonies, to be translated when they are shown."""

from __future__ import annotations

from dryslate.web.languages import N_

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
