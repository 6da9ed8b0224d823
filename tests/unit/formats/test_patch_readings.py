"""Readings of patches from CSV and CGATS text, with their faults."""

from __future__ import annotations

import pytest

from dryslate.base.errors import FormatError
from dryslate.formats.cgats import parse_cgats
from dryslate.formats.patch_readings import parse_readings

CSV = """# illuminant: D50, observer: 2 deg
patch_id,lab_l,lab_a,lab_b,lab_l_u,lab_a_u,lab_b_u
n50,50.1,0.2,-0.3,0.2,0.1,0.1
n50,50.3,0.1,-0.2,0.2,0.1,0.1
rust,41,abc,20,0.2,0.1,0.1
"""


def test_csv_states_its_light_and_may_repeat_a_patch() -> None:
    read = parse_readings(CSV, "card.csv")
    assert (read.illuminant, read.observer_deg) == ("D50", 2)
    assert [r.name for r in read.readings] == ["n50", "n50"]
    assert read.readings[0].values_u == (0.2, 0.1, 0.1)


def test_row_that_is_no_number_is_reported_with_its_line() -> None:
    (problem,) = parse_readings(CSV, "card.csv").problems
    assert (problem.slug, problem.place) == ("reading-not-a-number", "card.csv line 5")


def test_semicolons_come_with_decimal_commas() -> None:
    read = parse_readings("patch_id;lab_l;lab_a;lab_b\nn50;50,5;0,1;-0,2\n", "c.csv")
    assert read.readings[0].values == (50.5, 0.1, -0.2)


def test_row_cut_short_is_reported_and_not_padded_with_zero() -> None:
    read = parse_readings("patch_id,lab_l,lab_a,lab_b\nn50,50\n", "c.csv")
    assert not read.readings
    assert read.problems[0].slug == "reading-not-a-number"


def test_not_a_number_words_are_no_numbers() -> None:
    read = parse_readings("patch_id,lab_l,lab_a,lab_b\nn50,nan,0,0\nn60,inf,0,0\n", "c.csv")
    assert [p.slug for p in read.problems] == ["reading-not-a-number"] * 2


def test_file_without_colour_columns_is_refused() -> None:
    text = (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID CMYK_C\nEND_DATA_FORMAT\nBEGIN_DATA\n1 5\nEND_DATA"
    )
    for bad in (text, "a,b\n1,2\n"):
        with pytest.raises(FormatError) as caught:
            parse_readings(bad, "bad")
        assert caught.value.slug == "readings-no-values"


def test_text_that_is_no_colour_data_is_refused() -> None:
    for bad in ("hello there, this is a letter\n", "", "%PDF-1.7"):
        with pytest.raises(FormatError) as caught:
            parse_cgats(bad, "letter.txt")
        assert caught.value.slug == "cgats-not-one"


def test_file_without_data_block_is_refused() -> None:
    with pytest.raises(FormatError) as caught:
        parse_cgats("CGATS.17\nORIGINATOR x\n", "short")
    assert caught.value.slug == "cgats-block-missing"


def test_second_table_with_colours_is_found_behind_one_without() -> None:
    one = "BEGIN_DATA_FORMAT\nSAMPLE_ID {}\nEND_DATA_FORMAT\nBEGIN_DATA\nw {}\nEND_DATA\n"
    text = "CGATS.17\n" + one.format("D_RED", "1") + one.format("XYZ_X XYZ_Y XYZ_Z", "90 95 80")
    assert len(parse_cgats(text, "two")) == 2
    read = parse_readings(text, "two")
    assert (read.space, read.readings[0].values) == ("xyz", (90.0, 95.0, 80.0))


def test_quotes_inside_quotes_and_comments_are_read() -> None:
    text = (
        "# made by hand\nCGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\n"
        'END_DATA_FORMAT\nBEGIN_DATA\n"a ""b"" c" 1 2 3 # last\nEND_DATA\n'
    )
    assert parse_cgats(text, "q")[0].rows == (('a "b" c', 1.0, 2.0, 3.0),)


def test_spectra_come_before_colours_and_may_be_in_per_cent() -> None:
    bands = [f"SPECTRAL_NM{nm}" for nm in range(380, 740, 10)]
    row = " ".join(["50.0"] * len(bands))
    text = (
        f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B {' '.join(bands)}\n"
        f"END_DATA_FORMAT\nBEGIN_DATA\nmid 76 0 0 {row}\nEND_DATA\n"
    )
    read = parse_readings(text, "s")
    assert read.space == "reflectance"
    assert read.wavelengths_nm[0] == 380
    assert read.readings[0].values == (0.5,) * 36


def test_csv_spectra_are_sorted_by_wavelength() -> None:
    bands = [f"nm_{nm}" for nm in range(700, 390, -10)]
    cells = ",".join(str(nm / 1000) for nm in range(700, 390, -10))
    read = parse_readings(f"patch_id,{','.join(bands)}\nmid,{cells}\n", "s.csv")
    assert read.wavelengths_nm[0] == 400
    assert read.readings[0].values[0] == 0.4
    assert read.illuminant is None
