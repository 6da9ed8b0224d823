"""Conditions of visits: stated, taken from a table, shown in the report and the archive."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")
TABLE = (
    "site,date,unit,zone,design,length_m,width_m,edge_rule,kind,category,name,n\n"
    "Ledge,2024-05-19,B1,,belt,10,1,centre_inside,count,hard coral,Favites,4\n"
    "Ledge,2025-05-20,B1,,belt,10,1,centre_inside,count,hard coral,Favites,6\n"
)


def run(*words: object) -> Any:
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    """Two visits with a belt each."""
    folder = tmp_path / "trip"
    run("new", folder)
    run("region", folder, "indo_pacific", *WHO)
    (tmp_path / "rows.csv").write_text(TABLE, "utf-8")
    done = run("records", "import", folder, tmp_path / "rows.csv", *WHO, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 2, done.stdout
    return folder


def test_stated_and_changed_and_taken_out(trip: Path) -> None:
    where = (trip, "Ledge", "2024-05-19")
    run("conditions", *where, "--tide", "rising", "--visibility-m", "12,5", *WHO)
    run("conditions", *where, "--water-c", "27.4", "--tide", "", *WHO)
    (found,) = json.loads(run("conditions", trip, "--json").stdout)["conditions"]
    assert (found["tide"], found["visibility_m"], found["water_c"]) == ("", 12.5, 27.4)
    assert "visibility: 12.5 m; water temperature: 27.4" in run("conditions", trip).stdout


def test_table_goes_in_whole_or_not_at_all(trip: Path, tmp_path: Path) -> None:
    table = tmp_path / "dives.csv"
    head = "site,date,visibility_m,weather\n"
    table.write_text(f"{head}Ledge,2024-05-19,8,sun\nLedge,2025-05-20,far,rain\n", "utf-8")
    with pytest.raises(DryslateError) as caught:
        run("conditions", trip, "--from", table, *WHO)
    assert caught.value.slug == "visit-condition-odd"
    assert "dives.csv, row 3" in caught.value.message
    assert json.loads(run("conditions", trip, "--json").stdout)["conditions"] == []
    table.write_text(f"{head}Ledge,2024-05-19,8,sun\nLedge,2025-05-20,,rain\n", "utf-8")
    run("conditions", trip, "--from", table, *WHO)
    found = json.loads(run("conditions", trip, "--json").stdout)["conditions"]
    assert [(one["visibility_m"], one["weather"]) for one in found] == [
        (8.0, "sun"),
        (None, "rain"),
    ]


def test_table_without_the_columns(trip: Path, tmp_path: Path) -> None:
    (tmp_path / "dives.csv").write_text("site,day\nLedge,2024-05-19\n", "utf-8")
    with pytest.raises(DryslateError) as caught:
        run("conditions", trip, "--from", tmp_path / "dives.csv", *WHO)
    assert caught.value.slug == "conditions-columns"


@pytest.mark.parametrize(
    "wrong", [("--visibility-m", "-2"), ("--water-c", "81"), ("--tide", "x" * 301)]
)
def test_what_cannot_be_is_refused(trip: Path, wrong: tuple[str, str]) -> None:
    with pytest.raises(DryslateError) as caught:
        run("conditions", trip, "Ledge", "2024-05-19", *wrong, *WHO)
    assert caught.value.slug == "visit-condition-odd"


def test_report_and_archive_carry_them(trip: Path, tmp_path: Path) -> None:
    run("conditions", trip, "Ledge", "2024-05-19", "--tide", "low at 09:40", "--sea", "calm", *WHO)
    run("describe", trip, "--permit", "P-17/2024")
    run("report", trip, "--results", "-o", tmp_path / "r.html")
    said = (tmp_path / "r.html").read_text("utf-8")
    assert "low at 09:40" in said
    assert "P-17/2024" in said
    assert "Not stated for 1 visits: Ledge, 20" in said
    run("archive", "make", trip, "-o", tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as zipped:
        name = next(n for n in zipped.namelist() if "event" in n.lower())
        assert "tide: low at 09:40; sea: calm" in zipped.read(name).decode("utf-8")


def test_a_table_and_words_for_one_visit_are_not_mixed(trip: Path, tmp_path: Path) -> None:
    (tmp_path / "dives.csv").write_text("site,date,sea\nLedge,2024-05-19,calm\n", "utf-8")
    done = run(
        "conditions", trip, "Ledge", "2025-05-20", "--tide", "low",
        "--from", tmp_path / "dives.csv", *WHO,
    )  # fmt: skip
    assert done.exit_code == 2
    assert json.loads(run("conditions", trip, "--json").stdout)["conditions"] == []


def test_site_and_date_show_only_theirs(trip: Path) -> None:
    for date in ("2024-05-19", "2025-05-20"):
        run("conditions", trip, "Ledge", date, "--tide", "low", *WHO)

    def shown(*words: str) -> list[str]:
        said = json.loads(run("conditions", trip, *words, "--json").stdout)["conditions"]
        return [one["visit_id"] for one in said]

    assert len(shown()) == len(shown("Ledge")) == 2
    assert shown("Ledge", "2025-05-20") == ["Ledge 2025-05-20"]
    assert shown("Spur") == []
