"""Archives that somebody else made badly: every fault is named with its place, none is a crash."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import pytest

from dryslate.app.archive_check import MOST_TOLD, check_archive, told_more
from dryslate.base.errors import InputError
from dryslate.files.zip_reader import zip_box

CHECKS = Path(__file__).resolve().parents[1] / "published" / "checks"
META = (CHECKS / "std_dwca_meta_example.xml").read_text("utf-8")
EML = (
    '<eml:eml xmlns:eml="https://eml.ecoinformatics.org/eml-2.2.0" packageId="x" system="s">'
    "<dataset><title>t</title><creator><organizationName>o</organizationName></creator>"
    "<contact><organizationName>o</organizationName></contact></dataset></eml:eml>"
)
EVENT = "eventID\tparentEventID\teventDate\tprotocol\tvalue\tunit\tlat\tlon\n"
EVENT += "e1\t\t2024-03-05\tbelt\t10\tm2\t-8.35\t115.51\n"
EVENT += "e2\te1\t2024-03-05T09:10+08:00\tbelt\t10\tm2\t-8.35\t115.51\n"
OCCURRENCE = "id\toccurrenceID\tbasisOfRecord\tscientificName\tscientificNameID\tstatus\n"
OCCURRENCE += "e2\to1\tHumanObservation\tPorites\turn:x\tpresent\n"
MEASUREMENT = "id\toccurrenceID\ttype\ttypeID\tvalue\tunit\tunitID\taccuracy\n"
MEASUREMENT += "e2\to1\tdiameter\t\t12\tcm\t\t0.5\n"
WHOLE = {
    "meta.xml": META,
    "eml.xml": EML,
    "event.txt": EVENT,
    "occurrence.txt": OCCURRENCE,
    "extendedmeasurementorfact.txt": MEASUREMENT,
}


def packed(files: dict[str, str | bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, text in files.items():
            zipped.writestr(name, text)
    return out.getvalue()


@pytest.fixture
def look(tmp_path: Path):
    """Check an archive of given files."""

    def check(changes: dict[str, str | bytes | None]):
        files = {n: t for n, t in (WHOLE | changes).items() if t is not None}
        path = tmp_path / "other.zip"
        path.write_bytes(packed(files))
        with zip_box(path) as box:
            return check_archive(box, path.name)

    return check


def told(found) -> list[tuple[str, str]]:
    return [(p.slug, p.place) for p in found.problems if p.severity == "error"]


def test_whole_archive_of_others_has_warnings_for_recommended_terms_only(look) -> None:
    found = look({})
    assert told(found) == []
    assert found.is_sound
    assert {p.slug for p in found.problems} == {"archive-term-absent"}
    absent = " ".join(p.message for p in found.problems)
    assert "coordinateUncertaintyInMeters" in absent
    assert found.n_rows == {
        "event.txt": 2,
        "occurrence.txt": 1,
        "extendedmeasurementorfact.txt": 1,
    }


@pytest.mark.parametrize(
    ("file", "old", "new", "slug", "place"),
    [
        ("event.txt", "e2\te1", "e1\te1", "archive-id-twice", "event.txt, row 3, column id"),
        ("event.txt", "e2\te1", "\te1", "archive-id-missing", "event.txt, row 3, column id"),
        (
            "event.txt",
            "e2\te1",
            "e2\te9",
            "archive-link-dangling",
            "event.txt, row 3, column parentEventID",
        ),
        (
            "event.txt",
            "2024-03-05\t",
            "05/03/2024\t",
            "archive-cell-wrong",
            "event.txt, row 2, column eventDate",
        ),
        (
            "event.txt",
            "2024-03-05\t",
            "\t",
            "archive-cell-empty",
            "event.txt, row 2, column eventDate",
        ),
        (
            "event.txt",
            "-8.35\t115.51\ne2",
            "115.51\t-8.35\ne2",
            "archive-cell-wrong",
            "event.txt, row 2, column decimalLatitude",
        ),
        (
            "event.txt",
            "-8.35\t115.51\ne2",
            "8,35\t115.51\ne2",
            "archive-cell-wrong",
            "event.txt, row 2, column decimalLatitude",
        ),
        (
            "event.txt",
            "10\tm2\t-8.35\t115.51\ne2",
            "10\t\t-8.35\t115.51\ne2",
            "archive-cell-alone",
            "event.txt, row 2, column sampleSizeValue",
        ),
        ("occurrence.txt", "e2\to1", "e7\to1", "archive-link-dangling", "occurrence.txt, row 2, "
         "column coreid"),
        ("occurrence.txt", "HumanObservation", "Seen", "archive-cell-wrong", "occurrence.txt, "
         "row 2, column basisOfRecord"),
        ("occurrence.txt", "present", "yes", "archive-cell-wrong", "occurrence.txt, row 2, "
         "column occurrenceStatus"),
        ("occurrence.txt", "Porites", "Porites cf. lutea", "archive-cell-wrong", "occurrence.txt, "
         "row 2, column scientificName"),
        ("occurrence.txt", "e2\to1", "e2\t", "archive-id-missing", "occurrence.txt, row 2, "
         "column occurrenceID"),
        ("extendedmeasurementorfact.txt", "e2\to1", "e2\to9", "archive-link-dangling",
         "extendedmeasurementorfact.txt, row 2, column occurrenceID"),
        ("extendedmeasurementorfact.txt", "diameter\t\t12", "diameter\t\t", "archive-cell-alone",
         "extendedmeasurementorfact.txt, row 2, column measurementUnit"),
    ],
)  # fmt: skip
def test_fault_of_a_cell_is_named_with_file_row_and_column(
    look, file, old, new, slug, place
) -> None:
    assert old in WHOLE[file]
    assert (slug, place) in told(look({file: WHOLE[file].replace(old, new, 1)}))


def test_wrong_delimiter_is_guessed_at(look) -> None:
    found = look({"event.txt": EVENT.replace("\t", ",")})
    (first, *_) = [p for p in found.problems if p.slug == "archive-row-short"]
    assert "delimiter" in first.message
    assert first.place == "event.txt, row 2"


def test_comma_and_quotes_are_read_where_meta_says_so(look) -> None:
    meta = META.replace('fieldsTerminatedBy="\\t"', 'fieldsTerminatedBy=","', 1)
    meta = meta.replace('fieldsEnclosedBy=""', "fieldsEnclosedBy='\"'", 1)
    event = EVENT.replace("belt", '"a belt, and\nmore"').replace("\t", ",")
    assert told(look({"meta.xml": meta, "event.txt": event})) == []


def test_required_term_that_no_column_gives(look) -> None:
    line = '    <field index="2" term="http://rs.tdwg.org/dwc/terms/eventDate"/>\n'
    assert line in META
    found = look({"meta.xml": META.replace(line, "")})
    assert told(found) == [("archive-term-absent", "event.txt")]


@pytest.mark.parametrize(
    ("changes", "slug"),
    [
        ({"meta.xml": None}, "archive-no-meta"),
        ({"meta.xml": None, "inner/meta.xml": META}, "archive-no-meta"),
        ({"meta.xml": "<archive"}, "archive-xml-broken"),
        ({"meta.xml": "<archive/>"}, "archive-meta-root"),
        ({"event.txt": None}, "archive-file-missing"),
        ({"eml.xml": None}, "archive-file-missing"),
        ({"eml.xml": "<eml/>"}, "archive-eml-root"),
        ({"eml.xml": EML.replace("<title>t</title>", "")}, "archive-eml-missing"),
        ({"eml.xml": EML.replace("organizationName", "phone")}, "archive-eml-missing"),
        (
            {"eml.xml": EML.replace("<title>t</title>", "").replace("<contact>", "<title>t</title>"
             "<contact>")},
            "archive-eml-order",
        ),
        ({"meta.xml": META.replace('encoding="UTF-8" f', 'encoding="martian" f')},
         "archive-meta-encoding"),
        ({"event.txt": EVENT.encode("utf-16")}, "archive-not-encoded"),
        ({"../outside.txt": "x"}, "archive-path"),
    ],
)  # fmt: skip
def test_fault_of_the_whole_is_named(look, changes, slug: str) -> None:
    assert slug in [name for name, _ in told(look(changes))]


def test_entities_are_refused(look) -> None:
    bomb = '<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "aaaaaaaaaa">'
    bomb += "".join(
        f'<!ENTITY a{k} "{"&a;" if k == 0 else f"&a{k - 1};"}{"&a;" * 9}">' for k in range(12)
    )
    found = look({"meta.xml": bomb + "]><archive>&a11;</archive>"})
    assert told(found) == [("archive-xml-refused", "meta.xml")]
    outside = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><eml>&e;</eml>'
    assert ("archive-xml-refused", "eml.xml") in told(look({"eml.xml": outside}))


def test_xml_larger_than_any_descriptor_is_not_read(look) -> None:
    found = look({"eml.xml": EML + " " * (21 << 20)})
    assert ("archive-xml-refused", "eml.xml") in told(found)


@pytest.mark.parametrize(
    ("data", "slug"),
    [
        (b"no zip at all", "archive-not-zip"),
        (b"", "archive-not-zip"),
        (packed(WHOLE)[:-40], "archive-not-zip"),
        (packed({"bomb.txt": bytes(64 << 20)} | WHOLE), None),
    ],
)
def test_what_is_no_zip_is_told(tmp_path: Path, data: bytes, slug: str | None) -> None:
    path = tmp_path / "other.zip"
    path.write_bytes(data)
    if slug is None:  # 64 MB of nothing pack by 1:1000, which deflate can and is still refused not
        with zip_box(path) as box:
            assert check_archive(box, path.name).is_sound
        return
    with pytest.raises(InputError) as error, zip_box(path):
        pass
    assert error.value.slug == slug


def test_zip_that_swells_beyond_measure_is_refused(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "other.zip"
    path.write_bytes(packed({"bomb.txt": bytes(8 << 20)}))
    monkeypatch.setattr("dryslate.files.zip_reader.MOST_BYTES", 4 << 20)
    with pytest.raises(InputError, match="archive-too-large"), zip_box(path):
        pass


def test_damaged_file_in_a_zip_is_told(tmp_path: Path) -> None:
    data = bytearray(packed(WHOLE))
    at = data.index(b"event.txt") + 20
    data[at : at + 10] = bytes(10)
    path = tmp_path / "other.zip"
    path.write_bytes(data)
    with pytest.raises(InputError, match="archive-unreadable"), zip_box(path) as box:
        check_archive(box, path.name)


def test_thousand_faults_alike_are_counted_and_not_all_told(look) -> None:
    rows = "".join(f"e9\to{k}\tHumanObservation\tPorites\turn:x\tpresent\n" for k in range(1000))
    found = look({"occurrence.txt": OCCURRENCE + rows.replace("o1\t", "p1\t")})
    n_told = sum(p.slug == "archive-link-dangling" for p in found.problems)
    assert n_told == MOST_TOLD
    assert next(told_more(found)) == (
        f"occurrence.txt, column coreid: {1000 - MOST_TOLD} more of the kind archive-link-dangling"
    )


def test_row_type_that_is_not_known_is_a_warning_and_its_links_are_checked(look) -> None:
    meta = META.replace(
        "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact", "http://example.org/Own"
    )
    bad = MEASUREMENT.replace("e2\to1", "e8\to1")
    found = look({"meta.xml": meta, "extendedmeasurementorfact.txt": bad})
    assert "archive-row-type-unknown" in [p.slug for p in found.problems]
    assert told(found) == [
        ("archive-link-dangling", "extendedmeasurementorfact.txt, row 2, column coreid")
    ]


def test_table_without_rows_and_archive_without_description_are_warnings(look) -> None:
    empty = look({"extendedmeasurementorfact.txt": MEASUREMENT.split("\n")[0] + "\n"})
    assert "archive-table-empty" in [p.slug for p in empty.problems]
    bare = look({"meta.xml": META.replace(' metadata="eml.xml"', "")})
    assert "archive-no-eml" in [p.slug for p in bare.problems]
    assert empty.is_sound
    assert bare.is_sound


def test_cell_longer_than_any_is_told(look) -> None:
    meta = META.replace('fieldsEnclosedBy=""', "fieldsEnclosedBy='\"'", 1)
    before = csv.field_size_limit(20)
    try:
        found = look({"meta.xml": meta, "event.txt": EVENT.replace("belt", "b" * 30)})
    finally:
        csv.field_size_limit(before)
    assert ("archive-row-broken", "event.txt, row 2") in told(found)


def test_row_that_never_ends_is_told_and_not_read_whole(look, monkeypatch) -> None:
    monkeypatch.setattr("dryslate.formats.dwca_rows.LONGEST_ROW", 200_000)
    found = look({"occurrence.txt": OCCURRENCE + "0" * 500_000})
    assert ("archive-row-broken", "occurrence.txt, row 3") in told(found)
    assert any("line end" in one.message for one in found.problems)
