"""XMP: what a packet held stays, our note is found again, large packets move out whole."""

from __future__ import annotations

import hashlib
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryslate.formats.xmp import (
    MAX_PACKET,
    NAMESPACE,
    format_xmp,
    join_extended,
    parse_xmp_fields,
    split_xmp,
)

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
OLD = f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="{RDF}">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" dc:source="dive 3">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Wall &amp; ledge</rdf:li></rdf:Alt></dc:title>
</rdf:Description></rdf:RDF></x:xmpmeta>
{" " * 2000}<?xpacket end="w"?>""".encode()
FIELDS = {"colour_fit": "affine", "original_sha256": "ab" * 32}


def test_what_the_packet_held_stays_letter_for_letter() -> None:
    merged = format_xmp(FIELDS, OLD)
    assert "Wall &amp; ledge" in merged.decode()
    assert 'dc:source="dive 3"' in merged.decode()
    assert parse_xmp_fields(merged) == FIELDS


def test_correcting_again_replaces_our_note_only() -> None:
    twice = format_xmp({"colour_fit": "gain_veil"}, format_xmp(FIELDS, OLD))
    assert parse_xmp_fields(twice) == {"colour_fit": "gain_veil"}
    assert twice.count(NAMESPACE.encode()) == 1
    assert b"dive 3" in twice


@pytest.mark.parametrize(
    "rdf",
    [
        f'<RDF xmlns="{RDF}"><Description about=""/></RDF>',
        f'<rdf:RDF xmlns:rdf="{RDF}"/>',
        f'<q:RDF xmlns:q="{RDF}"></q:RDF>',
    ],
)
def test_unusual_spellings_are_extended(rdf: str) -> None:
    assert parse_xmp_fields(format_xmp(FIELDS, rdf.encode())) == FIELDS


@pytest.mark.parametrize(
    "bad",
    [
        b"<x:xmpmeta",
        b"\xff\xfe<\x00",
        b"<a/>",
        b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>',
        OLD[:250],
    ],
)
def test_packet_that_cannot_be_read_is_left_out_and_said_so(bad: bytes) -> None:
    fields = parse_xmp_fields(format_xmp(FIELDS, bad))
    assert fields == {**FIELDS, "earlier_packet": "unreadable, left out"}


@given(st.text(max_size=60))
def test_any_text_goes_in_and_leaves_a_readable_packet(value: str) -> None:
    packet = format_xmp({"card": value}, OLD)
    assert list(parse_xmp_fields(packet)) == ["card"]


def test_name_that_is_no_xml_name_is_refused() -> None:
    with pytest.raises(ValueError, match="XML name"):
        format_xmp({"two words": "x"})


def big_packet(n: int) -> bytes:
    return OLD.replace(b"Wall &amp; ledge", b"w" * n)


def test_padding_alone_moves_nothing() -> None:
    padded = OLD.replace(b" " * 2000, b" " * 70000)
    packet, extended = split_xmp(FIELDS, padded)
    assert len(packet) < 3000
    assert extended == ()


def test_packet_over_64_kb_moves_into_extended_segments() -> None:
    packet, extended = split_xmp(FIELDS, big_packet(150_000))
    assert len(packet) <= MAX_PACKET
    assert parse_xmp_fields(packet) == FIELDS
    assert all(len(part) <= 65533 for part in extended)
    whole = join_extended(extended)
    assert whole is not None
    assert b"w" * 150_000 in whole
    guid = hashlib.md5(whole).hexdigest().upper()
    assert f'HasExtendedXMP="{guid}"' in packet.decode()
    ElementTree.fromstring(whole)


def test_earlier_extended_packet_stays_or_joins_the_moved_one() -> None:
    first, extended = split_xmp(FIELDS, big_packet(80_000))
    again, same = split_xmp({"colour_fit": "gain_veil"}, first, extended)
    assert same == extended
    assert parse_xmp_fields(again) == {"colour_fit": "gain_veil"}
    grown = again.replace(b"</rdf:RDF>", b"<!--" + b"g" * 66_000 + b"--></rdf:RDF>")
    last, moved = split_xmp(FIELDS, grown, extended)
    whole = join_extended(moved)
    assert whole is not None
    assert b"w" * 80_000 in whole
    assert whole.count(b"HasExtendedXMP") == 0
    assert parse_xmp_fields(last) == FIELDS


def test_extended_packet_with_a_missing_piece_is_not_taken() -> None:
    _, extended = split_xmp(FIELDS, big_packet(150_000))
    assert join_extended(extended[:-1]) is None
    assert join_extended(()) is None
