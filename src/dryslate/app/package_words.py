"""Records as they leave in a data package: of a sensitive site no words that betray it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_ids import Identifiers
from dryslate.app.archive_settings import found_again_by_nobody, published_onset
from dryslate.app.coarse_position import shared_position
from dryslate.app.colony_records import Colony, StressOnset
from dryslate.app.logger_days import LoggerDeployment
from dryslate.app.project_records import Site, Zone
from dryslate.app.publication_records import SitePlace
from dryslate.app.published_sites import PublishedSite, published_sites
from dryslate.app.visits import visit_id_of

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class LeavingWords:
    """
    What sites, visits and units are called in a package.

    Parameters
    ----------
    published : Mapping
        Site to its words, as in the archive.
    sensitive : frozenset of str
        Sites whose positions are coarsened.
    visits, units : Mapping
        Id to the one published, for those of sites whose name is withheld: ids are made of names,
        or are hashes that a guess at the name can be held against.
    colonies : Mapping
        By identity.
    ids : Identifiers
        Makes ids of corals and looks anew where a name is withheld: theirs are hashes of it.
    """

    published: Mapping[str, PublishedSite]
    sensitive: frozenset[str]
    visits: Mapping[str, str]
    units: Mapping[str, str]
    colonies: Mapping[str, Colony]
    ids: Identifiers

    def of(self, record: Any) -> Any:
        """Return a record as it leaves."""
        if not self.sensitive and not isinstance(record, SitePlace):
            return record
        site = getattr(record, "site", "")
        if site in self.sensitive:
            record = _without_ways_there(record)
        if isinstance(record, SitePlace):
            record = self._place(record)
        if isinstance(record, StressOnset):
            record = published_onset(record, self.published[site], self.colonies)
        kind: type = type(record)
        said = {name: self._called(name, getattr(record, name)) for name in _names_in(kind)}
        told = {name: new for name, new in said.items() if new != getattr(record, name)}
        record = replace(record, **told) if told else record
        return self.ids.anew(record) if self.visits else record

    def _called(self, name: str, value: Any) -> Any:
        """Return what a field of `_NAMES` holds in the package."""
        if name == "site":
            return self.published[value].name if value in self.published else value
        if name == "unit_ids":
            return tuple(self.units.get(one, one) for one in value)
        return (self.units if name == "unit_id" else self.visits).get(value, value)

    def _place(self, place: SitePlace) -> SitePlace:
        """Return where a site lies, as far as that may leave the project."""
        if place.grid_deg is None:
            return replace(place, locality=place.published_locality or place.locality)
        found = shared_position(place)
        return replace(
            place,
            latitude_deg=found.latitude_deg,
            longitude_deg=found.longitude_deg,
            position_text="",
            locality=self.published[place.site].locality,
            precision_deg=place.grid_deg,
            uncertainty_m=float(found.uncertainty_m) if found.uncertainty_m else None,
        )


_NAMES = ("site", "visit_id", "first_visit_id", "unit_id", "unit_ids")
"""Fields that hold names of sites, or ids made of them."""


@lru_cache(maxsize=64)
def _names_in(kind: type) -> tuple[str, ...]:
    """Return which of `_NAMES` a record has."""
    return tuple(field.name for field in fields(kind) if field.name in _NAMES)


def leaving_words(store: SurveyStore) -> LeavingWords:
    """Say what sites, visits and units of a project are called in a package."""
    ids = Identifiers(store.project_id())
    places = {one.site: one for one in store.site_places()}
    published = published_sites(
        [one.site for one in store.sites()], places, lambda site: ids.of("site", site)
    )
    visits, units = {}, {}
    for visit in store.visits():
        if published[visit.site].is_withheld:
            visits[visit.visit_id] = visit_id_of(published[visit.site].name, visit.date)
            for unit in store.units(visit.visit_id):
                units[unit.unit_id] = ids.of("unit", unit.unit_id)
    return LeavingWords(
        published=published,
        sensitive=frozenset(s for s, place in places.items() if place.grid_deg is not None),
        visits=visits,
        units=units,
        colonies={one.organism_id: one for one in store.colonies()},
        ids=ids,
    )


def _without_ways_there(record: Any) -> Any:
    """Leave out notes of a sensitive site, how its colonies are found again, names of files."""
    if isinstance(record, Colony):
        return found_again_by_nobody(record)
    if isinstance(record, LoggerDeployment):
        return replace(record, logger="", file_name="")
    return replace(record, note="") if isinstance(record, Site | Zone) else record
