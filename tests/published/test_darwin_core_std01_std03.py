"""
Darwin Core text archives: meta.xml, terms, row types and vocabularies (STD-01 to STD-03, STD-09).

Sources: TDWG Darwin Core Text Guide section 2 and its schema tdwg_dwc_text.xsd; TDWG Darwin Core
terms; core and extension definitions of Event, Occurrence and ExtendedMeasurementOrFact; eventDate:
ISO 8601-1:2019 and the examples of the term. Levels of terms are publishing practice.
"""

from __future__ import annotations

import csv
import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from defusedxml.ElementTree import fromstring

from dryslate.app.archive_tables import FILES, described
from dryslate.formats import darwin_core
from dryslate.formats.dwca_meta import DEFAULTS, read_meta, write_meta
from dryslate.formats.eventdate import interval_of, parse_event_date, span_of

CHECKS = Path(__file__).parent / "checks"
TERMS = list(csv.DictReader((CHECKS / "std_dwc_terms.csv").read_text("utf-8").splitlines()))
VOCAB = json.loads((CHECKS / "std_dwc_classes_vocab.json").read_text("utf-8"))
RULES = json.loads((CHECKS / "std_dwca_meta_rules.json").read_text("utf-8"))["cases"][0]["out"]
DATES = json.loads((CHECKS / "std_eventdate.json").read_text("utf-8"))["cases"]
EXAMPLE = (CHECKS / "std_dwca_meta_example.xml").read_text("utf-8")


@pytest.mark.parametrize("row", TERMS, ids=lambda r: f"{r['table']}.{r['term']}")
def test_every_term_has_its_address_and_level(row) -> None:
    found = darwin_core.terms_of(row["table"])[row["term"]]
    assert (found.iri, found.level) == (row["iri"], row["level"])


def test_row_types_words_and_namespaces() -> None:
    by_name = {case["name"]: case["out"] for case in VOCAB["cases"]}
    for name, iri in by_name["rowType"].items():
        ours = "Multimedia" if name == "Multimedia_simple" else name
        assert darwin_core.ROW_TYPES[ours] == iri
    assert list(darwin_core.BASES) == by_name["basisOfRecord"]["allowed"]
    assert list(darwin_core.STATUSES) == by_name["occurrenceStatus"]["allowed"]
    spaces = VOCAB["namespaces"]
    assert spaces["dwc"] == darwin_core.DWC
    assert spaces["dcterms"] == darwin_core.DCTERMS
    assert spaces["obis"] == darwin_core.OBIS
    assert spaces["text"] == darwin_core.TEXT


def test_example_is_read_without_a_fault() -> None:
    meta = read_meta(fromstring(EXAMPLE))
    assert meta.faults == ()
    assert meta.metadata == "eml.xml"
    core, occurrence, measurement = meta.tables
    assert (core.is_core, core.id_index, core.fields_by, core.lines_by) == (True, 0, "\t", "\n")
    assert core.enclosed_by == ""
    assert core.n_header == 1
    assert core.fields[-1].index is None
    assert core.fields[-1].default == "EPSG:4326"
    assert occurrence.row_type == darwin_core.ROW_TYPES["Occurrence"]
    assert measurement.locations == ("extendedmeasurementorfact.txt",)


def test_defaults_hold_where_nothing_is_said() -> None:
    assert DEFAULTS["fieldsTerminatedBy"] == RULES["defaults"]["fieldsTerminatedBy"]
    assert DEFAULTS["linesTerminatedBy"] == RULES["defaults"]["linesTerminatedBy"]
    assert DEFAULTS["fieldsEnclosedBy"] == RULES["defaults"]["fieldsEnclosedBy"]
    assert DEFAULTS["encoding"] == RULES["defaults"]["encoding"]
    assert DEFAULTS["ignoreHeaderLines"] == str(RULES["defaults"]["ignoreHeaderLines"])
    assert DEFAULTS["dateFormat"] == RULES["defaults"]["dateFormat"]
    bare = (
        f'<archive xmlns="{darwin_core.TEXT}"><core rowType="x">'
        '<files><location>a.csv</location></files><id index="0"/></core></archive>'
    )
    (core,) = read_meta(fromstring(bare)).tables
    assert (core.fields_by, core.lines_by, core.enclosed_by) == (",", "\n", '"')
    assert (core.encoding, core.n_header) == ("UTF-8", 0)


def test_what_we_write_keeps_every_rule() -> None:
    root = fromstring(write_meta([described(name) for name in FILES]))
    assert root.tag == f"{{{darwin_core.TEXT}}}archive"
    assert RULES["root"].endswith(darwin_core.TEXT)
    cores = root.findall(f"{{{darwin_core.TEXT}}}core")
    assert len(cores) == RULES["core_count"]
    for element in root:
        name = element.tag.rpartition("}")[2]
        order = RULES["core_child_order" if name == "core" else "extension_child_order"]
        parts = [child.tag.rpartition("}")[2] for child in element]
        assert parts == sorted(parts, key=order.index)
        assert element.get("rowType")
        indices = [int(f.get("index")) for f in element if f.tag.endswith("}field")]
        assert min(indices) in (RULES["field_index_base"], RULES["field_index_base"] + 1)
        assert all(f.get("term") for f in element if f.tag.endswith("}field"))
    assert read_meta(root).faults == ()


BROKEN = [
    (("<archive ", "<archives "), ("</archive>", "</archives>"), "archive-meta-root"),
    (("<core ", "<extension "), ("</core>", "</extension>"), "archive-meta-core"),
    (('rowType="http://rs.tdwg.org/dwc/terms/Event"', ""), None, "archive-meta-row-type"),
    (("<location>event.txt</location>", ""), None, "archive-meta-location"),
    (('<id index="0"/>', ""), None, "archive-meta-id"),
    (('<coreid index="0"/>', '<coreId index="0"/>'), None, "archive-meta-element"),
    (('<coreid index="0"/>', '<coreId index="0"/>'), None, "archive-meta-id"),
    ((' term="http://rs.tdwg.org/dwc/terms/eventDate"', ""), None, "archive-meta-field"),
    (('index="2" term', 'index="two" term'), None, "archive-meta-field"),
    (('<field index="2" ', "<field "), None, "archive-meta-field"),
    (('ignoreHeaderLines="1"', 'ignoreHeaderLines="yes"'), None, "archive-meta-field"),
]


@pytest.mark.parametrize(("first", "second", "slug"), BROKEN, ids=lambda x: str(x)[:40])
def test_each_broken_rule_is_named(first, second, slug: str) -> None:
    text = EXAMPLE
    for change in (first, second):
        if change is not None:
            assert change[0] in text
            text = text.replace(change[0], change[1], 1)
    assert slug in [fault for fault, _ in read_meta(fromstring(text)).faults]


def test_parts_out_of_order_are_named() -> None:
    parts = '    <files><location>event.txt</location></files>\n    <id index="0"/>\n'
    turned = '    <id index="0"/>\n    <files><location>event.txt</location></files>\n'
    assert parts in EXAMPLE
    faults = read_meta(fromstring(EXAMPLE.replace(parts, turned))).faults
    assert [slug for slug, _ in faults] == ["archive-meta-order"]


@pytest.mark.parametrize("case", DATES, ids=lambda c: c["name"])
def test_dates_and_intervals(case) -> None:
    given, wanted = case["in"], case["out"]
    if "minutes" in given:
        assert interval_of(given["start"], given["minutes"]) == wanted["eventDate"]
        assert parse_event_date(wanted["eventDate"]) is not None
        return
    if "first" in given:
        assert span_of(given["first"], given["last"]) == wanted["eventDate"]
        return
    found = parse_event_date(given["eventDate"])
    assert (found is not None) == wanted["valid"]
    if found is not None:
        assert (found.start, found.end) == (wanted["start"], wanted["end_exclusive_or_last"])


@pytest.mark.parametrize(
    "text",
    [
        "2024-02-30",
        "2024-03-05T25:00",
        "2024-03-05T09:10+25:00",
        "2024-03T09:10",
        "2024-03-05/2024-03-04",
        "2024-03-05/",
        "24-03-05",
        "2024-3-5",
        "2024-03-05 09:10",
        "",
    ],
)
def test_more_dates_that_are_none(text: str) -> None:
    assert parse_event_date(text) is None


def test_interval_across_offsets_keeps_its_length() -> None:
    start, end = interval_of("2024-03-05T09:10:00+08:00", 44).split("/")
    length = datetime.fromisoformat(end) - datetime.fromisoformat(start)
    assert length == timedelta(minutes=44)
