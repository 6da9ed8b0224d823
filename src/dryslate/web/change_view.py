"""Changes as a page shows them: in words, with their place on an axis around 0."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.requests import Request

from dryslate.app.change_words import LESS, SIZE_CHANGE
from dryslate.app.survey_words import SURVEY_FLAGS, figure_words
from dryslate.base.figures import rounded_to_doubt
from dryslate.base.quality import Flag
from dryslate.web.languages import N_, catalogue, language_of, number
from dryslate.web.result_view import thing_words, where_words

if TYPE_CHECKING:
    from dryslate.app.change_panels import ChangePanel
    from dryslate.app.change_rows import ChangeRow

WAYS: Mapping[str, str] = {
    "visits": N_("each visit with the first"),
    "trend": N_("trend over all visits"),
    "sites": N_("several sites together"),
    "contrast": N_("impact and control sites"),
}
LEVELS: Mapping[str, str] = {
    "family": N_("family"),
    "order": N_("order"),
    "several names": N_("several names"),
    "as written": N_("as written, in no list of corals"),
    "informal group": N_("informal group"),
}
CHANGED: Mapping[str, tuple[str, str]] = {
    "visits": (
        N_("Rose by %(by)s, from %(before)s to %(after)s."),
        N_("Fell by %(by)s, from %(before)s to %(after)s."),
    ),
    "trend": (N_("Rises by %(by)s a year."), N_("Falls by %(by)s a year.")),
    "sites": (
        N_("Rose on average by %(by)s, from %(before)s to %(after)s."),
        N_("Fell on average by %(by)s, from %(before)s to %(after)s."),
    ),
    "contrast": (
        N_("Rose by %(by)s at impact sites against control sites."),
        N_("Fell by %(by)s at impact sites against control sites."),
    ),
}
NOT_SHOWN: Mapping[str, str] = {
    "visits": N_("No change shown; one of %(by)s or more would be seen four times in five."),
    "trend": N_("No trend shown; one of %(by)s a year or more would be seen four times in five."),
    "sites": N_("No mean change shown; one of %(by)s or more would be seen four times in five."),
    "contrast": N_("No difference shown; one of %(by)s or more would be seen four times in five."),
}
SAID_ELSEWHERE = {Flag.NAMES_AS_NOTED, Flag.NAMES_LEAVE_OPEN}
WIDE, EDGE = 240.0, 4.0
"""Width of the picture of one change, and what it keeps free at both ends, in its own units."""
CHANCE = 0.05
MOST_SITES = 4
"""Sites that a title names; of more it says how many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownChange:
    """
    One change as a line of a panel.

    Parameters
    ----------
    row : ChangeRow
    thing : str
    verdict, words : str
        Changed, not shown or not known; and what that means.
    change, interval, before, after, sees : str
        Numbers as written; empty where there is none.
    p, adjusted : str
    limits : list of str
    trail : str
        Where its units and rows are shown.
    at, from_, to, unseen : float or None
        On the axis, in units of the picture; half the width of what is too small to be seen.
    is_beyond : (bool, bool)
        Whether the interval goes on beyond the ends.
    """

    row: ChangeRow
    thing: str
    verdict: str
    words: str
    change: str
    interval: str
    before: str
    after: str
    sees: str
    p: str
    adjusted: str
    limits: list[str] = field(default_factory=list)
    trail: str
    at: float | None
    from_: float | None
    to: float | None
    unseen: float | None
    is_beyond: tuple[bool, bool]


def shown_panel(
    request: Request, panel: ChangePanel, asked: Sequence[tuple[str, str]]
) -> dict[str, object]:
    """
    Put a panel into words.

    Parameters
    ----------
    request : Request
    panel : ChangePanel
    asked : sequence of (str, str)
        What was asked for, as an address has it; links to records carry it on.

    Returns
    -------
    dict
        ``title``, ``where``, ``ends`` (of the axis), ``lines``.
    """
    is_points = panel.figure.endswith("_frac") and panel.figure != SIZE_CHANGE
    write = _Writer(request, panel.figure)
    end = write.amount(panel.reach, 0.0, is_end=True)
    return {
        "title": figure_said(request, panel.figure),
        "where": where_words(request, panel.zone, panel.design),
        "place": place_said(request, panel.site),
        "is_points": is_points,
        "ends": (f"−{end}", f"+{end}"),
        "lines": [shown_change(request, row, panel.reach, asked) for row in panel.rows],
    }


def shown_change(
    request: Request, row: ChangeRow, reach: float, asked: Sequence[tuple[str, str]]
) -> ShownChange:
    """Put one change into words and onto an axis that goes so far on both sides of 0."""
    write = _Writer(request, row.figure)
    middle, half = WIDE / 2, WIDE / 2 - EDGE

    def place(value: float | None) -> float | None:
        return None if value is None else middle + half * max(-1.0, min(1.0, value / reach))

    verdict, words = _verdict(request, row, write)
    interval = ""
    if row.lo95 is not None and row.hi95 is not None:
        ends = (write.signed(row.lo95, row.u), write.signed(row.hi95, row.u))
        interval = write.text("%(low)s to %(high)s") % {"low": ends[0], "high": ends[1]}
    key = [("what", name) for name in trail_key(row)]
    return ShownChange(
        row=row,
        thing=thing_words(request, row.thing),
        verdict=verdict,
        words=words,
        change="" if row.estimate is None else write.signed(row.estimate, row.u),
        interval=interval,
        before="" if row.before is None else write.level(row.before, row.u),
        after="" if row.after is None else write.level(row.after, row.u),
        sees="" if row.sees is None else write.amount(row.sees, row.u),
        p=write.chance(row.p),
        adjusted=write.chance(row.p_adjusted),
        limits=list(_limits(request, row, write)),
        trail="/change/trail?" + urlencode([*asked, *key]),
        at=place(row.estimate),
        from_=place(row.lo95),
        to=place(row.hi95),
        unseen=None if row.sees is None else half * min(1.0, row.sees / reach),
        is_beyond=(
            row.lo95 is not None and row.lo95 < -reach,
            row.hi95 is not None and row.hi95 > reach,
        ),
    )


def place_said(request: Request, site: str) -> str:
    """Return a site, or how many there are where they are many."""
    words = catalogue(language_of(request))
    sites = site.split("; ")
    if LESS in sites:
        impact, control = site.split(f"; {LESS}; ")
        told = {"impact": place_said(request, impact), "control": place_said(request, control)}
        return words.gettext("%(impact)s against %(control)s") % told
    if len(sites) <= MOST_SITES:
        return ", ".join(sites)
    return words.ngettext("%(num)s site", "%(num)s sites", len(sites)) % {"num": len(sites)}


def figure_said(request: Request, figure: str) -> str:
    """Return a figure in plain words."""
    return catalogue(language_of(request)).gettext(figure_words(figure))


def trail_key(row: ChangeRow) -> tuple[str, ...]:
    """Return the words that tell a change from all others that were asked for with it."""
    place = (row.kind, row.site, row.zone, row.design)
    return (*place, row.figure, row.kind_of_thing, row.thing, row.first, row.last)


class _Writer:
    """Writes amounts of one figure: shares in percent, and their changes in points."""

    def __init__(self, request: Request, figure: str) -> None:
        self._language = language_of(request)
        self.text = catalogue(self._language).gettext
        self._is_share = figure.endswith("_frac")
        self._is_size = figure == SIZE_CHANGE
        self._scale = 100.0 if self._is_share else 1.0
        points = "%" if self._is_size else self.text(N_("points"))
        self.mark = f"\u00a0{points}" if self._is_share else ""

    def _number(self, value: float, u: float | None) -> str:
        """Write a number rounded to its doubt."""
        shown, _, digits = rounded_to_doubt(self._scale * value, self._scale * (u or 0.0))
        return number(shown, digits, self._language)

    def level(self, value: float, u: float | None) -> str:
        """Write what there was at a visit."""
        if self._is_size:
            return number(value, 1, self._language) + "\u00a0cm"
        return self._number(value, u) + ("\u00a0%" if self._is_share else "")

    def amount(self, value: float, u: float | None, *, is_end: bool = False) -> str:
        """Write the size of a change."""
        if is_end:
            size = abs(value * self._scale)
            digits = 0 if size >= 10 else 1 if size >= 1 else 2
            shown = number(abs(value * self._scale), digits, self._language)
        else:
            shown = self._number(abs(value), u)
        return shown + self.mark

    def signed(self, value: float, u: float | None) -> str:
        """Write a change with its sign."""
        shown = self._number(abs(value), u)
        return ("+" if value > 0 else "−" if value < 0 else "") + shown

    def chance(self, p: float | None) -> str:
        """Write a p; one that rounds to zero is not zero."""
        if p is None:
            return ""
        least = number(0.001, 3, self._language)
        return f"<\u00a0{least}" if p < 0.0005 else number(p, 3, self._language)


def _verdict(request: Request, row: ChangeRow, write: _Writer) -> tuple[str, str]:
    """Say whether it changed, and what that means."""
    text = write.text
    if row.reading == "changed" and row.estimate is not None:
        up, down = CHANGED[row.kind]
        said = text(up if row.estimate > 0 else down)
        told = {"by": write.amount(row.estimate, row.u)}
        told |= {
            "before": write.level(row.before or 0.0, row.u),
            "after": write.level(row.after or 0.0, row.u),
        }
        return text(N_("Changed")), said % told
    if row.reading == "not_shown" and row.sees is not None:
        said = text(NOT_SHOWN[row.kind])
        return text(N_("Not shown")), said % {"by": write.amount(row.sees, row.u)}
    why = text(N_("nothing says how far chance alone would go"))
    if Flag.NAMES_LEAVE_OPEN in row.flags:
        why = text(SURVEY_FLAGS[Flag.NAMES_LEAVE_OPEN])
    words = text(N_("Whether it changed is not known: %(why)s.")) % {"why": why}
    if row.estimate is not None:
        between = write.signed(row.estimate, row.u) + write.mark
        words = text(N_("Between the means: %(by)s.")) % {"by": between} + " " + words
    return text(N_("Not known")), words


def _limits(request: Request, row: ChangeRow, write: _Writer) -> list[str]:
    """Say what limits a change."""
    text = write.text
    said = []
    if row.p is not None:
        p = {"p": write.chance(row.p), "q": write.chance(row.p_adjusted)}
        said.append(text(N_("p %(p)s, adjusted %(q)s")) % p)
    if row.reading == "changed" and (row.p_adjusted or 0.0) > CHANCE:
        said.append(text(N_("with so many tests it may be chance")))
    if row.level not in ("", "genus"):
        level = text(LEVELS.get(row.level, row.level))
        said.append(text(N_("compared as: %(level)s")) % {"level": level})
    if row.together:
        said.append(text(N_("put together: %(names)s")) % {"names": ", ".join(row.together)})
    if row.undetermined_first or row.undetermined_last:
        language = language_of(request)
        first, last = (
            number(100 * (share or 0.0), 0, language)
            for share in (row.undetermined_first, row.undetermined_last)
        )
        words = text(N_("not told to it: %(first)s %% of what may be it, then %(last)s %%"))
        said.append(words % {"first": first, "last": last})
    said += [
        text(SURVEY_FLAGS[flag])
        for flag in row.flags
        if flag in SURVEY_FLAGS and flag not in SAID_ELSEWHERE
    ]
    if row.p_sites_differ is not None:
        words = text(N_("that all sites changed alike: p %(p)s"))
        said.append(words % {"p": write.chance(row.p_sites_differ)})
    return said
