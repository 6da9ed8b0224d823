"""The way around the pages: what is listed at the top of each."""

from __future__ import annotations

from dataclasses import dataclass

from dryslate.web.languages import N_


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One entry of the way around the pages; `label` is translated when shown."""

    path: str
    label: str
    key: str


PLACES = (
    Place(path="/", label=N_("Left to do"), key="l"),
    Place(path="/photos", label=N_("Photos"), key="p"),
    Place(path="/corals", label=N_("Corals"), key="k"),
    Place(path="/second", label=N_("Second look"), key="s"),
    Place(path="/cards", label=N_("Cards"), key="c"),
    Place(path="/help", label=N_("Help"), key="h"),
)
"""Pages that are listed at the top, in that order."""
