"""STD-08: CGATS.17 colour data text (structure after ANSI CGATS.17-2009; the file is made up)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.base.errors import FormatError
from dryslate.formats.cgats import parse_cgats
from dryslate.formats.patch_readings import parse_readings

CHECKS = Path(__file__).parent / "checks"
TEXT = (CHECKS / "std_cgats_example.txt").read_text("utf-8")
EXPECTED = json.loads((CHECKS / "std_cgats_expected.json").read_text("utf-8"))
READ = EXPECTED["cases"][0]["out"]
RULES = EXPECTED["cases"][1]["out"]


def test_example_file_is_read_as_printed() -> None:
    (table,) = parse_cgats(TEXT, "example")
    assert list(table.fields) == READ["fields"]
    assert len(table.rows) == READ["n_sets"]
    assert list(table.rows[0]) == READ["first"]
    assert [r[2] for r in table.rows] == READ["lightness"]
    assert table.identifier == "CGATS.17"
    assert table.keywords["DESCRIPTOR"] == "six greys"


def test_example_file_gives_readings_with_unstated_light() -> None:
    found = parse_readings(TEXT, "example")
    assert [r.values[0] for r in found.readings] == READ["lightness"]
    assert found.illuminant is None
    assert found.observer_deg is None


@pytest.mark.parametrize("word", ["BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA"])
def test_missing_block_word_is_an_error(word) -> None:
    assert word in RULES["required_keywords"]
    cut = "\n".join(line for line in TEXT.splitlines() if line.strip() != word)
    with pytest.raises(FormatError) as caught:
        parse_cgats(cut, "cut")
    assert caught.value.slug in {"cgats-block-missing", "cgats-count"}


def test_number_of_fields_may_be_left_to_the_format_block() -> None:
    cut = "\n".join(line for line in TEXT.splitlines() if "NUMBER_OF_FIELDS" not in line)
    assert len(parse_cgats(cut, "cut")[0].fields) == 5


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("NUMBER_OF_SETS\t6", "NUMBER_OF_SETS\t7"),
        ("NUMBER_OF_FIELDS\t5", "NUMBER_OF_FIELDS\t4"),
        ("	35.63	-0.46	-0.48", "	35.63	-0.46"),
    ],
)
def test_mismatch_of_counts_is_an_error(old, new) -> None:
    assert RULES["mismatch_of_counts"] == "an error to report"
    assert old in TEXT
    with pytest.raises(FormatError) as caught:
        parse_cgats(TEXT.replace(old, new), "edited")
    assert caught.value.slug == "cgats-count"


def test_spaces_do_as_well_as_tabs() -> None:
    assert parse_cgats(TEXT.replace("\t", "  "), "spaces")[0].rows == parse_cgats(TEXT, "t")[0].rows


def test_declared_keywords_are_kept() -> None:
    text = TEXT.replace("NUMBER_OF_SETS", 'KEYWORD "OBSERVER"\nOBSERVER "2 degree"\nNUMBER_OF_SETS')
    assert parse_cgats(text, "k")[0].keywords["OBSERVER"] == "2 degree"
    assert parse_readings(text, "k").observer_deg == 2
