"""
Ecological Metadata Language 2.2: what an archive says of the data set.

Elements stand in the order of the schema (eml-dataset, eml-resource, eml-party, eml-coverage).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

EML = "https://eml.ecoinformatics.org/eml-2.2.0"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
SETTINGS = "urn:dryslate:survey-settings"
"""Namespace of our own element."""
PARTIES = ("creator", "metadataProvider", "associatedParty", "contact")
DATASET_ORDER = (
    "alternateIdentifier",
    "shortName",
    "title",
    "creator",
    "metadataProvider",
    "associatedParty",
    "pubDate",
    "language",
    "series",
    "abstract",
    "keywordSet",
    "additionalInfo",
    "intellectualRights",
    "licensed",
    "distribution",
    "coverage",
    "annotation",
    "purpose",
    "introduction",
    "gettingStarted",
    "acknowledgements",
    "maintenance",
    "contact",
    "publisher",
    "pubPlace",
    "methods",
    "project",
)
"""Children of dataset in the order of the schema (as far as an archive uses them)."""
PARTY_ORDER = (
    "individualName",
    "organizationName",
    "positionName",
    "address",
    "phone",
    "electronicMailAddress",
    "onlineUrl",
    "userId",
    "role",
)
COVERAGE_ORDER = ("geographicCoverage", "temporalCoverage", "taxonomicCoverage")
NEEDED = ("title", "creator", "contact")


@dataclass(frozen=True, slots=True, kw_only=True)
class Party:
    """A person or organisation: what they are of the data set, and how to reach them."""

    element: str
    name: str = ""
    organisation: str = ""
    email: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EmlWords:
    """
    What the file says.

    Parameters
    ----------
    package_id, title, language, published, summary, licence, licence_url, methods : str
    parties : sequence of Party
    box : tuple of float or None
        West, east, north, south of the positions as they are exported.
    where : str
        The places in words.
    first, last : str
        Days of the first and last visit.
    taxa : sequence of (rank, name)
    sampling : str
        How units were sampled.
    notes : sequence of str
        What was coarsened or left out.
    settings : str
        JSON of the project as a whole, for ``additionalMetadata``.
    """

    package_id: str
    title: str
    published: str
    language: str = "en"
    summary: str = ""
    licence: str = ""
    licence_url: str = ""
    methods: str = ""
    parties: Sequence[Party] = ()
    box: tuple[float, float, float, float] | None = None
    where: str = ""
    first: str = ""
    last: str = ""
    taxa: Sequence[tuple[str, str]] = ()
    sampling: str = ""
    notes: Sequence[str] = field(default=())
    settings: str = ""


def write_eml(words: EmlWords) -> str:
    """Write eml.xml."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f"<eml:eml xmlns:eml={quoteattr(EML)} xmlns:xsi={quoteattr(XSI)} "
        f"xsi:schemaLocation={quoteattr(f'{EML} {EML}/eml.xsd')} "
        f'packageId={quoteattr(words.package_id)} system="dryslate" scope="system" '
        f"xml:lang={quoteattr(words.language)}>\n"
        f"  <dataset>\n{_dataset(words)}  </dataset>\n{_settings(words)}</eml:eml>\n"
    )


def _settings(words: EmlWords) -> str:
    """Write what only a program reads, where the schema leaves room for it."""
    if not words.settings:
        return ""
    inside = (
        f"<surveySettings xmlns={quoteattr(SETTINGS)}>{escape(words.settings)}</surveySettings>"
    )
    return f"<additionalMetadata>\n<metadata>\n{inside}\n</metadata>\n</additionalMetadata>\n"


def settings_text(root: Element) -> str | None:
    """Return the JSON that `write_eml` wrote for the project as a whole; None: there is none."""
    found = root.find(f"additionalMetadata/metadata/{{{SETTINGS}}}surveySettings")
    return None if found is None else found.text or ""


def _dataset(words: EmlWords) -> str:
    """Write the parts of a data set in the schema's order."""
    parts = [_text("alternateIdentifier", words.package_id), _text("title", words.title)]
    for element in PARTIES[:3]:
        parts += [_party(one) for one in words.parties if one.element == element]
    parts += [_text("pubDate", words.published), _text("language", words.language)]
    parts.append(_paras("abstract", [words.summary] if words.summary else []))
    parts.append(_paras("additionalInfo", words.notes))
    parts.append(_paras("intellectualRights", [words.licence] if words.licence else []))
    if words.licence_url:
        inside = _text("licenseName", words.licence) + _text("url", words.licence_url)
        parts.append(_wrap("licensed", inside))
    parts.append(_coverage(words))
    parts += [_party(one) for one in words.parties if one.element == "contact"]
    parts.append(_methods(words))
    return "".join(parts)


def _text(name: str, text: str) -> str:
    return f"<{name}>{escape(text)}</{name}>\n" if text else ""


def _wrap(name: str, inside: str) -> str:
    return f"<{name}>\n{inside}</{name}>\n" if inside else ""


def _paras(name: str, texts: Sequence[str]) -> str:
    lines = [line for text in texts for line in text.split("\n") if line]
    return _wrap(name, "".join(_text("para", line) for line in lines))


def _party(one: Party) -> str:
    """Write a party; a name's last word is its surname, which the schema wants."""
    given, _, last = one.name.rpartition(" ")
    person = _wrap("individualName", _text("givenName", given) + _text("surName", last))
    inside = person + _text("organizationName", one.organisation)
    inside += _text("electronicMailAddress", one.email)
    role = one.role if one.element == "associatedParty" else ""
    return _wrap(one.element, inside + _text("role", role))


def _coverage(words: EmlWords) -> str:
    """Write where, when and what."""
    parts = ""
    if words.box is not None:
        names = ("west", "east", "north", "south")
        sides = "".join(
            _text(f"{name}BoundingCoordinate", f"{value:.6f}".rstrip("0").rstrip("."))
            for name, value in zip(names, words.box, strict=True)
        )
        described = _text("geographicDescription", words.where or "survey sites")
        parts += _wrap("geographicCoverage", described + _wrap("boundingCoordinates", sides))
    if words.first:
        days = [_wrap(n, _text("calendarDate", d)) for n, d in _days(words)]
        inside = _wrap("rangeOfDates", "".join(days)) if len(days) == 2 else days[0]
        parts += _wrap("temporalCoverage", inside)
    if words.taxa:
        rows = "".join(
            _wrap(
                "taxonomicClassification",
                _text("taxonRankName", rank) + _text("taxonRankValue", name),
            )
            for rank, name in words.taxa
        )
        parts += _wrap("taxonomicCoverage", rows)
    return _wrap("coverage", parts)


def _days(words: EmlWords) -> list[tuple[str, str]]:
    if words.first == words.last:
        return [("singleDateTime", words.first)]
    return [("beginDate", words.first), ("endDate", words.last)]


def _methods(words: EmlWords) -> str:
    """Write how it was done."""
    step = _paras("description", [words.methods or words.sampling])
    if not step:
        return ""
    parts = _wrap("methodStep", step)
    if words.sampling:
        extent = _wrap("studyExtent", _paras("description", [words.where or "survey sites"]))
        parts += _wrap("sampling", extent + _paras("samplingDescription", [words.sampling]))
    return _wrap("methods", parts)


def eml_faults(root: Element) -> list[tuple[str, str]]:
    """
    List what is wrong with an EML file that was parsed: root, what is needed, and the order.

    Returns
    -------
    list of (slug, message)
        ``archive-eml-root``, ``archive-eml-missing``, ``archive-eml-order``.
    """
    if not root.tag.endswith("}eml"):
        return [("archive-eml-root", f"the first element is {root.tag}, not eml")]
    dataset = root.find("dataset")
    if dataset is None:
        return [("archive-eml-missing", "dataset is missing")]
    faults = [
        ("archive-eml-missing", f"dataset/{name} is missing")
        for name in NEEDED
        if dataset.find(name) is None
    ]
    if not root.get("packageId"):
        faults.append(("archive-eml-missing", "packageId is missing"))
    faults += _order("dataset", dataset, DATASET_ORDER)
    for name in PARTIES:
        for party in dataset.findall(name):
            faults += _order(name, party, PARTY_ORDER)
            if not any(party.find(n) is not None for n in PARTY_ORDER[:3]):
                message = f"{name} names neither person, organisation nor position"
                faults.append(("archive-eml-missing", message))
    coverage = dataset.find("coverage")
    if coverage is not None:
        faults += _order("coverage", coverage, COVERAGE_ORDER)
    return faults


def _order(called: str, element: Element, order: Sequence[str]) -> list[tuple[str, str]]:
    """Return a fault where children do not stand in the schema's order."""
    at: Mapping[str, int] = {name: k for k, name in enumerate(order)}
    places = [at[child.tag] for child in element if child.tag in at]
    if places == sorted(places):
        return []
    names = ", ".join(child.tag for child in element)
    return [("archive-eml-order", f"children of {called} out of the schema's order: {names}")]
