"""What an archive of a project would hold and what it lacks, without making it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.archive_ids import Identifiers
from dryslate.app.archive_make import wanting_words
from dryslate.app.coarse_position import SharedPosition, shared_position
from dryslate.app.publication_records import FACTS, ProjectPerson, SitePlace
from dryslate.app.published_sites import PublishedSite, published_sites

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLine:
    """A site, its place as kept, and the position that would leave the project."""

    site: str
    place: SitePlace | None
    shared: SharedPosition
    published: PublishedSite

    @property
    def is_sensitive(self) -> bool:
        """Tell whether its position is coarsened."""
        return self.place is not None and self.place.grid_deg is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivePreview:
    """
    What an archive would hold.

    Parameters
    ----------
    n_visits, n_units, n_rows, n_corals, n_photos : int
    n_name_ids : int
        Names with an identifier that the team supplied.
    facts : Mapping
    people : tuple of ProjectPerson
    sites : tuple of SiteLine
    unsaid : tuple of str
        What the project has not said: facts, and roles that nobody has.
    """

    n_visits: int
    n_units: int
    n_rows: int
    n_corals: int
    n_photos: int
    n_name_ids: int
    facts: Mapping[str, str]
    people: tuple[ProjectPerson, ...]
    sites: tuple[SiteLine, ...]
    unsaid: tuple[str, ...]

    @property
    def has_sensitive(self) -> bool:
        """Tell whether the name of any site stays in the project."""
        return any(line.published.is_withheld for line in self.sites)

    @property
    def n_without_position(self) -> int:
        """Count the sites without a position."""
        return sum(not line.shared.latitude for line in self.sites)


def preview_archive(store: SurveyStore) -> ArchivePreview:
    """Look at what an archive would hold and lack; quick also for large projects."""
    from dryslate.app.survey_records import RowQuery

    places = {one.site: one for one in store.site_places()}
    names = [one.site for one in store.sites()]
    ids = Identifiers(store.project_id())
    published = published_sites(names, places, lambda site: ids.of("site", site))
    aside = {one.photo_id for one in store.photos_set_aside()}
    _, n_rows = store.find_survey_rows(RowQuery(most=1))
    return ArchivePreview(
        n_visits=len(store.visits()),
        n_units=len(store.units()),
        n_rows=n_rows,
        n_corals=len(store.named_records()),
        n_photos=len(set(store.photo_ids()) - aside),
        n_name_ids=sum(bool(one.name_id) for one in store.name_ids()),
        facts=dict.fromkeys(FACTS, "") | dict(store.project_facts()),
        people=store.project_people(),
        sites=tuple(
            SiteLine(
                site=site,
                place=places.get(site),
                shared=shared_position(places.get(site)),
                published=published[site],
            )
            for site in names
        ),
        unsaid=tuple(p.place for p in wanting_words(store) if p.slug == "archive-fact-missing"),
    )
