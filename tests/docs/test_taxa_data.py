"""The page on the genus data says what a command counts; the attribution ships with the data."""

from __future__ import annotations

import csv
import importlib.util
import re
import subprocess
import sys
import tomllib
import zipfile
from importlib import resources
from pathlib import Path

import pytest

from dryslate.app.taxa import TaxaReport, check_tables
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.formats.taxa_rows import COLUMNS

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "taxa.md").read_text("utf-8")
DATA = resources.files("dryslate") / "data" / "taxa"


@pytest.fixture(scope="module")
def report() -> TaxaReport:
    return check_tables(FileReferenceTables())


def test_page_gives_the_counts_of_the_command(report: TaxaReport) -> None:
    first, second = report.words().splitlines()[:2]
    assert first in PAGE
    assert second in PAGE


def test_page_lists_every_pair_that_nothing_separates(report: TaxaReport) -> None:
    lines = report.words().splitlines()
    for pair in lines[3 : 3 + len(report.unseparated)]:
        assert f"- {pair.strip()}" in PAGE, pair
    n_listed = len(
        re.findall(
            r"(?m)^- .+ and .+\)?$", PAGE.split("## What it cannot tell apart")[1].split("##")[0]
        )
    )
    assert n_listed == len(report.unseparated)


def test_page_names_every_table_and_its_columns() -> None:
    for table, columns in COLUMNS.items():
        row = next((line for line in PAGE.splitlines() if line.startswith(f"| `{table}.csv`")), "")
        assert row, table
        for column in columns:
            assert f"`{column}`" in row, f"{table}: {column}"


def test_every_genus_row_has_a_source() -> None:
    data, _ = FileReferenceTables().taxa()
    for look in data.profiles:
        assert all(r.source for rows in look.states.values() for r in rows.values())
        assert all(s.source for s in look.sizes.values())
    assert all(pair.source for pair in data.lookalikes)


def test_attribution_names_authors_paper_and_licence() -> None:
    attribution = (DATA / "ATTRIBUTION").read_text(encoding="utf-8")
    for words in ("Madin", "10.1038/sdata.2016.17", "CC BY 4.0", "licenses/by/4.0", "Changed"):
        assert words in attribution
    head = (DATA / "species.csv").read_text(encoding="utf-8").splitlines()[:3]
    assert any("CC BY 4.0" in line for line in head)


def test_the_wheel_takes_everything_below_the_package() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["packages"] == ["src/dryslate"]
    assert not {"only-include", "exclude"} & set(wheel)
    assert "src/dryslate/data/taxa/ATTRIBUTION" in project["project"]["license-files"]


@pytest.mark.skipif(
    importlib.util.find_spec("hatchling") is None, reason="hatchling is not installed here"
)
def test_the_built_wheel_holds_the_attribution(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    names = zipfile.ZipFile(next(tmp_path.glob("*.whl"))).namelist()
    assert "dryslate/data/taxa/ATTRIBUTION" in names
    assert "dryslate/data/taxa/species.csv" in names


def test_no_text_asks_to_touch_or_break_a_coral() -> None:
    data, _ = FileReferenceTables().taxa()
    asks = re.compile(
        r"\b(break (it|or)|check a break|touch or|to the touch|feels|lift it|turn it)\b"
    )
    texts = [p.how_to_tell for p in data.lookalikes]
    texts += [c.question for c in data.characters.values()]
    assert [t for t in texts if asks.search(t.lower())] == []


def test_page_names_the_genera_of_the_species_table_that_are_left_out() -> None:
    data, _ = FileReferenceTables().taxa()
    text = (DATA / "species.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    left_out = sorted({row["genus"] for row in rows} - set(data.genera))
    assert f"{', '.join(left_out)}." in " ".join(PAGE.split())
