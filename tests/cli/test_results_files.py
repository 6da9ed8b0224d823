"""Results as files: Parquet read back by DuckDB, CSV and JSON, with equal values and types."""

from __future__ import annotations

import csv
import datetime
import io
import json
from pathlib import Path

import duckdb
import pytest
from typer.testing import CliRunner

from dryslate.app.result_rows import COLUMNS, ResultRow, results_table_parts
from dryslate.base.errors import StoreError
from dryslate.cli.main import build_app
from dryslate.documents.results_parquet import results_parquet

WHO = ("--observer", "Ines Varro")
TAPES = """site,date,unit,design,length_m,kind,category,name,from_m,to_m
Öuter reef,2031-05-04,T1,line_intercept,10,intercept,hard coral,Favites,0,2.5
Öuter reef,2031-05-04,T1,line_intercept,10,intercept,sand,,2.5,10
Öuter reef,2031-05-04,T2,line_intercept,10,intercept,hard coral,Merulinidae,0,1.1
Öuter reef,2031-05-04,T2,line_intercept,10,intercept,turf,,1.1,10
"""


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("files") / "trip"
    run("new", folder)
    run("region", folder, "indo_pacific", *WHO)
    table = folder.parent / "t.csv"
    table.write_text(TAPES, "utf-8")
    done = run("records", "import", folder, table, *WHO, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 4
    return folder


def read_parquet(path: Path) -> tuple[list[dict], dict[str, str]]:
    """Every row, and the type of each column."""
    with duckdb.connect() as base:
        found = base.execute("SELECT * FROM read_parquet(?)", [str(path)])
        names, types = zip(*((d[0], str(d[1])) for d in found.description), strict=True)
        rows = [dict(zip(names, row, strict=True)) for row in found.fetchall()]
    return rows, dict(zip(names, types, strict=True))


def row(**fields: object) -> ResultRow:
    values = dict.fromkeys(COLUMNS, "") | {
        "date": "2031-05-04",
        "estimate": 0.1 + 0.2,
        "u": None,
        "lo95": 5e-324,
        "hi95": 1.0,
        "n_units": 8,
        "n_blank": 0,
        "df": None,
        "n_colonies": None,
        "undetermined_frac": None,
        "if_all": None,
        "flags": (),
        "unit_ids": ("a" * 64, "b" * 64),
    }
    return ResultRow(**(values | fields))


def test_parquet_holds_what_json_says_with_types(project, tmp_path) -> None:
    path = tmp_path / "r.parquet"
    said = json.loads(run("results", project, "--json", "--parquet", path).stdout)["results"]
    rows, types = read_parquet(path)
    assert rows == [one | {"date": datetime.date.fromisoformat(one["date"])} for one in said]
    assert len(rows) == 7
    assert any(one["n_colonies"] is None for one in rows)
    assert tuple(types) == COLUMNS
    assert types["date"] == "DATE"
    assert types["estimate"] == types["if_all"] == "DOUBLE"
    assert types["n_units"] == types["n_colonies"] == "BIGINT"
    assert types["flags"] == types["unit_ids"] == "VARCHAR[]"


def test_every_number_comes_back_to_the_last_digit_and_in_order(tmp_path) -> None:
    made = [row(estimate=k / 7, thing=f"name {k}", n_units=k) for k in range(45_000)]
    made.append(row(thing='it\'s; "so"', flags=("one_unit", "no_spread"), unit_ids=()))
    path = tmp_path / "r.parquet"
    path.write_bytes(b"".join(results_parquet(iter(made))))
    rows, _ = read_parquet(path)
    for one in rows:
        one["date"] = one["date"].isoformat()
    assert rows == [one.as_dict() for one in made]


def test_same_rows_give_the_same_bytes(project, tmp_path) -> None:
    paths = [tmp_path / f"{k}.parquet" for k in range(2)]
    for path in paths:
        run("results", project, "--parquet", path)
    first, second = (path.read_bytes() for path in paths)
    assert first == second


def test_nothing_noted_gives_a_table_without_rows(tmp_path) -> None:
    path = tmp_path / "r.parquet"
    path.write_bytes(b"".join(results_parquet([])))
    rows, types = read_parquet(path)
    assert rows == []
    assert tuple(types) == COLUMNS


def test_what_cannot_be_written_is_said() -> None:
    with pytest.raises(StoreError, match="could not be written"):
        list(results_parquet([row(date="no day")]))


def test_csv_and_json_say_the_same(project, tmp_path) -> None:
    path = tmp_path / "r.csv"
    printed = run("results", project, "--json", "--csv", path).stdout
    assert printed.count("\n") == 1
    said = json.loads(printed)
    assert printed == json.dumps(said, ensure_ascii=False) + "\n"
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))
    assert [float(one["estimate"]) for one in rows] == [one["estimate"] for one in said["results"]]
    assert rows[0]["unit_ids"].split("; ") == said["results"][0]["unit_ids"]


def test_csv_is_written_in_parts() -> None:
    parts = list(results_table_parts(row(n_units=k) for k in range(2500)))
    assert len(parts) == 3
    lines = b"".join(parts).decode("utf-8-sig").splitlines()
    assert len(lines) == 2501
    assert lines[0] == ",".join(COLUMNS)
