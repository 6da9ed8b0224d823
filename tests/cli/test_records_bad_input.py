"""What goes wrong in tables of records, each tried by the command: told with its place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app

pytestmark = pytest.mark.usefixtures("tables_read_once")
WHO = ("--observer", "Ines Varro")
TAPE = "site,date,unit,design,length_m,kind,category,from_m,to_m\n"
LINE = "A,2024-05-19,T1,line_intercept,{},intercept,{},{},{}\n"
BELT = "site,date,unit,design,length_m,width_m,edge_rule,kind,category,n\n"
COUNT = "A,{},{},belt,10,1,centre_inside,count,hard coral,{}\n"
SHARES = "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct"
CELLS = "site,date,unit,design,n_cells,area_m2,kind,category,cell,cover_pct\n"
CELL = "A,2024-05-19,Q1,quadrat_cells,2,1,cell,{},{},{}\n"


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def enter(tmp_path: Path):
    """Import a table of a new project, and say what was told and what the project holds."""
    project = tmp_path / "p"
    run("new", project)

    def make(text: str, mapping: str = "") -> tuple[dict, int]:
        path, more = tmp_path / "t.csv", []
        path.write_text(text, "utf-8")
        if mapping:
            (tmp_path / "m.toml").write_text(mapping, "utf-8")
            more = ["--mapping", tmp_path / "m.toml"]
        done = run("records", "import", project, path, *WHO, "--save", "--json", *more)
        with wiring.survey_store(project, write=False) as store:
            return json.loads(done.stdout), len(store.survey_rows())

    return make


@pytest.mark.parametrize(
    ("text", "slug", "place"),
    [
        pytest.param(
            BELT.replace("category,n", f"category,{SHARES}")
            + "A,2024-05-19,B1,belt,10,1,centre_inside,colony,hard coral,50,20,10,0,0\n",
            "row-health-sum", "t.csv, row 2", id="shares of a colony do not add up",
        ),
        pytest.param(
            CELLS + CELL.format("sand", 1, 60) + CELL.format("turf", 1, 20)
            + CELL.format("turf", 2, 100),
            "cell-sum", "Q1, cell 1", id="shares of a cell do not add up",
        ),
        pytest.param(
            TAPE + LINE.format(-10, "sand", 0, 10), "unit-design-not-positive", "T1",
            id="negative length of a tape",
        ),
        pytest.param(
            TAPE + LINE.format(10, "sand", -2, 10), "intercept-off-tape", "t.csv, row 2",
            id="begins before the tape",
        ),
        pytest.param(
            TAPE + LINE.format(10, "sand", 0, 6) + LINE.format(10, "turf", 6, 4),
            "intercept-order", "t.csv, row 3", id="ends before its beginning",
        ),
        pytest.param(
            TAPE + LINE.format(10, "sand", 0, 10) * 2, "intercepts-overlap", "t.csv, row 3",
            id="a transect twice in one table",
        ),
        pytest.param(
            BELT + COUNT.format("19/05/2024", "B1", 5), "cell-not-a-date",
            "t.csv, row 2, column date", id="dates in another order",
        ),
        pytest.param(
            BELT + COUNT.format("2024-05-19", "B1", 5).replace(",10,1,", ',"10,5",1,'),
            "cell-decimal", "t.csv, row 2, column length_m", id="decimal comma",
        ),
        pytest.param(
            BELT.replace("category,n", "category,name,n")
            + COUNT.format("2024-05-19", "B1", 5).replace("hard coral", "hard coral,Wrongia"),
            "name-unknown", "t.csv, row 2, column name", id="a genus in no list",
        ),
        pytest.param(BELT, "table-empty", "t.csv", id="headings only"),
    ],
)  # fmt: skip
def test_fault_is_told_with_its_place_and_nothing_is_stored(enter, text, slug, place) -> None:
    told, n_rows = enter(text)
    found = [p for p in told["problems"] if p["slug"] == slug]
    assert found, told["problems"]
    assert place in found[0]["place"]
    assert (told["n_stored"], n_rows) == (0, 0)


def test_dates_in_two_orders_in_one_table(enter) -> None:
    days = ("19/05/2024", "05/20/2024")
    table = BELT + "".join(COUNT.format(day, f"B{k}", 5) for k, day in enumerate(days))
    told, n_rows = enter(table, 'date_order = "day month year"\n')
    assert [(p["slug"], p["place"]) for p in told["problems"]] == [
        ("cell-not-a-date", "t.csv, row 3, column date")
    ]  # and not told a second time as a row without a date
    assert n_rows == 0


def test_mapping_that_names_a_column_that_is_not_there(enter) -> None:
    told, n_rows = enter(BELT + COUNT.format("2024-05-19", "B1", 5), '[columns]\nnote = "Words"\n')
    assert [p["slug"] for p in told["problems"]] == ["mapping-column-absent"]
    assert n_rows == 0


def test_count_that_was_pasted_twice_is_asked_about(enter) -> None:
    told, n_rows = enter(BELT + COUNT.format("2024-05-19", "B1", 5) * 2)
    (problem,) = told["problems"]
    assert (problem["slug"], problem["severity"]) == ("row-count-twice", "warning")
    assert "t.csv, row 3" in problem["place"]
    assert n_rows == 2


def test_equal_counts_of_different_things_are_no_fault(enter) -> None:
    other = COUNT.format("2024-05-19", "B1", 5).replace("hard coral", "soft coral")
    told, _ = enter(BELT + COUNT.format("2024-05-19", "B1", 5) + other)
    assert told["problems"] == []


def test_transect_of_a_table_that_was_stored_before(enter) -> None:
    table = BELT + COUNT.format("2024-05-19", "B1", 5)
    assert enter(table)[1] == 1
    with pytest.raises(Exception, match="unit-has-rows"):
        enter(table)


def test_unit_without_rows_is_kept_blank_and_asked_about(enter, tmp_path: Path) -> None:
    told, n_rows = enter(
        BELT[: BELT.index(",kind")] + "\nA,2024-05-19,B9,belt,10,1,centre_inside\n"
    )
    assert [(p["slug"], p["severity"]) for p in told["problems"]] == [
        ("unit-without-rows", "warning")
    ]
    assert n_rows == 0
    with wiring.survey_store(tmp_path / "p", write=False) as store:
        assert [unit.name for unit in store.units()] == ["B9"]
    found = json.loads(run("results", tmp_path / "p", "--json").stdout)
    assert found["results"] == []


def test_one_unit_has_no_interval_and_all_zeros_an_upper_limit_only(enter, tmp_path: Path) -> None:
    enter(BELT + COUNT.format("2024-05-19", "B1", 5)
          + "".join(COUNT.format("2024-05-20", f"B{k}", 0) for k in (1, 2)))  # fmt: skip
    rows = json.loads(run("results", tmp_path / "p", "--json").stdout)["results"]
    found = {(r["date"], r["thing"]): r for r in rows if r["figure"] == "density_per_m2"}
    one, none = found["2024-05-19", "hard coral"], found["2024-05-20", "hard coral"]
    assert (one["lo95"], one["hi95"], one["flags"]) == (None, None, ["one_unit"])
    assert (none["estimate"], none["lo95"], none["flags"]) == (0, None, ["upper_limit_only"])
    assert none["hi95"] > 0


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("a,b\n1,2\n", "confusion-table-broken"),
        ("true,read,n\nFavites,Favites,-3\n", "confusion-table-broken"),
        (
            "true,read,n\nFavites,Favites,5\nFavites,Porites,5\nPorites,Favites,5\n"
            "Porites,Porites,5\n",
            "confusion-not-usable",
        ),
    ],
)
def test_confusion_table_that_cannot_be_used(enter, tmp_path: Path, text: str, slug: str) -> None:
    table = BELT.replace("category,n", "category,name,n")
    line = COUNT.replace("hard coral", "hard coral,Favites")
    enter(table + "".join(line.format("2024-05-19", f"B{k}", 5 + k) for k in range(3)))
    (tmp_path / "c.csv").write_text(text, "utf-8")
    with pytest.raises(Exception, match=slug):
        run("results", tmp_path / "p", "--error-table", tmp_path / "c.csv")
