"""What a site is called where it leaves the project: of a sensitive one no words that betray it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.base.problems import Problem

if TYPE_CHECKING:
    from dryslate.app.publication_records import SitePlace


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedSite:
    """
    Words that are exported for a site.

    Parameters
    ----------
    name, locality : str
    is_withheld : bool
        Its own name stays in the project.
    """

    name: str
    locality: str
    is_withheld: bool = False


def published_sites(
    sites: Sequence[str], places: Mapping[str, SitePlace], address: Callable[[str], str]
) -> dict[str, PublishedSite]:
    """
    Say what each site is called where it leaves the project.

    Parameters
    ----------
    sites : sequence of str
    places : Mapping
        By site.
    address : callable
        Site to its stable identifier, whose end tells sites apart that are called alike.

    Returns
    -------
    dict
        Where the team states words to publish, these. Else, of a sensitive site, only its wider
        area: water body and country, its own or those of the project's other sites.
    """
    found = {site: _published(site, places.get(site), places.values()) for site in sites}
    times = Counter(one.name for one in found.values())
    return {
        site: one
        if times[one.name] == 1
        else replace(one, name=f"{one.name} ({address(site)[-4:]})" if one.is_withheld else site)
        for site, one in found.items()
    }


def _published(
    site: str, place: SitePlace | None, all_of_them: Iterable[SitePlace]
) -> PublishedSite:
    """Say what one site is called."""
    if place is None or place.grid_deg is None:
        words = (place.published_locality or place.locality) if place is not None else ""
        return PublishedSite(name=site, locality=words or site)
    if place.published_locality:
        words = place.published_locality
        return PublishedSite(name=words, locality=words, is_withheld=words != site)
    wide = _wide([place]) or _wide(all_of_them) or "not stated: sensitive site"
    return PublishedSite(name="name withheld", locality=wide, is_withheld=True)


def _wide(places: Iterable[SitePlace]) -> str:
    """Return the water bodies and countries of places."""
    found = [(one.water_body, one.country) for one in places]
    return ", ".join(dict.fromkeys(word for pair in found for word in pair if word))


def sensitive_note(site: str) -> Problem:
    """Say what leaves the project of a sensitive site, and what is not looked through."""
    return Problem(
        slug="archive-sensitive-words",
        severity="note",
        place=site,
        message="position coarsened, name and locality published as said here or not at "
        "all; texts that hold its name, a zone's name or its position are told, all others leave "
        "as written",
        fix="Take out words that give the place away in another way.",
    )
