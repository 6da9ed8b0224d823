"""What cannot be right is unknown; nothing in a broken block costs the surveyor the photo."""

from __future__ import annotations

import struct
from contextlib import suppress
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.base.errors import FormatError
from dryslate.formats.exif import Entry, ExifTree, numbers_of, parse_exif, text_of
from dryslate.formats.exif_edit import (
    bytes_entry,
    format_exif,
    numbers_entry,
    patch_exif,
    text_entry,
    without_maker_notes,
)
from dryslate.formats.exif_facts import ExifFacts, facts_from_exif

SHORT, LONG, RATIONAL, SRATIONAL = 3, 4, 5, 10
MAIN = {0x0110: text_entry("Model One")}


def facts(
    exif: dict[int, Entry] | None = None,
    gps: dict[int, Entry] | None = None,
    main: dict[int, Entry] | None = None,
) -> ExifFacts:
    tree = ExifTree(order="<", main=main or MAIN, exif=exif or {}, gps=gps or {})
    return facts_from_exif(parse_exif(format_exif(tree), "a.jpg"))


@pytest.mark.parametrize(
    "text",
    [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        "2030:13:01 00:00:00",
        "2030:02:30 10:00:00",
        "",
    ],
)
def test_date_that_cannot_be_is_unknown(text: str) -> None:
    assert facts({0x9003: bytes_entry(text.encode() + b"\0", 2)}).taken_local is None


def test_time_of_digitising_stands_in_with_its_own_offset() -> None:
    found = facts(
        {
            0x9003: text_entry("0000:00:00 00:00:00"),
            0x9011: text_entry("+01:00"),
            0x9004: text_entry("2030:05:06 07:08:09"),
            0x9012: text_entry("-05:30"),
        }
    )
    assert (found.taken_local, found.utc_offset) == ("2030-05-06T07:08:09", "-05:30")


@pytest.mark.parametrize("offset", ["", "   :  ", "+25:00", "+01:75", "1:00", "local"])
def test_offset_that_cannot_be_is_unknown(offset: str) -> None:
    found = facts(
        {
            0x9003: text_entry("2030:05:06 07:08:09"),
            0x9011: bytes_entry(offset.encode() + b"\0", 2),
        }
    )
    assert found.taken_local == "2030-05-06T07:08:09"
    assert found.utc_offset is None


@pytest.mark.parametrize(("text", "kept"), [("5", ".500"), ("123456", ".123456"), ("x", "")])
def test_fraction_of_a_second_is_kept_when_it_is_one(text: str, kept: str) -> None:
    found = facts({0x9003: text_entry("2030:05:06 07:08:09"), 0x9291: text_entry(text)})
    assert found.taken_local == "2030-05-06T07:08:09" + kept


def gps(lat: tuple[int, ...], lon: tuple[int, ...], refs: str = "SE") -> dict[int, Entry]:
    return {
        1: text_entry(refs[0]),
        2: numbers_entry(RATIONAL, lat),
        3: text_entry(refs[1]),
        4: numbers_entry(RATIONAL, lon),
    }


GOOD = (10, 1, 0, 1, 0, 1)


@pytest.mark.parametrize(
    ("lat", "lon", "refs"),
    [
        ((0, 0, 0, 0, 0, 0), GOOD, "SE"),
        (GOOD, (10, 1, 0, 0, 0, 1), "SE"),
        ((91, 1, 0, 1, 0, 1), GOOD, "NE"),
        (GOOD, (181, 1, 0, 1, 0, 1), "NE"),
        (GOOD, GOOD, "XE"),
        (GOOD, GOOD, "S?"),
        ((0, 1, 0, 1, 0, 1), (0, 1, 0, 1, 0, 1), "NE"),
    ],
)
def test_place_that_cannot_be_is_unknown(lat: tuple, lon: tuple, refs: str) -> None:
    found = facts(gps=gps(lat, lon, refs))
    assert (found.latitude_deg, found.longitude_deg) == (None, None)


def test_place_of_a_void_fix_is_unknown() -> None:
    assert facts(gps={**gps(GOOD, GOOD), 9: text_entry("A")}).latitude_deg == -10.0
    assert facts(gps={**gps(GOOD, GOOD), 9: text_entry("V")}).latitude_deg is None


@pytest.mark.parametrize(("value", "found"), [(0, 1), (9, 1), (8, 8), (6, 6), (255, 1)])
def test_orientation_outside_the_standard_is_1(value: int, found: int) -> None:
    assert facts(main={**MAIN, 0x0112: numbers_entry(SHORT, (value,))}).orientation == found


@pytest.mark.parametrize(
    ("values", "depth_m"), [((123, 10), 12.3), ((-5, 10), None), ((1, 0), None), ((12, -1), None)]
)
def test_water_depth(values: tuple[int, int], depth_m: float | None) -> None:
    assert facts({0x9403: numbers_entry(SRATIONAL, values)}).water_depth_m == depth_m


def test_zero_stands_for_unknown() -> None:
    found = facts(
        {
            0xA405: numbers_entry(SHORT, (0,)),
            0x920A: numbers_entry(RATIONAL, (0, 1)),
            0x829A: numbers_entry(RATIONAL, (1, 0)),
            0x8827: numbers_entry(SHORT, (65535,)),
            0x8833: numbers_entry(LONG, (102400,)),
            0xA403: numbers_entry(SHORT, (7,)),
        }
    )
    assert found.focal_35mm_mm is None
    assert found.focal_mm is None
    assert found.exposure_s is None
    assert found.iso == 102400
    assert found.white_balance_fixed is None


def test_focal_length_on_a_small_frame_follows_from_the_sensor() -> None:
    """A 7.6 x 5.7 mm sensor: 10 mm on it is 10 x 43.267 / 9.5 mm on 36 x 24 mm."""
    sensor = {
        0x920A: numbers_entry(RATIONAL, (10, 1)),
        0xA002: numbers_entry(LONG, (4000,)),
        0xA003: numbers_entry(LONG, (3000,)),
        0xA20E: numbers_entry(RATIONAL, (40000, 76)),
        0xA20F: numbers_entry(RATIONAL, (30000, 57)),
    }
    centimetres = {**sensor, 0xA210: numbers_entry(SHORT, (3,))}
    for tag in (0xA20E, 0xA20F):
        entry = sensor[tag]
        n, d = struct.unpack("<2I", entry.raw)
        centimetres[tag] = numbers_entry(RATIONAL, (n * 10, d))
    found = facts(centimetres).focal_35mm_mm
    assert found == pytest.approx(10 * 43.2666 / 9.5, abs=1e-3)
    assert facts(sensor).focal_35mm_mm is None  # in inches the sensor would be a plate


def test_optional_colour_space_is_told_by_its_index() -> None:
    tree = ExifTree(
        order="<",
        main=MAIN,
        exif={0xA001: numbers_entry(SHORT, (65535,))},
        interop={1: text_entry("R03")},
    )
    assert facts_from_exif(tree).is_optional_space
    assert not facts({0xA001: numbers_entry(SHORT, (65535,))}).is_optional_space
    assert facts({0xA001: numbers_entry(SHORT, (2,))}).is_optional_space


def test_directory_that_points_to_itself_is_read_once() -> None:
    block = bytearray(format_exif(ExifTree(order="<", main=MAIN)))
    block[8 + 2 + 12 : 8 + 2 + 12 + 4] = struct.pack("<I", 8)  # next directory: this one
    tree = parse_exif(bytes(block), "a.jpg")
    assert text_of(tree.main[0x0110]) == "Model One"
    assert tree.n_broken == 1


@pytest.mark.parametrize("block", [b"", b"XX*\0\x08\0\0\0", b"II*\0\xff\xff\0\0", b"II\x07\0" * 9])
def test_block_without_a_directory_is_refused(block: bytes) -> None:
    with pytest.raises(FormatError) as caught:
        parse_exif(block, "a.jpg")
    assert caught.value.slug == "exif-unreadable"


@settings(max_examples=150)
@given(st.data())
def test_no_damage_to_a_block_makes_it_crash(data: st.DataObject) -> None:
    block = bytearray(
        format_exif(ExifTree(order="<", main=MAIN, exif=dict(MAIN), gps=gps(GOOD, GOOD)))
    )
    for _ in range(data.draw(st.integers(1, 8))):
        block[data.draw(st.integers(8, len(block) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(block[: data.draw(st.integers(0, len(block)))])
    with suppress(FormatError):  # its only other way out, see the test above
        assert 1 <= facts_from_exif(parse_exif(cut, "a.jpg")).orientation <= 8


@settings(max_examples=100)
@given(st.binary(max_size=300))
def test_no_bytes_make_the_reader_crash(tail: bytes) -> None:
    with suppress(FormatError):
        assert 1 <= facts_from_exif(parse_exif(b"MM\0*\0\0\0\x08" + tail, "a.jpg")).orientation <= 8


def test_patching_moves_nothing(made_photos: ModuleType) -> None:
    tree = ExifTree(
        order=">",
        main={0x0112: numbers_entry(SHORT, (9,), ">"), 0x0110: text_entry("Model One")},
        exif={0xA001: numbers_entry(SHORT, (65535,), ">"), 0x927C: bytes_entry(bytes(range(200)))},
    )
    block = bytearray(format_exif(tree))
    thumbnail = len(block)
    after_main = 8 + 2 + 12 * 3
    block[after_main : after_main + 4] = struct.pack(">I", thumbnail)
    block += struct.pack(">HHHII", 1, 0x0201, 4, 1, 7) + bytes(4)
    before = parse_exif(bytes(block), "a.jpg")
    assert before.thumbnail
    patched = patch_exif(bytes(block), before)
    after = parse_exif(patched, "a.jpg")
    assert len(patched) == len(block)
    assert sum(a != b for a, b in zip(patched, block, strict=True)) <= 8
    assert not after.thumbnail
    assert numbers_of(after.main[0x0112], ">") == (1,)
    assert numbers_of(after.exif[0xA001], ">") == (1,)
    assert after.exif[0x927C].raw == bytes(range(200))


def test_building_anew_keeps_all_but_maker_notes(made_photos: ModuleType) -> None:
    old = parse_exif(made_photos.exif_block(), "a.jpg")
    new = parse_exif(format_exif(without_maker_notes(old, 6)), "a.jpg")
    was, now = facts_from_exif(old), facts_from_exif(new)
    assert now.orientation == 6
    for name in ("taken_local", "camera_serial", "latitude_deg", "exposure_s", "lens_model"):
        assert getattr(now, name) == getattr(was, name)
