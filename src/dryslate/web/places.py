"""The way around the pages: what is listed at the top of each, and below it within a part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dryslate.web.languages import N_


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """
    One entry of the way around the pages.

    Parameters
    ----------
    path, key : str
        Its address, and the letter that leads there.
    label : str
        Translated when shown.
    part : str
        Path of the entry at the top that it belongs to; empty for those at the top themselves.
        It is listed in a second line while a page of that part is shown.
    is_work : bool
        It is there to change something; who may only look is not led there.
    """

    path: str
    label: str
    key: str = ""
    part: str = ""
    is_work: bool = False


PLACES: Sequence[Place] = (
    Place(path="/", label=N_("Left to do"), key="l"),
    Place(path="/photos", label=N_("Photos"), key="p"),
    Place(path="/corals", label=N_("Corals"), key="k"),
    Place(path="/colonies", label=N_("Tagged colonies"), part="/corals"),
    Place(path="/records", label=N_("Records"), key="r"),
    Place(path="/records/import", label=N_("Import tables"), part="/records", is_work=True),
    Place(path="/records/table", label=N_("Table of rows"), part="/records"),
    Place(path="/records/categories", label=N_("Categories"), part="/records"),
    Place(path="/sheets", label=N_("Sheets"), key="t", part="/records"),
    Place(path="/plan", label=N_("Plan"), part="/records"),
    Place(path="/second", label=N_("Second look"), key="s"),
    Place(path="/results", label=N_("Results"), key="e"),
    Place(path="/change", label=N_("Change over time"), part="/results"),
    Place(path="/results/report", label=N_("Report"), part="/results"),
    Place(path="/archive", label=N_("Archive"), part="/results"),
    Place(path="/cards", label=N_("Cards"), key="c"),
    Place(path="/help", label=N_("Help"), key="h"),
)
"""Pages that are listed, in that order; one that heads a part is the first of its second line."""


def place_of(path: str, places: Sequence[Place] | None = None) -> Place | None:
    """
    Return the listed page that an address belongs to, itself or the nearest above it.

    Parameters
    ----------
    path : str
    places : sequence of Place, optional

    Returns
    -------
    Place or None

    Examples
    --------
    >>> place_of("/photos/abc").label, place_of("/elsewhere")
    ('Photos', None)
    """
    listed = PLACES if places is None else places
    fitting = [p for p in listed if path == p.path or path.startswith(p.path.rstrip("/") + "/")]
    if path != "/":
        fitting = [p for p in fitting if p.path != "/"]
    return max(fitting, key=lambda place: len(place.path), default=None)


def around(
    path: str, places: Sequence[Place] | None = None
) -> tuple[tuple[Place, ...], tuple[Place, ...], Place | None]:
    """
    Return what a page lists.

    Parameters
    ----------
    path : str
        Its address.
    places : sequence of Place, optional

    Returns
    -------
    top : tuple of Place
    within : tuple of Place
        The pages of its part, the one at the top first; empty where the part has only one.
    here : Place or None

    Examples
    --------
    >>> listed = (
    ...     Place(path="/results", label="Results"),
    ...     Place(path="/plan", label="Plan", part="/results"),
    ... )
    >>> top, within, here = around("/plan", listed)
    >>> [p.label for p in top], [p.label for p in within], here.label
    (['Results'], ['Results', 'Plan'], 'Plan')
    """
    listed = PLACES if places is None else places
    here = place_of(path, listed)
    part = (here.part or here.path) if here is not None else ""
    within = tuple(place for place in listed if part in (place.path, place.part) and part)
    return tuple(p for p in listed if not p.part), within if len(within) > 1 else (), here
