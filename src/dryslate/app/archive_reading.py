"""Rows of an archive's tables by term, each with the place it stands at."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import ParseError

from dryslate.app.publication_records import SitePlace
from dryslate.formats.darwin_core import terms_of
from dryslate.formats.dwca_meta import MetaFile, read_meta
from dryslate.formats.dwca_rows import RowReader

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from dryslate.app.archive_check import ZipFiles

EVENT_TERMS = (
    "parentEventID", "eventType", "eventDate", "samplingProtocol", "sampleSizeValue",
    "sampleSizeUnit", "decimalLatitude", "decimalLongitude", "coordinateUncertaintyInMeters",
    "coordinatePrecision", "minimumDepthInMeters", "maximumDepthInMeters", "locationID",
    "locality", "verbatimLocality", "country", "countryCode", "waterBody", "habitat",
    "fieldNumber", "eventRemarks", "dataGeneralizations", "dynamicProperties",
)  # fmt: skip
OCCURRENCE_TERMS = (
    "occurrenceID", "occurrenceStatus", "scientificName", "verbatimIdentification",
    "identificationQualifier", "individualCount", "organismQuantity", "organismQuantityType",
    "recordedBy", "dateIdentified", "recordNumber", "occurrenceRemarks", "dynamicProperties",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRow:
    """
    One row.

    Parameters
    ----------
    place : str
        File and row, for messages.
    core_id : str
        Of the core row that it is or belongs to.
    cells : dict
        Term to cell, those that were asked for; empty where there is none.
    """

    place: str
    core_id: str
    cells: dict[str, str]


def tables_of(files: ZipFiles) -> tuple[MetaFile, ...]:
    """Return the tables of an archive whose descriptor was checked."""
    from dryslate.app.archive_check import MOST_XML

    return read_meta(parsed(files.read("meta.xml", MOST_XML))).tables


def metadata_of(files: ZipFiles) -> Element | None:
    """Return what describes the data; None where there is none that can be read."""
    from dryslate.app.archive_check import MOST_XML

    name = read_meta(parsed(files.read("meta.xml", MOST_XML))).metadata
    if name not in files.names():
        return None
    try:
        return parsed(files.read(str(name), MOST_XML))
    except (ParseError, ValueError):
        return None


def parsed(data: bytes) -> Element:
    """Parse XML without entities."""
    from defusedxml.ElementTree import fromstring

    found: Element = fromstring(data)
    return found


def rows_of_table(
    files: ZipFiles, table: MetaFile, called: str, wanted: Sequence[str]
) -> Iterator[ReadRow]:
    """
    Yield the rows of a table.

    Parameters
    ----------
    files : ZipFiles
    table : MetaFile
    called : str
        Our name for its row type.
    wanted : sequence of str
        Terms by their last word.
    """
    iris = {name: term.iri for name, term in (terms_of("Event") | terms_of(called)).items()}
    at = {one.term: one.index for one in table.fields if one.index is not None}
    constant = {one.term: one.default or "" for one in table.fields if one.default is not None}
    columns = [(name, at[iris[name]]) for name in wanted if iris.get(name) in at]
    same = {name: constant.get(iris.get(name, ""), "") for name in wanted}
    core = table.id_index
    for location in table.locations:
        with files.open(location) as raw:
            text = io.TextIOWrapper(raw, table.encoding, newline="")
            for line, cells in RowReader(text, table):
                said = same | {name: cells[k] for name, k in columns if cells[k]}
                core_id = cells[core] if core is not None else ""
                yield ReadRow(place=f"{location}, row {line}", core_id=core_id, cells=said)


def site_place(cells: Mapping[str, str], site: str, observer: str, at: str) -> SitePlace:
    """Read where an event lies; what was coarsened stays so."""
    values: dict[str, Any] = {
        name: float(cells[term]) if cells[term] else None
        for name, term in (
            ("latitude_deg", "decimalLatitude"),
            ("longitude_deg", "decimalLongitude"),
            ("uncertainty_m", "coordinateUncertaintyInMeters"),
            ("precision_deg", "coordinatePrecision"),
        )
    }
    is_coarse = bool(cells["dataGeneralizations"])
    return SitePlace(
        site=site,
        observer=observer,
        stated_at=at,
        **values,
        grid_deg=values["precision_deg"] if is_coarse else None,
        country=cells["country"],
        country_code=cells["countryCode"],
        water_body=cells["waterBody"],
        locality="" if cells["locality"] == site else cells["locality"],
    )


def terms_not_read(table: MetaFile, read: Sequence[str]) -> tuple[str, ...]:
    """Name the columns of a table that nothing here reads."""
    names = [one.term.rpartition("/")[2] for one in table.fields]
    return tuple(name for name in names if name not in read)
