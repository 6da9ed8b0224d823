"""
The descriptor of a Darwin Core text archive: meta.xml (TDWG Darwin Core Text Guide, section 2).

The prose of the guide writes coreId, its schema coreid: the schema's form is written, and the
other is named as a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

from dryslate.formats.darwin_core import TEXT

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

DEFAULTS = {
    "fieldsTerminatedBy": ",",
    "linesTerminatedBy": "\\n",
    "fieldsEnclosedBy": '"',
    "encoding": "UTF-8",
    "ignoreHeaderLines": "0",
    "dateFormat": "YYYY-MM-DD",
}
"""What holds where meta.xml says nothing."""
_ORDER = {"core": ("files", "id", "field"), "extension": ("files", "coreid", "field")}


@dataclass(frozen=True, slots=True, kw_only=True)
class MetaField:
    """A column, or a constant where `index` is None."""

    term: str
    index: int | None = None
    default: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MetaFile:
    """
    One table of an archive as meta.xml describes it.

    Parameters
    ----------
    is_core : bool
    row_type : str
    locations : tuple of str
    id_index : int or None
        Column of the core's id (core), or of the core row it belongs to (extension).
    fields : tuple of MetaField
    fields_by, lines_by, enclosed_by, encoding : str
        As they are, not as they are escaped.
    n_header : int
    """

    is_core: bool
    row_type: str
    locations: tuple[str, ...]
    id_index: int | None = 0
    fields: tuple[MetaField, ...] = ()
    fields_by: str = "\t"
    lines_by: str = "\n"
    enclosed_by: str = ""
    encoding: str = "UTF-8"
    n_header: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Meta:
    """
    What meta.xml says.

    Parameters
    ----------
    tables : tuple of MetaFile
        The core first.
    metadata : str or None
        File that describes the data.
    faults : tuple of (slug, message)
    """

    tables: tuple[MetaFile, ...] = ()
    metadata: str | None = None
    faults: tuple[tuple[str, str], ...] = field(default=())


def write_meta(tables: Sequence[MetaFile], metadata: str = "eml.xml") -> str:
    r"""
    Write meta.xml; tab and line feed stand escaped, as the guide wants.

    Examples
    --------
    >>> one = MetaFile(is_core=True, row_type="x", locations=("a.txt",))
    >>> 'fieldsTerminatedBy="\\t"' in write_meta([one])
    True
    """
    lines = ['<?xml version="1.0" encoding="UTF-8"?>']
    lines.append(f"<archive xmlns={quoteattr(TEXT)} metadata={quoteattr(metadata)}>")
    for table in tables:
        name, link = ("core", "id") if table.is_core else ("extension", "coreid")
        marks = {
            "encoding": table.encoding,
            "fieldsTerminatedBy": _escaped(table.fields_by),
            "linesTerminatedBy": _escaped(table.lines_by),
            "fieldsEnclosedBy": table.enclosed_by,
            "ignoreHeaderLines": str(table.n_header),
            "rowType": table.row_type,
        }
        said = " ".join(f"{key}={quoteattr(value)}" for key, value in marks.items())
        lines.append(f"  <{name} {said}>")
        places = "".join(f"<location>{location}</location>" for location in table.locations)
        lines.append(f"    <files>{places}</files>")
        lines.append(f'    <{link} index="{table.id_index}"/>')
        for one in table.fields:
            at = "" if one.index is None else f'index="{one.index}" '
            constant = "" if one.default is None else f" default={quoteattr(one.default)}"
            lines.append(f"    <field {at}term={quoteattr(one.term)}{constant}/>")
        lines.append(f"  </{name}>")
    return "\n".join((*lines, "</archive>", ""))


def _escaped(text: str) -> str:
    return text.replace("\t", "\\t").replace("\n", "\\n").replace("\r", "\\r")


def _plain(text: str) -> str:
    return text.replace("\\t", "\t").replace("\\n", "\n").replace("\\r", "\r")


def read_meta(root: Element) -> Meta:
    """
    Read meta.xml that was parsed (without entities), with every fault of its form.

    Parameters
    ----------
    root : Element

    Returns
    -------
    Meta
        Faults: ``archive-meta-root``, ``archive-meta-core``, ``archive-meta-element``,
        ``archive-meta-order``, ``archive-meta-row-type``, ``archive-meta-location``,
        ``archive-meta-id``, ``archive-meta-field``, ``archive-meta-encoding``.
    """
    faults: list[tuple[str, str]] = []
    if root.tag != f"{{{TEXT}}}archive":
        faults.append(
            ("archive-meta-root", f"the first element is {root.tag}, not archive in {TEXT}")
        )
        return Meta(faults=tuple(faults))
    tables: list[MetaFile] = []
    n_cores = len(root.findall(f"{{{TEXT}}}core"))
    if n_cores != 1:
        faults.append(("archive-meta-core", f"{n_cores} core elements; there is exactly one"))
    has_extensions = root.find(f"{{{TEXT}}}extension") is not None
    for element in root:
        name = _name(element)
        if name not in _ORDER:
            faults.append(("archive-meta-element", f"an element {name} does not belong in archive"))
            continue
        if name == "core" and any(t.is_core for t in tables):
            continue
        tables.append(_table(element, name, has_extensions, faults))
    tables.sort(key=lambda table: not table.is_core)
    return Meta(tables=tuple(tables), metadata=root.get("metadata"), faults=tuple(faults))


def _name(element: Element) -> str:
    """Return an element's name; one of another namespace keeps that before it."""
    tag = str(element.tag)
    return tag.removeprefix(f"{{{TEXT}}}")


def _table(
    element: Element, name: str, has_extensions: bool, faults: list[tuple[str, str]]
) -> MetaFile:
    """Read a core or an extension."""
    row_type = element.get("rowType", "")
    called = f"{name} {row_type or 'without rowType'}"
    if not row_type:
        faults.append(("archive-meta-row-type", f"{name}: rowType is missing"))
    order = _ORDER[name]
    names = [_name(child) for child in element]
    for child in names:
        if child not in order:
            faults.append(("archive-meta-element", f"{called}: an element {child} does not belong"))
    known = [child for child in names if child in order]
    if known != sorted(known, key=order.index):
        faults.append(
            ("archive-meta-order", f"{called}: its parts stand in the order {', '.join(order)}")
        )
    locations = tuple(
        (one.text or "").strip() for one in element.findall(f"{{{TEXT}}}files/{{{TEXT}}}location")
    )
    if not locations or not all(locations):
        faults.append(("archive-meta-location", f"{called}: files names no location"))
    link = order[1]
    at = element.find(f"{{{TEXT}}}{link}")
    id_index = _whole(at.get("index")) if at is not None else None
    if id_index is None and (name == "extension" or has_extensions):
        faults.append(("archive-meta-id", f"{called}: {link} with an index is missing"))
    n_header = _whole(element.get("ignoreHeaderLines", DEFAULTS["ignoreHeaderLines"]))
    if n_header is None:
        faults.append(("archive-meta-field", f"{called}: ignoreHeaderLines is no whole number"))
    return MetaFile(
        is_core=name == "core",
        row_type=row_type,
        locations=locations,
        id_index=id_index,
        fields=tuple(_fields(element, called, faults)),
        fields_by=_plain(element.get("fieldsTerminatedBy", DEFAULTS["fieldsTerminatedBy"])),
        lines_by=_plain(element.get("linesTerminatedBy", DEFAULTS["linesTerminatedBy"])),
        enclosed_by=element.get("fieldsEnclosedBy", DEFAULTS["fieldsEnclosedBy"]),
        encoding=element.get("encoding", DEFAULTS["encoding"]),
        n_header=n_header or 0,
    )


def _fields(element: Element, called: str, faults: list[tuple[str, str]]) -> list[MetaField]:
    """Read the fields of a table."""
    found: list[MetaField] = []
    for child in element.findall(f"{{{TEXT}}}field"):
        term, index, default = child.get("term", ""), child.get("index"), child.get("default")
        if not term:
            faults.append(("archive-meta-field", f"{called}: a field without term"))
            continue
        at = None if index is None else _whole(index)
        if index is not None and at is None:
            message = f"{called}: index {index!r} of {term} is no whole number from 0"
            faults.append(("archive-meta-field", message))
            continue
        if at is None and default is None:
            message = f"{called}: {term} has neither index nor default"
            faults.append(("archive-meta-field", message))
            continue
        if any(one.term == term for one in found):
            faults.append(("archive-meta-field", f"{called}: {term} stands twice"))
        found.append(MetaField(term=term, index=at, default=default))
    return found


def _whole(text: str | None) -> int | None:
    """Return a whole number from 0; None where it is none."""
    return int(text) if text is not None and text.isascii() and text.isdigit() else None
