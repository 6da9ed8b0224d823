"""Events of an archive: visits, the units sampled on them, and photos with points."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from dryslate.app.archive_words import photo_words, unit_words, visit_words
from dryslate.app.coarse_position import SharedPosition, shared_position
from dryslate.formats.eventdate import span_of

if TYPE_CHECKING:
    from dryslate.app.archive_ids import Identifiers
    from dryslate.app.project_records import ClockOffset, Zone
    from dryslate.app.publication_records import SitePlace, UnitPlace
    from dryslate.app.published_sites import PublishedSite
    from dryslate.app.records import Photo, Visit
    from dryslate.app.survey_records import NotedRow, StatedDesign
    from dryslate.app.unit_records import Unit
    from dryslate.core.survey.designs import UnitDesign

PROTOCOLS: Mapping[str, str] = {
    "line_intercept": "line intercept: what lies below a tape, with begin and end",
    "point_intercept": "point intercept: what lies below points along a tape",
    "belt": "belt transect: colonies in a strip along a tape",
    "quadrat_counts": "quadrat: colonies counted",
    "quadrat_cells": "quadrat: what covers each cell",
    "photo_points": "photographs with points: what lies below each point",
    "timed_swim": "timed swim: colonies met",
}
EDGES: Mapping[str, str] = {
    "centre_inside": "colonies whose centre lies inside count",
    "two_sides_in": "colonies that touch two agreed sides count, those at the other two do not",
    "any_touching": "any colony that touches counts",
    "wholly_inside": "only colonies wholly inside count",
}
EVENT_TYPES: Mapping[str, str] = {
    "transect": "transect",
    "quadrat": "quadrat",
    "photo_station": "photo station",
    "timed_swim": "timed swim",
    "permanent_plot": "permanent plot",
}
POINT_DESIGNS = ("point_intercept", "photo_points")


@dataclass(frozen=True, kw_only=True)
class EventMaker:
    """
    Makes the rows of events.

    Parameters
    ----------
    ids : Identifiers
    same : Mapping
        What all rows share: dataset, licence, rights holder.
    places, unit_places, zones : Mapping
        By site, by unit, by site and zone.
    published : Mapping
        What each site is called in the archive.
    methods : str
        The project's own words on method.
    conditions : Mapping
        Of the dives of a visit, in words.
    """

    ids: Identifiers
    same: Mapping[str, str]
    places: Mapping[str, SitePlace]
    unit_places: Mapping[str, UnitPlace]
    zones: Mapping[tuple[str, str], Zone]
    published: Mapping[str, PublishedSite]
    methods: str = ""
    conditions: Mapping[str, str] = field(default_factory=dict)

    def visit(
        self, visit: Visit, designs: Sequence[StatedDesign], clocks: Sequence[ClockOffset] = ()
    ) -> dict[str, str]:
        """Return the row of a visit, the parent of its units."""
        used = sorted({one.design.design for one in designs})
        size = {"sampleSizeValue": str(len(designs)), "sampleSizeUnit": "sampling units"}
        return {
            **self._where(visit),
            "eventID": self.ids.of("visit", visit.visit_id),
            "eventType": "site visit",
            "eventDate": visit.date,
            "samplingProtocol": " | ".join(PROTOCOLS[one] for one in used) or self.methods,
            **(size if designs else {}),
            "dynamicProperties": visit_words(visit.observer, clocks),
            "eventRemarks": self.conditions.get(visit.visit_id, ""),
        }

    def unit(
        self,
        visit: Visit,
        unit: Unit,
        stated: StatedDesign | None,
        rows: Sequence[NotedRow],
        date: str,
        also: Sequence[str] = (),
    ) -> dict[str, str]:
        """
        Return the row of a unit, whose parent is its visit.

        `also` are rows that are no occurrence, as JSON.
        """
        design = stated.design if stated is not None else None
        kind = "permanent_plot" if design is not None and design.is_permanent else unit.kind
        return {
            **self._where(visit, unit),
            "eventID": self.ids.of("unit", unit.unit_id),
            "parentEventID": self.ids.of("visit", visit.visit_id),
            "eventType": EVENT_TYPES.get(kind or "", "sampling unit"),
            "eventDate": date,
            **(_sampled(design, rows) if design is not None else {}),
            "samplingEffort": _effort(unit, design),
            **self._depth(visit, unit),
            "habitat": unit.zone or "",
            "fieldNumber": unit.name or "",
            "eventRemarks": unit.note,
            "dynamicProperties": unit_words(self._called(visit, unit), stated, also),
        }

    def photo(
        self,
        parent: Mapping[str, str],
        photo_id: str,
        n_read: int,
        date: str,
        also: Sequence[str] = (),
    ) -> dict[str, str]:
        """Return the row of a photo with points, whose parent is its unit."""
        return {
            **parent,
            "eventID": self.ids.of("photo", photo_id),
            "parentEventID": parent["eventID"],
            "eventType": "photo",
            "eventDate": date,
            "sampleSizeValue": str(n_read),
            "sampleSizeUnit": "points",
            "samplingEffort": "",
            "fieldNumber": "",
            "eventRemarks": "",
            "dynamicProperties": photo_words(photo_id, also),
        }

    def _called(self, visit: Visit, unit: Unit) -> Unit:
        """Return a unit whose own id says nothing of a site whose name is withheld."""
        if not self.published[visit.site].is_withheld:
            return unit
        return replace(unit, unit_id=self.ids.of("unit", unit.unit_id))

    def shared(self, site: str, unit_id: str = "") -> SharedPosition:
        """Return the position that may leave the project."""
        return shared_position(self.places.get(site), self.unit_places.get(unit_id))

    def _where(self, visit: Visit, unit: Unit | None = None) -> dict[str, str]:
        """Return the columns of a place."""
        return self.of_site(visit.site, unit.unit_id if unit is not None else "")

    def of_site(self, site: str, unit_id: str = "") -> dict[str, str]:
        """Return the columns of a site, or of a unit of it with a place of its own."""
        place = self.places.get(site)
        found = self.shared(site, unit_id)
        published = self.published[site]
        words = {"country": "", "countryCode": "", "waterBody": ""}
        if place is not None:
            words = {
                "country": place.country,
                "countryCode": place.country_code,
                "waterBody": place.water_body,
            }
        held = [found.withheld, "So is the site's name." if published.is_withheld else ""]
        return {
            **self.same,
            **words,
            "locationID": self.ids.of("site", site),
            "locality": published.locality,
            "verbatimLocality": published.name,
            "decimalLatitude": found.latitude,
            "decimalLongitude": found.longitude,
            "geodeticDatum": "EPSG:4326" if found.latitude else "",
            "coordinateUncertaintyInMeters": found.uncertainty_m,
            "coordinatePrecision": found.precision_deg,
            "dataGeneralizations": found.generalised,
            "informationWithheld": " ".join(one for one in held if one),
        }

    def _depth(self, visit: Visit, unit: Unit) -> dict[str, str]:
        """Return the depths of a unit, or those of its zone where it has none of its own."""
        low = high = unit.depth_m
        if unit.depth_m is None:
            zone = self.zones.get((visit.site, unit.zone or ""))
            low, high = (zone.depth_min_m, zone.depth_max_m) if zone else (None, None)
        return {
            "minimumDepthInMeters": "" if low is None else f"{low:g}",
            "maximumDepthInMeters": "" if high is None else f"{high:g}",
        }


def _sampled(design: UnitDesign, rows: Sequence[NotedRow]) -> dict[str, str]:
    """Say how a unit was sampled, and how much."""
    protocol = PROTOCOLS[design.design]
    if design.edge_rule is not None:
        protocol += f"; {EDGES[design.edge_rule]}"
    value, unit = _size(design, rows)
    size = {"sampleSizeValue": f"{value:g}", "sampleSizeUnit": unit} if value is not None else {}
    return {"samplingProtocol": protocol, **size}


def _size(design: UnitDesign, rows: Sequence[NotedRow]) -> tuple[float | None, str]:
    """Return how much was sampled, with its unit; points that could not be read are no sample."""
    if design.design in POINT_DESIGNS:
        read = sum(one.row.kind == "point" and not one.row.unreadable for one in rows)
        return (float(read) if read else None), "points"
    if design.design == "timed_swim":
        return design.minutes, "minutes"
    if design.design == "line_intercept":
        return design.length_m, "metres"
    if design.searched_m2 is not None:
        return design.searched_m2, "square metres"
    return (None if design.n_cells is None else float(design.n_cells)), "cells"


def _effort(unit: Unit, design: UnitDesign | None) -> str:
    """Say with what effort, in words."""
    parts = ["1 observer"]
    if design is None:
        return parts[0]
    for value, word in (
        (design.length_m, "m of tape"),
        (design.width_m, "m wide"),
        (design.spacing_m, "m between points"),
        (design.n_points, "points a photo"),
        (design.minutes, "minutes"),
        (design.n_cells, "cells"),
    ):
        if value is not None:
            parts.append(f"{value:g} {word}")
    if design.point_rule is not None:
        seed = "" if design.seed is None else f", seed {design.seed}"
        parts.append(f"points placed: {design.point_rule.replace('_', ' ')}{seed}")
    if design.searched:
        parts.append(f"searched for: {', '.join(design.searched)}")
    return "; ".join(parts)


def photo_time(photo: Photo, offsets: Mapping[str, str]) -> str:
    """
    Return when a photo was taken, with its offset from UTC or with none where none is known.

    Parameters
    ----------
    photo : Photo
    offsets : Mapping
        Offset of the true local time by camera, where a clock was set with one.
    """
    from dryslate.app.shots import camera_key

    if photo.taken_corrected is not None:
        taken, offset = photo.taken_corrected, offsets.get(camera_key(photo.metadata))
        offset = offset or photo.metadata.utc_offset
    else:
        taken, offset = photo.metadata.taken_local or "", photo.metadata.utc_offset
    if not taken:
        return ""
    has_one = taken.endswith("Z") or "+" in taken[10:] or "-" in taken[10:]
    return taken if has_one else taken.partition(".")[0] + (offset or "")


def unit_date(visit_date: str, times: Sequence[str]) -> str:
    """Return the span of a unit's photos, where all of them tell; else the visit's day."""
    if not times or not all(times) or len({len(t) for t in times}) > 1:
        return visit_date
    return span_of(min(times), max(times))


def read_points(rows: Sequence[NotedRow]) -> Counter[str]:
    """Count the points of each photo that could be read."""
    return Counter(
        one.row.photo_id
        for one in rows
        if one.row.kind == "point" and one.row.photo_id is not None and not one.row.unreadable
    )
