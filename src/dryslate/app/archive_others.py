"""Archives that other programs wrote: events, counts and points as far as the terms tell."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.archive_reading import EVENT_TERMS, ReadRow, site_place
from dryslate.app.records import Visit
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_records import Unit
from dryslate.app.visits import visit_id_of
from dryslate.base.problems import Problem, Severity
from dryslate.core.identify.names import find_names
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.formats.eventdate import days_of

if TYPE_CHECKING:
    from dryslate.app.archive_read import ArchiveRead
    from dryslate.core.identify.taxa import TaxaData

AREAS = {"square metres", "square meters", "square metre", "square meter", "m2", "m²", "sqm"}
MINUTES = {"minutes", "minute", "min"}
POINTS = {"points", "point"}
COUNTED = {"", "individuals", "individual", "colonies", "colony"}
"""Words in which others state an amount (common practice; none is prescribed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NameFinder:
    """
    What names are looked up in, who reads the archive and when.

    Parameters
    ----------
    taxa : TaxaData
    region : str or None
    who, at : str
    """

    taxa: TaxaData
    region: str | None
    who: str
    at: str


class OthersReader:
    """
    Reads events that say nothing in this program's words.

    Parameters
    ----------
    read : ArchiveRead
        Takes what is found.
    events : Mapping
        By id.
    names : NameFinder

    Notes
    -----
    An event with occurrences is a unit; its site and day stand in it or in the events above it.
    An area makes counts in an area of it, minutes a timed swim, points a unit of points. An absence
    is a name that was searched for and not seen; where absences stand, what was seen was searched
    for too. A length alone tells nothing of where on the tape anything lay, so it is not
    understood.
    """

    def __init__(self, read: ArchiveRead, events: Mapping[str, ReadRow], names: NameFinder) -> None:
        self._read, self._events, self._names = read, events, names
        self._units: dict[str, Unit] = {}
        self._designs: dict[str, UnitDesign | None] = {}
        self._searched: dict[str, list[str]] = defaultdict(list)
        self._seen: dict[str, list[str]] = defaultdict(list)
        self._n = 0

    def events(self) -> None:
        """Follow parents; one that is its own ancestor is a fault."""
        for key, row in self._events.items():
            seen = {key}
            parent = row.cells["parentEventID"]
            while parent in self._events:
                if parent in seen:
                    self._fault(row, "parentEventID", f"{key!r} is its own ancestor")
                    break
                seen.add(parent)
                parent = self._events[parent].cells["parentEventID"]

    def occurrence(self, row: ReadRow, sizes: Mapping[str, float]) -> None:
        """Read an occurrence into the unit of its event."""
        cells = row.cells
        unit, design = self._unit(row.core_id)
        if unit is None or design is None:
            return
        written = cells["verbatimIdentification"] or " ".join(
            one for one in (cells["identificationQualifier"], cells["scientificName"]) if one
        )
        found = find_names(written, self._names.taxa, self._names.region)
        match = found if found.kind in ("exact", "former", "rank") else None
        if match is None:
            self._told(row, "scientificName", f"{written!r} stands in no list of names", "warning")
        name = (match.name or match.text) if match else written
        if cells["occurrenceStatus"] == "absent":
            self._searched[unit.unit_id].append(name)
            made = [SurveyRow(kind="none_seen", name=written, place=row.place)]
        else:
            self._seen[unit.unit_id].append(name)
            made = self._present(row, design, written, sizes)
        self._n += 1
        for one in made:
            self._read.rows[unit.unit_id].append(
                NotedRow(
                    unit_id=unit.unit_id,
                    row=one,
                    observer=cells["recordedBy"] or self._names.who,
                    noted_at=self._names.at,
                    name=match.name if match else "",
                    current_names=match.genera if match else (),
                    rank=match.rank if match else "",
                    row_no=self._n,
                )
            )

    def _present(
        self, row: ReadRow, design: UnitDesign, written: str, sizes: Mapping[str, float]
    ) -> list[SurveyRow]:
        """Read how much there was."""
        cells = row.cells
        unit = cells["organismQuantityType"].strip().casefold()
        amount = cells["organismQuantity"] or cells["individualCount"]
        term = "organismQuantity" if cells["organismQuantity"] else "individualCount"
        n = _whole(amount)
        is_point = design.design in ("point_intercept", "photo_points")
        fits = POINTS if is_point else COUNTED
        if amount and term == "organismQuantity" and unit not in fits:
            message = f"{amount} {unit}: not an amount that a {design.design} unit is made of"
            self._fault(row, term, message)
            return []
        if is_point:
            if n is None or n > 100_000:
                self._fault(row, term, f"{amount!r}: expected a number of points")
                return []
            return [SurveyRow(kind="point", name=written, place=row.place)] * n
        if amount and n is None:
            self._fault(row, term, f"{amount!r}: expected a whole number")
            return []
        if sizes and n in (None, 1):
            colony = SurveyRow(kind="colony", name=written, n=n, place=row.place)
            return [replace(colony, **sizes)]  # type: ignore[arg-type]
        if not amount:
            self._told(row, term, "present, but not how many: nothing to count", "warning")
        return [SurveyRow(kind="count", name=written, n=n, place=row.place)]

    def finish(self) -> None:
        """Keep the units, with the names that were searched for in each."""
        for key, unit in self._units.items():
            design = self._designs[key]
            self._read.units.append(unit)
            if design is None:
                continue
            absent, seen = self._searched[unit.unit_id], self._seen[unit.unit_id]
            searched = tuple(dict.fromkeys([*absent, *seen])) if absent else ()
            values = {**design.as_dict(), "searched": searched}
            self._read.designs[unit.unit_id] = StatedDesign(
                unit_id=unit.unit_id,
                design=UnitDesign(**values),
                list_version=None,
                observer=unit.observer,
                stated_at=self._names.at,
            )

    def _unit(self, key: str) -> tuple[Unit | None, UnitDesign | None]:
        """Return the unit of an event, made at its first occurrence."""
        if key in self._designs:
            return self._units.get(key), self._designs[key]
        row = self._events[key]
        self._designs[key] = design = self._design(row)
        site = self._above(key, "verbatimLocality", "locality", "locationID")
        days = days_of(self._above(key, "eventDate"))
        if not site:
            self._fault(row, "locality", "neither this event nor one above it names a place")
        if len(days) != 1:
            said = self._above(key, "eventDate")
            self._fault(row, "eventDate", f"{said!r}: a unit is sampled on one day")
        if not site or len(days) != 1:
            return None, None
        visit_id = visit_id_of(site, days[0])
        who = self._names.who
        visit = Visit(visit_id=visit_id, site=site, date=days[0], observer=who)
        self._read.visits.setdefault(visit_id, visit)
        self._place(key, site)
        low, high = (
            _number(self._above(key, f"{one}DepthInMeters")) for one in ("minimum", "maximum")
        )
        depth, doubt = _depth(low, high)
        unit = Unit(
            unit_id=key,
            visit_id=visit_id,
            observer=who,
            name=row.cells["fieldNumber"] or key,
            zone=self._above(key, "habitat") or None,
            depth_m=depth,
            depth_m_u=doubt,
            note=row.cells["eventRemarks"],
        )
        self._units[key] = unit
        return unit, design

    def _place(self, key: str, site: str) -> None:
        """Keep where a site lies."""
        if site not in self._read.places:
            cells = {term: self._above(key, term) for term in EVENT_TERMS}
            self._read.places[site] = site_place(cells, site, self._names.who, self._names.at)

    def _design(self, row: ReadRow) -> UnitDesign | None:
        """Take how a unit was sampled from its size and its protocol."""
        cells = row.cells
        size = _number(cells["sampleSizeValue"])
        unit = cells["sampleSizeUnit"].strip().casefold()
        protocol = cells["samplingProtocol"].casefold()
        if size is None or size <= 0:
            self._fault(row, "sampleSizeValue", "nothing says how much was sampled")
            return None
        if unit in AREAS:
            kind = "belt" if "belt" in protocol else "quadrat_counts"
            return UnitDesign(design=kind, area_m2=size)  # type: ignore[arg-type]
        if unit in MINUTES:
            return UnitDesign(design="timed_swim", minutes=size)
        if unit in POINTS:
            is_photo = "photo" in protocol
            return UnitDesign(design="photo_points" if is_photo else "point_intercept")
        message = f"{cells['sampleSizeUnit']!r}: expected square metres, minutes or points"
        self._fault(row, "sampleSizeUnit", message)
        return None

    def _above(self, key: str, *terms: str) -> str:
        """Return what an event or the nearest one above it says."""
        seen: set[str] = set()
        while key in self._events and key not in seen:
            seen.add(key)
            cells = self._events[key].cells
            found = next((cells[term] for term in terms if cells[term]), "")
            if found:
                return found
            key = cells["parentEventID"]
        return ""

    def _fault(self, row: ReadRow, term: str, message: str) -> None:
        self._told(row, term, message, "error")

    def _told(self, row: ReadRow, term: str, message: str, severity: Severity) -> None:
        slug = "archive-not-understood" if severity == "error" else "archive-left-out"
        place = f"{row.place}, {term}"
        self._read.add(Problem(slug=slug, severity=severity, place=place, message=message, fix=""))


def _depth(low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Return the middle of a span of depths, and its standard deviation as if all were alike."""
    if low is None or high is None:
        return None, None
    return (low + high) / 2, None if low == high else abs(high - low) / 12**0.5


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) < float("inf") else None


def _whole(text: str) -> int | None:
    """Return a whole number from 0; None where it is none."""
    value = _number(text)
    return int(value) if value is not None and value >= 0 and value == int(value) else None
