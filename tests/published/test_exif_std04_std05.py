"""
Exif tags and times against the standard's own table and worked cases.

Source: CIPA DC-008 / JEITA CP-3451, Exif 2.31 and 2.32 (tag numbers, types and counts; times
with their offset; degrees from fractions).
"""

from __future__ import annotations

import csv
import json
import struct
from pathlib import Path
from types import ModuleType

import pytest

from dryslate.formats import exif as exif_format
from dryslate.formats import exif_facts
from dryslate.formats.exif import ExifTree, parse_exif
from dryslate.formats.exif_edit import bytes_entry, format_exif, numbers_entry, text_entry
from dryslate.formats.exif_facts import facts_from_exif, utc_of

CHECKS = Path(__file__).parent / "checks"
ROWS = list(csv.DictReader((CHECKS / "std_exif_tags.csv").read_text("utf-8").splitlines()))
CASES = json.loads((CHECKS / "std_exif_cases.json").read_text("utf-8"))["cases"]

#: Where the program keeps each tag number that it reads.
READ = {
    "ExifIFDPointer": exif_format.EXIF_POINTER,
    "GPSInfoIFDPointer": exif_format.GPS_POINTER,
    "Orientation": exif_format.ORIENTATION,
    "ColorSpace": exif_format.COLOUR_SPACE,
    "Make": exif_facts._MAKE,
    "Model": exif_facts._MODEL,
    "ExposureTime": exif_facts._EXPOSURE,
    "FNumber": exif_facts._F_NUMBER,
    "PhotographicSensitivity": exif_facts._ISO,
    "Flash": exif_facts._FLASH,
    "FocalLength": exif_facts._FOCAL,
    "WhiteBalance": exif_facts._WHITE_BALANCE,
    "FocalLengthIn35mmFilm": exif_facts._FOCAL_35,
    "LensModel": exif_facts._LENS,
    "PixelXDimension": exif_facts._PIXELS_X,
    "PixelYDimension": exif_facts._PIXELS_Y,
    "FocalPlaneXResolution": exif_facts._PLANE_X,
    "FocalPlaneYResolution": exif_facts._PLANE_Y,
    "FocalPlaneResolutionUnit": exif_facts._PLANE_UNIT,
    "DateTimeOriginal": exif_facts._TIMES[0][0],
    "OffsetTimeOriginal": exif_facts._TIMES[0][1],
    "SubSecTimeOriginal": exif_facts._TIMES[0][2],
    "DateTimeDigitized": exif_facts._TIMES[1][0],
    "OffsetTimeDigitized": exif_facts._TIMES[1][1],
    "GPSLatitudeRef": exif_facts._GPS_LAT[0],
    "GPSLatitude": exif_facts._GPS_LAT[1],
    "GPSLongitudeRef": exif_facts._GPS_LON[0],
    "GPSLongitude": exif_facts._GPS_LON[1],
}
TYPES = {"BYTE": 1, "ASCII": 2, "SHORT": 3, "LONG": 4, "RATIONAL": 5}


@pytest.mark.parametrize("row", [r for r in ROWS if r["tag"] in READ], ids=lambda r: r["tag"])
def test_tag_number_is_the_standards(row: dict[str, str]) -> None:
    assert READ[row["tag"]] == int(row["number"], 16)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["tag"])
def test_entry_of_each_type_and_count_is_read_from_its_directory(row: dict[str, str]) -> None:
    """A block laid out by hand (little endian) with this one entry."""
    code = TYPES[row["type"].split("/")[0]]
    size = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8}[code]
    n = int(row["count"]) if row["count"] != "any" else 3
    raw = bytes(range(1, n * size + 1))
    number = int(row["number"], 16)
    at = 8 if row["ifd"] == "IFD0" else 26
    inline = raw if len(raw) <= 4 else struct.pack("<I", at + 18)
    entry = struct.pack("<HHHI", 1, number, code, n) + inline.ljust(4, b"\0") + bytes(4)
    block = b"II*\0\x08\0\0\0"
    if row["ifd"] != "IFD0":
        pointer = {"Exif": 0x8769, "GPS": 0x8825}[row["ifd"]]
        block += struct.pack("<HHHII", 1, pointer, 4, 1, at) + bytes(4)
    block += entry + (raw if len(raw) > 4 else b"")
    tree = parse_exif(block, "a.jpg")
    directory = {"IFD0": tree.main, "Exif": tree.exif, "GPS": tree.gps}[row["ifd"]]
    assert directory[number].raw == raw
    assert (directory[number].type_code, directory[number].n) == (code, n)


def flat(fractions: list[list[int]]) -> tuple[int, ...]:
    return tuple(v for pair in fractions for v in pair)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
@pytest.mark.parametrize("order", ["<", ">"])
def test_time_and_place_of_the_worked_case(case: dict, order: str) -> None:
    words, wanted = case["in"], case["out"]
    tree = ExifTree(
        order=order,
        main={0x0112: numbers_entry(3, (1,), order)},
        exif={
            0x9003: text_entry(words["DateTimeOriginal"]),
            0x9011: bytes_entry(words["OffsetTimeOriginal"].encode().ljust(7, b"\0"), 2),
        },
        gps={
            1: text_entry(words["GPSLatitudeRef"]),
            2: numbers_entry(5, flat(words["GPSLatitude"]), order),
            3: text_entry(words["GPSLongitudeRef"]),
            4: numbers_entry(5, flat(words["GPSLongitude"]), order),
        },
    )
    facts = facts_from_exif(parse_exif(format_exif(tree), "a.jpg"))
    assert f"{facts.taken_local}{facts.utc_offset or ''}" == wanted["iso8601"]
    assert utc_of(facts.taken_local, facts.utc_offset) == wanted["utc"]
    assert facts.latitude_deg == pytest.approx(wanted["lat"], abs=case["tol"])
    assert facts.longitude_deg == pytest.approx(wanted["lon"], abs=case["tol"])


def test_block_written_by_another_library_is_read_alike(made_photos: ModuleType) -> None:
    """Values from memory of the maker below; the writer is Pillow."""
    facts = facts_from_exif(parse_exif(made_photos.exif_block(), "a.jpg"))
    assert facts.taken_local == "2030-05-06T07:08:09.250"
    assert (facts.exposure_s, facts.f_number, facts.iso) == (0.004, 5.6, 200)
    assert (facts.flash_fired, facts.white_balance_fixed) == (True, True)
    assert (facts.focal_mm, facts.focal_35mm_mm, facts.zoom_ratio) == (24, 24, 1)
    assert (facts.camera_serial, facts.lens_model) == ("SN-77", "24 mm behind a dome")
    assert facts.latitude_deg == pytest.approx(-16.7583666667, abs=1e-9)
