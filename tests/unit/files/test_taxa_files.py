"""The built-in genus tables are whole, quick to read, and a project's own are put over them."""

from __future__ import annotations

import time
from pathlib import Path

from dryslate.files.reference_tables import FileReferenceTables

LONGEST_S = 0.3


def test_built_in_tables_have_no_fault() -> None:
    data, problems = FileReferenceTables().taxa()
    assert problems == []
    assert len(data.genera) >= 118
    assert {g.genus for g in data.genera.values()} == {p.genus for p in data.profiles}
    for genus in data.genera.values():
        held = frozenset().union(*(p.regions for p in data.profiles if p.genus == genus.genus))
        assert held == genus.regions, genus.genus


def test_built_in_tables_are_read_within_three_tenths_of_a_second() -> None:
    took = []
    for _ in range(3):
        start = time.process_time()
        FileReferenceTables().taxa()
        took.append(time.process_time() - start)
    assert min(took) <= LONGEST_S


def test_a_project_table_that_is_no_utf8_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    rows = b"region,genus,frequency,source\natlantic,Porites,3,ok\natlantic,Favia,1,caf\xe9\n"
    (tmp_path / "taxa" / "frequencies.csv").write_bytes(rows)
    data, problems = FileReferenceTables(tmp_path).taxa()
    assert [p.slug for p in problems] == ["taxa-not-utf8"]
    assert problems[0].place == "taxa/frequencies.csv, line 3"
    assert data.frequencies == {}


def test_a_project_table_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    (tmp_path / "taxa" / "states.csv").mkdir(parents=True)
    data, problems = FileReferenceTables(tmp_path).taxa()
    assert [p.slug for p in problems] == ["taxa-file-unreadable"]
    assert len(data.genera) >= 118


def test_a_project_adds_local_frequencies(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    (tmp_path / "taxa" / "frequencies.csv").write_text(
        "region,genus,frequency,source\natlantic,Porites,3,counts\n", encoding="utf-8"
    )
    tables = FileReferenceTables(tmp_path)
    data, problems = tables.taxa()
    assert problems == []
    assert data.frequencies == {"atlantic": {"Porites": 3.0}}
    assert data.version != FileReferenceTables().taxa()[0].version
