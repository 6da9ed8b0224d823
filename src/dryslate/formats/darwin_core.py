"""
Darwin Core: the terms that are written, namespaces, row types and closed vocabularies.

Sources: TDWG Darwin Core terms and Text Guide; core and extension definitions of the Event and
Occurrence classes and of ExtendedMeasurementOrFact; levels by publishing practice for marine and
sampling-event data (docs/archive.md).
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import dryslate.data

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
OBIS = "http://rs.iobis.org/obis/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
ROW_TYPES = {
    "Event": f"{DWC}Event",
    "Occurrence": f"{DWC}Occurrence",
    "MeasurementOrFact": f"{DWC}MeasurementOrFact",
    "ExtendedMeasurementOrFact": f"{OBIS}ExtendedMeasurementOrFact",
    "Multimedia": "http://rs.gbif.org/terms/1.0/Multimedia",
    "AudiovisualCore": "http://rs.tdwg.org/ac/terms/Multimedia",
}
BASES = (
    "PreservedSpecimen",
    "FossilSpecimen",
    "LivingSpecimen",
    "MaterialSample",
    "MaterialCitation",
    "HumanObservation",
    "MachineObservation",
    "Occurrence",
)
STATUSES = ("present", "absent")
LEVELS = ("required", "strongly recommended", "useful")


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """
    A term of one table.

    Parameters
    ----------
    table : str
        A key of `ROW_TYPES`.
    term, iri : str
    level : str
        One of `LEVELS`.
    note : str
    """

    table: str
    term: str
    iri: str
    level: str
    note: str = ""


@cache
def load_terms() -> tuple[Term, ...]:
    """Return the terms that come with the program."""
    path = files(dryslate.data) / "tables" / "darwin_core_terms.csv"
    return tuple(Term(**row) for row in csv.DictReader(path.read_text("utf-8").splitlines()))


def terms_of(table: str) -> dict[str, Term]:
    """Return the terms of a table by name."""
    return {one.term: one for one in load_terms() if one.table == table}


def table_of_row_type(row_type: str) -> str:
    """Return our name for a row type; empty where it is none of ours."""
    return next((name for name, iri in ROW_TYPES.items() if iri == row_type), "")


def wanting(table: str, present: Iterable[str]) -> list[Term]:
    """Return the required and strongly recommended terms of a table that are not there."""
    there = set(present)
    return [
        one
        for one in load_terms()
        if one.table == table and one.level != "useful" and one.iri not in there
    ]
