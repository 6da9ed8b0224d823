"""Checking a Darwin Core archive, whoever made it: every fault with its file, row and column."""

from __future__ import annotations

import codecs
import csv
import io
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import IO, TYPE_CHECKING, Any, Protocol

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem, Severity
from dryslate.formats.darwin_core import (
    BASES,
    DWC,
    ROW_TYPES,
    STATUSES,
    table_of_row_type,
    terms_of,
    wanting,
)
from dryslate.formats.dwca_meta import MetaFile, read_meta
from dryslate.formats.dwca_rows import RowReader
from dryslate.formats.eml import eml_faults
from dryslate.formats.eventdate import parse_event_date

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MOST_XML = 20 << 20
MOST_TOLD = 20
"""Faults of one kind and column that are told one by one; the rest are counted."""


class ZipFiles(Protocol):
    """The files of an archive."""

    def names(self) -> tuple[str, ...]:
        """Return the names of all files."""

    def open(self, name: str) -> IO[bytes]:
        """Open a file for reading."""

    def read(self, name: str, most_bytes: int) -> bytes:
        """Read a file whole."""


@dataclass(kw_only=True)
class ArchiveCheck:
    """
    What was found.

    Parameters
    ----------
    name : str
        Of the archive.
    n_rows : dict
        Rows by file.
    problems : list of Problem
    n_more : Counter
        Faults that were counted and not told, by kind, file and column.
    n_empty : Counter
        Empty cells of strongly recommended terms, by file and term.
    has_licence : bool
        Whether the file that describes the data states one.
    """

    name: str
    n_rows: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    n_more: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    n_empty: Counter[tuple[str, str]] = field(default_factory=Counter)
    has_licence: bool = False
    _told: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    @property
    def is_sound(self) -> bool:
        """Tell whether nothing is wrong that makes it unfit to publish."""
        return not any(one.severity == "error" for one in self.problems)

    def add(
        self,
        slug: str,
        message: str,
        file: str = "",
        row: int | None = None,
        column: str = "",
        severity: Severity = "error",
    ) -> None:
        """Tell a fault, or count it where many alike were told."""
        kind = (slug, file, column)
        self._told[kind] += 1
        if self._told[kind] > MOST_TOLD:
            self.n_more[kind] += 1
            return
        parts = [file or self.name]
        parts += [f"row {row}"] if row is not None else []
        parts += [f"column {column}"] if column else []
        self.problems.append(
            Problem(slug=slug, severity=severity, place=", ".join(parts), message=message, fix="")
        )

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for JSON."""
        return {
            "archive": self.name,
            "is_sound": self.is_sound,
            "n_rows": dict(self.n_rows),
            "problems": [one.as_dict() for one in self.problems],
            "more": [
                {"slug": slug, "file": file, "column": column, "n": n}
                for (slug, file, column), n in self.n_more.items()
            ],
            "empty": [
                {"file": file, "term": term, "n": n} for (file, term), n in self.n_empty.items()
            ],
            "has_licence": self.has_licence,
        }


def check_archive(files: ZipFiles, name: str) -> ArchiveCheck:
    """
    Check an archive.

    Parameters
    ----------
    files : ZipFiles
    name : str
        For messages.

    Returns
    -------
    ArchiveCheck
        Required terms that are absent or empty, ids that are missing, twice or lead nowhere, dates,
        positions, depths and words of closed lists that are none; recommended terms that are
        absent are warnings.
    """
    found = ArchiveCheck(name=name)
    for one in files.names():
        if one.startswith("/") or ".." in PurePosixPath(one).parts or "\\" in one:
            found.add("archive-path", "a name that leads out of the archive", file=one)
    if "meta.xml" not in files.names():
        elsewhere = [n for n in files.names() if PurePosixPath(n).name == "meta.xml"]
        message = f"it lies in {elsewhere[0]}" if elsewhere else "no meta.xml in the archive"
        found.add("archive-no-meta", message)
        return found
    root = _xml(files, "meta.xml", found)
    if root is None:
        return found
    meta = read_meta(root)
    for slug, message in meta.faults:
        found.add(slug, message, file="meta.xml")
    _metadata(files, meta.metadata, found)
    ids: set[str] = set()
    occurrences: set[str] = set()
    for table in sorted(meta.tables, key=_when):
        _table(files, table, found, ids, occurrences)
    return found


def _when(table: MetaFile) -> int:
    """Put the core first, then occurrences, for others lead to them."""
    if table.is_core:
        return 0
    return 1 if table.row_type == ROW_TYPES["Occurrence"] else 2


def _xml(files: ZipFiles, name: str, found: ArchiveCheck) -> Element | None:
    """Parse a file of XML; entities and what is too large are refused."""
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        return fromstring(files.read(name, MOST_XML))
    except DefusedXmlException as error:
        found.add("archive-xml-refused", f"{type(error).__name__}: {error}", file=name)
    except InputError as error:
        found.add("archive-xml-refused", error.message, file=name)
    except (ParseError, ValueError) as error:
        found.add("archive-xml-broken", str(error), file=name)
    return None


def _metadata(files: ZipFiles, name: str | None, found: ArchiveCheck) -> None:
    """Check the file that describes the data."""
    if not name:
        found.add("archive-no-eml", "meta.xml names no metadata", severity="warning")
        return
    if name not in files.names():
        if not name.startswith(("http://", "https://")):
            found.add("archive-file-missing", f"meta.xml names {name}", file="meta.xml")
        return
    root = _xml(files, name, found)
    if root is not None:
        found.has_licence = any(
            root.find(f"dataset/{name}") is not None for name in ("intellectualRights", "licensed")
        )
        for slug, message in eml_faults(root):
            found.add(slug, message, file=name)


@dataclass(kw_only=True)
class _Columns:
    """The columns of a table by term, and what is checked in them."""

    at: Mapping[str, int]
    constants: Mapping[str, str]
    names: Mapping[int, str]
    required: list[tuple[int, str]]
    wanted: list[tuple[int, str]]
    checks: list[tuple[int, str, Callable[[str], str]]]


def _table(
    files: ZipFiles,
    table: MetaFile,
    found: ArchiveCheck,
    ids: set[str],
    occurrences: set[str],
) -> None:
    """Check one table, file by file."""
    called = table_of_row_type(table.row_type)
    if table.row_type and not called:
        message = f"row type {table.row_type} is not known here; only its links are checked"
        found.add("archive-row-type-unknown", message, file="meta.xml", severity="warning")
    present = [one.term for one in table.fields]
    for term in wanting(called, present):
        if called == "Occurrence" and term.term == "eventID":
            continue  # the column that links to the core says it
        severity: Severity = "error" if term.level == "required" else "warning"
        message = f"{term.level} term {term.term} ({term.iri}) is absent"
        file = ", ".join(table.locations)
        if not (called == "Event" and term.term == "eventID" and table.id_index is not None):
            found.add("archive-term-absent", message, file=file, severity=severity)
    columns = _columns(called, table)
    own: set[str] = set()
    for location in table.locations:
        if location not in files.names():
            message = f"meta.xml names {location or 'a file without name'}"
            found.add("archive-file-missing", message, file="meta.xml")
            continue
        reader = _Rows(table, location, called, columns, found)
        reader.run(files, ids, occurrences, own)
    if called == "Occurrence":
        occurrences |= own


def _columns(called: str, table: MetaFile) -> _Columns:
    """Find the columns to look at."""
    terms = terms_of(called)
    at = {one.term: one.index for one in table.fields if one.index is not None}
    constants = {one.term: one.default for one in table.fields if one.default is not None}
    names = {index: term.rpartition("/")[2] for term, index in at.items()}
    checks = [
        (index, names[index], _CHECKS[term])
        for term, index in at.items()
        if term in _CHECKS and called
    ]
    required, wanted = (
        [
            (at[term.iri], term.term)
            for term in terms.values()
            if term.level == level and term.iri in at and term.iri not in constants
        ]
        for level in ("required", "strongly recommended")
    )
    return _Columns(
        at=at, constants=constants, names=names, required=required, wanted=wanted, checks=checks
    )


class _Rows:
    """Checks the rows of one file."""

    def __init__(
        self,
        table: MetaFile,
        file: str,
        called: str,
        columns: _Columns,
        found: ArchiveCheck,
    ) -> None:
        self.table, self.file, self.called = table, file, called
        self.columns, self.found = columns, found
        self.n_columns = (
            max([table.id_index if table.id_index is not None else -1, *columns.names]) + 1
        )

    def run(self, files: ZipFiles, ids: set[str], occurrences: set[str], own: set[str]) -> None:
        """Go through the rows once."""
        try:
            codecs.lookup(self.table.encoding)
        except LookupError:
            message = f"encoding {self.table.encoding!r} is not known"
            self.found.add("archive-meta-encoding", message, file="meta.xml")
            return
        n, at = 0, self.table.n_header
        parents: dict[str, int] = {}
        with files.open(self.file) as raw:
            text = io.TextIOWrapper(raw, self.table.encoding, newline="")
            try:
                for number, cells in RowReader(text, self.table):
                    n, at = n + 1, number
                    self._row(number, cells, (ids, occurrences, own), parents)
            except UnicodeDecodeError as error:
                message = f"not {self.table.encoding} ({error.reason})"
                self.found.add("archive-not-encoded", message, file=self.file, row=at + 1)
            except csv.Error as error:
                self.found.add("archive-row-broken", str(error), file=self.file, row=at + 1)
        if not n:
            self.found.add("archive-table-empty", "no rows", file=self.file, severity="warning")
        self.found.n_rows[self.file] = n
        for parent, number in parents.items():
            if parent not in ids:
                message = f"no event has the id {parent!r}"
                self.found.add("archive-link-dangling", message, self.file, number, "parentEventID")

    def _row(
        self,
        number: int,
        cells: list[str],
        known: tuple[set[str], set[str], set[str]],
        parents: dict[str, int],
    ) -> None:
        """Check one row."""
        if len(cells) < self.n_columns:
            message = (
                f"{len(cells)} cells, meta.xml describes {self.n_columns} columns; "
                "is the delimiter another one?"
            )
            self.found.add("archive-row-short", message, self.file, number)
            return
        self._link(number, cells, known)
        for index, name in self.columns.required:
            if not cells[index].strip():
                self.found.add("archive-cell-empty", f"{name} is required", self.file, number, name)
        for index, name in self.columns.wanted:
            if not cells[index]:
                self.found.n_empty[self.file, name] += 1
        for index, name, check in self.columns.checks:
            value = cells[index]
            fault = check(value) if value else ""
            if fault:
                self.found.add("archive-cell-wrong", fault, self.file, number, name)
        self._pairs(number, cells)
        if self.called == "Event":
            at = self.columns.at.get(f"{DWC}parentEventID")
            if at is not None and cells[at] and cells[at] not in parents:
                parents[cells[at]] = number

    def _link(
        self, number: int, cells: list[str], known: tuple[set[str], set[str], set[str]]
    ) -> None:
        """Ids of the core are there and once; those of extensions lead to a row of it."""
        ids, occurrences, own = known
        at = self.table.id_index
        if at is not None:
            value = cells[at]
            if self.table.is_core:
                self._once(number, value, ids, "id")
            elif value not in ids:
                message = f"no row of the core has the id {value!r}"
                self.found.add("archive-link-dangling", message, self.file, number, "coreid")
        occurrence = self.columns.at.get(f"{DWC}occurrenceID")
        if self.called == "Occurrence" and occurrence is not None:
            if not self.table.is_core or occurrence != at:
                self._once(number, cells[occurrence], own, "occurrenceID")
            else:
                own.add(cells[occurrence])
        elif occurrence is not None and cells[occurrence] and occurrences:
            self._lead(number, cells[occurrence], occurrences)

    def _lead(self, number: int, value: str, occurrences: set[str]) -> None:
        """An id of an occurrence leads to one."""
        if value not in occurrences:
            message = f"no occurrence has the id {value!r}"
            self.found.add("archive-link-dangling", message, self.file, number, "occurrenceID")

    def _once(self, number: int, value: str, seen: set[str], column: str) -> None:
        """An id is there, and no other row has it."""
        if not value:
            self.found.add("archive-id-missing", "the id is empty", self.file, number, column)
        elif value in seen:
            self.found.add("archive-id-twice", f"{value!r} stands twice", self.file, number, column)
        seen.add(value)

    def _pairs(self, number: int, cells: list[str]) -> None:
        """Terms that need one another."""
        for first, second in _PAIRS:
            a, b = self.columns.at.get(DWC + first), self.columns.at.get(DWC + second)
            if a is None or not cells[a]:
                continue
            if not (cells[b] if b is not None else self.columns.constants.get(DWC + second)):
                self.found.add(
                    "archive-cell-alone", f"{first} needs {second}", self.file, number, first
                )
        low, high = (
            self.columns.at.get(f"{DWC}{name}DepthInMeters") for name in ("minimum", "maximum")
        )
        if low is not None and high is not None and cells[low] and cells[high]:
            a_deep, b_deep = _number(cells[low]), _number(cells[high])
            if a_deep is not None and b_deep is not None and a_deep > b_deep:
                message = f"{cells[low]} lies below {cells[high]}"
                name = "minimumDepthInMeters"
                self.found.add("archive-cell-wrong", message, self.file, number, name)


_PAIRS = (
    ("decimalLatitude", "decimalLongitude"),
    ("decimalLongitude", "decimalLatitude"),
    ("sampleSizeValue", "sampleSizeUnit"),
    ("organismQuantity", "organismQuantityType"),
    ("organismQuantityType", "organismQuantity"),
    ("measurementUnit", "measurementValue"),
)


def _number(text: str) -> float | None:
    """Return a number; None where it is none."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _within(low: float, high: float, is_open: bool = False) -> Callable[[str], str]:
    """Make a check of a number."""

    def check(text: str) -> str:
        value = _number(text)
        if value is None or not low <= value <= high or (is_open and value == low):
            return f"{text!r}: expected a number from {low:g} to {high:g}"
        return ""

    return check


def _one_of(words: tuple[str, ...]) -> Callable[[str], str]:
    def check(text: str) -> str:
        return "" if text in words else f"{text!r}: expected one of {', '.join(words)}"

    return check


def _date(text: str) -> str:
    return "" if parse_event_date(text) else f"{text!r} is no date of ISO 8601"


def _count(text: str) -> str:
    return "" if text.isascii() and text.isdigit() else f"{text!r}: expected a whole number"


def _code(text: str) -> str:
    is_code = len(text) == 2 and text.isascii() and text.isalpha() and text.isupper()
    return "" if is_code else f"{text!r}: expected two capital letters"


def _name(text: str) -> str:
    low = f" {text.lower()} "
    marks = (" cf. ", " aff. ", " cf ", " aff ")
    return f"{text!r} carries a qualifier" if any(m in low for m in marks) else ""


_CHECKS: Mapping[str, Callable[[str], str]] = {
    f"{DWC}eventDate": _date,
    f"{DWC}decimalLatitude": _within(-90, 90),
    f"{DWC}decimalLongitude": _within(-180, 180),
    f"{DWC}coordinateUncertaintyInMeters": _within(0, 2e7, is_open=True),
    f"{DWC}minimumDepthInMeters": _within(-100, 12000),
    f"{DWC}maximumDepthInMeters": _within(-100, 12000),
    f"{DWC}sampleSizeValue": _within(0, 1e12),
    f"{DWC}countryCode": _code,
    f"{DWC}basisOfRecord": _one_of(BASES),
    f"{DWC}occurrenceStatus": _one_of(STATUSES),
    f"{DWC}scientificName": _name,
    f"{DWC}individualCount": _count,
    f"{DWC}dateIdentified": _date,
    f"{DWC}measurementDeterminedDate": _date,
}


def told_more(found: ArchiveCheck) -> Iterator[str]:
    """Say in words what was counted and not told, and what others will miss."""
    for (slug, file, column), n in found.n_more.items():
        where = f"{file}, column {column}" if column else file
        yield f"{where}: {n} more of the kind {slug}"
    for (file, term), n in found.n_empty.items():
        yield f"strongly recommended: {file}, {term} is empty in {n} of {found.n_rows[file]} rows"
    if not found.has_licence:
        yield "no licence is stated: whoever wants to use the data has to ask"
