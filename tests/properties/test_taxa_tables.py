"""However the genus tables are damaged, what is wrong is told and nothing else stops."""

from __future__ import annotations

import csv
import io

from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.core.identify.taxa_checks import check_taxa, find_close_pairs
from dryslate.files.taxa_files import built_in_tables
from dryslate.formats.taxa_csv import parse_taxa

KEEP = {"Porites", "Goniastrea", "Montipora", "Millepora", "Fungia", "Soft coral"}


def small_tables() -> dict[str, str]:
    """The built-in tables cut down to a few genera."""
    tables = {}
    for name, text in built_in_tables().items():
        lines = [line for line in text.splitlines() if not line.startswith("#")]
        rows = list(csv.reader(lines))
        head = rows[0]
        at = [i for i, c in enumerate(head) if c in ("genus", "genus_a", "genus_b")]
        kept = [head] + [r for r in rows[1:] if all(r[i] in KEEP for i in at)]
        file = io.StringIO()
        csv.writer(file, lineterminator="\n").writerows(kept)
        tables[name] = file.getvalue()
    return tables


TABLES = small_tables()
JUNK = st.text(alphabet=',"\n#|\x00é-0Z', max_size=6)


def test_the_small_tables_are_sound() -> None:
    data, problems = parse_taxa(TABLES)
    assert problems == []
    assert set(data.genera) == KEEP


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(sorted(TABLES)),
    at=st.floats(0, 1, allow_nan=False),
    cut=st.integers(0, 40),
    junk=JUNK,
)
def test_a_damaged_table_is_read_as_far_as_it_can_be(
    name: str, at: float, cut: int, junk: str
) -> None:
    text = TABLES[name]
    start = int(at * len(text))
    damaged = {**TABLES, name: text[:start] + junk + text[start + cut :]}
    data, problems = parse_taxa(damaged)
    for problem in problems:
        assert ".csv" in problem.place
        assert problem.slug.startswith("taxa-")
        assert problem.fix
    check_taxa(data)
    find_close_pairs(data)
    for look in data.profiles:
        assert look.genus in data.genera
        assert all(c in data.characters for c in look.states)
        assert all(s in data.characters[c].states for c, rows in look.states.items() for s in rows)


@settings(max_examples=30, deadline=None)
@given(name=st.sampled_from(sorted(TABLES)), text=st.text(max_size=200))
def test_a_file_of_anything_is_told_and_does_not_stop(name: str, text: str) -> None:
    _, problems = parse_taxa({**TABLES, f"taxa/{name}": text})
    assert {p.slug for p in problems} >= {"taxa-columns-missing"}


def test_a_cell_beyond_all_measure_is_a_broken_row() -> None:
    text = TABLES["states.csv"] + '"' + "x" * 200_000 + '",a\n'
    _, problems = parse_taxa({**TABLES, "states.csv": text})
    assert [p.slug for p in problems] == ["taxa-row-broken"]


def test_a_first_line_beyond_all_measure_has_no_columns() -> None:
    _, problems = parse_taxa({**TABLES, "taxa/states.csv": "x" * 200_000})
    assert [p.slug for p in problems] == ["taxa-columns-missing"]
