"""Finds English in a page that is said to be in another language."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

ENGLISH = frozenset(
    """
    the of and is are was were with from this that these those not which than its it by has
    have had been be to for at in into out off all any each every some more most where what
    when who whose how why here there now then only also but if so do does did done can cannot
    could will would should must may your you yours we our they their them him her his she he
    my mine card cards corals coral look looks take taken taking save saved name names named
    colour colours length outline line lines height width wide patch patches branch wall walls
    cup cups ridge ridges tip tips grey greys water light bright dark left right before after
    first third next back up down over under between beside write wrote read reading open
    opens close show shows shown choose chosen pick picked set nobody somebody nothing
    something none yes no unknown known without within while until memory drive folder file
    files copy wipe proved missing usual sometimes likely unlikely sure guess growth shape
    size sizes measured measure measuring measurement doubt uncertainty correct corrected
    correcting again already yet still key keys press hold help language sign settle settled
    agreed differ differs
    """.split()  # noqa: SIM905  a list of words reads better so
)
"""Words that are English and not French, among them nearly all that hold a sentence together."""
MADE_UP = frozenset({"lantern", "steps", "ines", "varro", "tomo", "halle", "made", "up"})
MADE_UP |= {"cameras", "first", "no"}
"""Words of the names in the small project: its site, people and cameras."""
PLACE = re.compile(r"\{\w+\}")
TOKEN = re.compile(r"[A-Za-zÀ-ÿœŒ’'][\wÀ-ÿœ’'.-]*")
SHOWN = ("alt", "title", "aria-label", "placeholder", "aria-valuetext")
SILENT = ("script", "style", "code", "kbd")
ALONE = ("img", "input", "meta", "link", "br", "hr", "source", "circle", "rect", "path", "line")


class _Texts(HTMLParser):
    """Gathers what a page shows, but code, keys, and what says that it is in English."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def _is_heard(self) -> bool:
        return not any(silent for _, silent in self._open)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        lang = told.get("lang") or ""
        is_slug = {"slug", "slugname"} & set((told.get("class") or "").split())
        words = tag == "script" and told.get("id", "").endswith("words")
        silent = (tag in SILENT and not words) or lang.startswith("en") or bool(is_slug)
        if tag not in ALONE:
            self._open.append((tag, silent))
        if self._is_heard() and not (tag in ALONE and silent):
            self.found += [told[name] or "" for name in SHOWN if told.get(name)]
            self.found += list(strings_in(json.loads(told.get("data-words") or "{}")))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not self._is_heard() or not data.strip():
            return
        if self._open and self._open[-1][0] == "script":
            self.found += list(strings_in(json.loads(data)))
        else:
            self.found.append(" ".join(data.split()))


def strings_in(value: object):
    """Yield every text in a JSON document; keys are not shown and are left out."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings_in(one)
    elif isinstance(value, list):
        for one in value:
            yield from strings_in(one)


def shown_in(html: str) -> list[str]:
    """Return the texts that a page shows."""
    parser = _Texts()
    parser.feed(html)
    return parser.found


def english_in(texts: list[str], names: frozenset[str] = frozenset()) -> list[str]:
    """Return the texts with an English word; `names` are words of names that people gave."""
    left = []
    for text in texts:
        words = {w.strip(".’'").lower() for w in TOKEN.findall(PLACE.sub(" ", text))}
        if (words & ENGLISH) - names:
            left.append(f"{sorted((words & ENGLISH) - names)}: {text[:160]}")
    return left
