"""The tables of an archive: their columns, and rows with a count of what is empty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from dryslate.formats.darwin_core import ROW_TYPES, Term, terms_of
from dryslate.formats.dwca_meta import MetaField, MetaFile

if TYPE_CHECKING:
    from dryslate.app.telling_texts import TextGate

EVENT = (
    "eventID",
    "parentEventID",
    "eventType",
    "eventDate",
    "samplingProtocol",
    "sampleSizeValue",
    "sampleSizeUnit",
    "samplingEffort",
    "decimalLatitude",
    "decimalLongitude",
    "geodeticDatum",
    "coordinateUncertaintyInMeters",
    "coordinatePrecision",
    "minimumDepthInMeters",
    "maximumDepthInMeters",
    "locationID",
    "locality",
    "verbatimLocality",
    "country",
    "countryCode",
    "waterBody",
    "habitat",
    "fieldNumber",
    "eventRemarks",
    "datasetName",
    "license",
    "rightsHolder",
    "dataGeneralizations",
    "informationWithheld",
    "dynamicProperties",
)
OCCURRENCE = (
    "eventID",
    "occurrenceID",
    "basisOfRecord",
    "occurrenceStatus",
    "scientificName",
    "scientificNameID",
    "taxonRank",
    "kingdom",
    "genus",
    "verbatimIdentification",
    "identificationQualifier",
    "identifiedBy",
    "dateIdentified",
    "identificationVerificationStatus",
    "identificationRemarks",
    "individualCount",
    "organismQuantity",
    "organismQuantityType",
    "organismID",
    "recordedBy",
    "recordNumber",
    "vitality",
    "associatedMedia",
    "occurrenceRemarks",
    "dynamicProperties",
)
MEASUREMENT = (
    "eventID",
    "measurementID",
    "occurrenceID",
    "measurementType",
    "measurementTypeID",
    "measurementValue",
    "measurementValueID",
    "measurementUnit",
    "measurementUnitID",
    "measurementAccuracy",
    "measurementDeterminedDate",
    "measurementDeterminedBy",
    "measurementMethod",
    "measurementRemarks",
)
MEDIA = (
    "eventID",
    "identifier",
    "type",
    "format",
    "title",
    "description",
    "created",
    "creator",
    "source",
    "license",
    "rightsHolder",
)
FILES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "Event": ("event.txt", EVENT),
    "Occurrence": ("occurrence.txt", OCCURRENCE),
    "ExtendedMeasurementOrFact": ("extendedmeasurementorfact.txt", MEASUREMENT),
    "Multimedia": ("multimedia.txt", MEDIA),
}
"""Table to its file and columns; the first column is the id of the event."""
_ROWS_AT_ONCE = 500
_BREAKS = str.maketrans({"\t": " ", "\n": " ", "\r": " ", "\0": " "})


class TextSink(Protocol):
    """Takes the lines of a table."""

    def write(self, text: str, /) -> object:
        """Take some text."""


@dataclass(slots=True)
class TableWriter:
    """
    Writes the rows of one table, and counts the filled cells of each column.

    Parameters
    ----------
    sink : TextSink
    columns : tuple of str
    gate : TextGate, optional
        Looks through what people wrote.
    name : str
        Of the table.
    """

    sink: TextSink
    columns: tuple[str, ...]
    gate: TextGate | None = None
    name: str = ""
    n_rows: int = 0
    filled: list[int] = field(default_factory=list)
    _waiting: list[Sequence[str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.filled = [0] * len(self.columns)
        self.sink.write("\t".join(self.columns) + "\n")

    def row(self, cells: Sequence[str]) -> None:
        """Write a row; its cells are as many as the columns and hold no tab or line feed."""
        if self.gate is not None:
            cells = self.gate.row(self.name, self.columns, cells)
        self._waiting.append(cells)
        self.n_rows += 1
        if len(self._waiting) >= _ROWS_AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Hand on the rows that wait; `filled` is of those handed on."""
        if not self._waiting:
            return
        columns = zip(*self._waiting, strict=True)
        empty = [column.count("") for column in columns]
        n = len(self._waiting)
        self.filled = [a + n - none for a, none in zip(self.filled, empty, strict=True)]
        self.sink.write("\n".join(map("\t".join, self._waiting)) + "\n")
        self._waiting.clear()

    def named(self, cells: Mapping[str, str]) -> None:
        """Write a row by the names of its columns; what is not named is empty."""
        self.row([flat(cells.get(name, "")) for name in self.columns])


def flat(text: str) -> str:
    """
    Return a text on one line.

    Examples
    --------
    >>> flat("by the" + chr(10) + "cable")
    'by the cable'
    """
    return text.translate(_BREAKS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """
    A required or recommended term that is empty in some rows.

    Parameters
    ----------
    table, term, level : str
    n_empty, n_rows : int
    """

    table: str
    term: str
    level: str
    n_empty: int
    n_rows: int

    def as_dict(self) -> dict[str, object]:
        """Return the fields as plain values, for JSON."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


_WHERE_IT_APPLIES = frozenset(
    {
        "parentEventID",
        "identificationQualifier",
        "organismQuantity",
        "organismQuantityType",
        "occurrenceID",
    }
)
"""Terms that are rightly empty in many rows."""


def missing_terms(table: str, writer: TableWriter) -> list[Missing]:
    """List the required and recommended terms of a table that are empty in some of its rows."""
    if not writer.n_rows:
        return []
    filled = dict(zip(writer.columns, writer.filled, strict=True))
    return [
        Missing(
            table=table,
            term=term.term,
            level=term.level,
            n_empty=writer.n_rows - filled.get(term.term, 0),
            n_rows=writer.n_rows,
        )
        for term in terms_of(table).values()
        if term.level != "useful"
        and term.term not in _WHERE_IT_APPLIES
        and filled.get(term.term, 0) < writer.n_rows
    ]


def described(table: str) -> MetaFile:
    """Return how meta.xml describes a table of ours."""
    file, columns = FILES[table]
    terms: dict[str, Term] = terms_of("Event") | terms_of(table)
    return MetaFile(
        is_core=table == "Event",
        row_type=ROW_TYPES[table],
        locations=(file,),
        id_index=0,
        fields=tuple(
            MetaField(index=k, term=terms[name].iri)
            for k, name in enumerate(columns)
            if k or table in ("Event", "Occurrence")
        ),
    )
