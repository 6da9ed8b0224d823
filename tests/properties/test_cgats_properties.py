"""What is written as CGATS.17 text reads back the same; no text breaks the reader."""

from __future__ import annotations

import contextlib

from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.base.errors import FormatError
from dryslate.formats.cgats import CgatsTable, format_cgats, parse_cgats
from dryslate.formats.patch_readings import parse_readings

WORDS = st.text(
    st.characters(blacklist_categories=("Cc", "Cs", "Zl", "Zp"), blacklist_characters="\u00a0"),
    max_size=20,
).map(lambda t: " ".join(t.split()))
NUMBERS = st.floats(-1e4, 1e4).map(lambda v: float(f"{v:.10g}"))
ROWS = st.lists(st.tuples(WORDS, WORDS, NUMBERS, NUMBERS, NUMBERS), max_size=8)


@given(rows=ROWS, descriptor=WORDS, other=WORDS)
@settings(max_examples=150, deadline=None)
def test_table_reads_back_as_it_was_written(rows, descriptor, other) -> None:
    table = CgatsTable(
        identifier="CGATS.17",
        keywords={"DESCRIPTOR": descriptor, "OUR_OWN": other},
        fields=("SAMPLE_ID", "SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"),
        rows=tuple(rows),
    )
    (read,) = parse_cgats(format_cgats(table), "made")
    assert read.rows == table.rows
    assert read.fields == table.fields
    assert {k: read.keywords[k] for k in table.keywords} == table.keywords


@given(text=st.text(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_text_is_read_or_refused_with_a_reason(text) -> None:
    with contextlib.suppress(FormatError):  # anything else would be a fault of the reader
        parse_readings(text, "any")
