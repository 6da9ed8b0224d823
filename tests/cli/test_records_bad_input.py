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


COLONIES = BELT.replace("category,n", "category,name,longest_cm")
COLONY = "{},{},{},belt,10,1,centre_inside,colony,hard coral,{},{}\n"


def test_transect_of_colonies_that_was_pasted_twice_is_asked_about(enter) -> None:
    sizes = ("10", "12", "7", "31")
    once = "".join(COLONY.format("A", "2024-05-19", "B1", "Porites", cm) for cm in sizes)
    told, n_rows = enter(COLONIES + once * 2)
    (problem,) = told["problems"]
    assert (problem["slug"], problem["severity"]) == ("row-count-twice", "warning")
    assert "all 8 colonies" in problem["message"]
    assert ("t.csv, row 6" in problem["place"], n_rows) == (True, 8)


def test_transect_that_was_pasted_under_another_name_is_asked_about(enter) -> None:
    sizes = ("10", "12", "7", "31", "9")
    both = ("".join(COLONY.format("A", "2024-05-19", u, "Porites", cm) for cm in sizes)
            for u in ("B1", "B2"))  # fmt: skip
    told, _ = enter(COLONIES + "".join(both))
    (problem,) = told["problems"]
    assert (problem["slug"], problem["place"]) == ("unit-like-another", "t.csv, row 7")


def test_names_that_are_nearly_alike_are_asked_about_and_kept_apart(enter) -> None:
    told, n_rows = enter(
        BELT
        + COUNT.format("2024-05-19", "B1", 5)
        + COUNT.format("2024-05-19", "B 01", 6)
        + COUNT.format("2024-05-19", "B2", 6).replace("A,", "Á,")
    )
    found = [(p["slug"], p["severity"], p["place"]) for p in told["problems"]]
    assert found == [
        ("place-name-alike", "warning", "t.csv, row 4"),
        ("place-name-alike", "warning", "t.csv, row 3"),
    ]
    assert n_rows == 3
    table = BELT.replace("unit,", "unit,zone,observer,")
    told, more = enter(
        table
        + COUNT.format("2024-06-19", "B1,crest,Ines Varro", 5).replace("A,", "a,")
        + COUNT.format("2024-06-20", "B1,crest,ines varro", 5)
        + COUNT.format("2024-06-20", "b1,Crest,Ines Varro", 5)
    )
    assert [(p["slug"], p["severity"], p["place"]) for p in told["problems"]] == [
        ("name-nearly", "error", f"t.csv, row {row}") for row in (2, 3, 4, 4)
    ]
    assert more == n_rows


@pytest.mark.parametrize("day", ["2204-05-19", "1024-05-19"])
def test_a_year_that_can_hardly_be_is_asked_about(enter, day: str) -> None:
    told, _ = enter(BELT + COUNT.format(day, "B1", 5))
    assert [(p["slug"], p["place"]) for p in told["problems"]] == [
        ("unit-date-odd", "t.csv, row 2")
    ]


def test_a_colony_beyond_all_of_its_genus_is_asked_about(enter) -> None:
    told, n_rows = enter(
        COLONIES
        + COLONY.format("A", "2024-05-19", "B1", "Heliofungia", "250")  # in millimetres
        + COLONY.format("A", "2024-05-19", "B1", "Heliofungia", "25")
        + COLONY.format("A", "2024-05-19", "B1", "Porites", "600")
    )
    (problem,) = told["problems"]
    assert (problem["slug"], problem["severity"]) == ("row-size-beyond-genus", "warning")
    assert problem["place"] == "t.csv, row 2, column longest_cm"
    assert n_rows == 3


def test_a_belt_that_says_nothing_of_corals_beside_others_that_do_is_asked_about(enter) -> None:
    table = BELT.replace("category,", "category,name,")
    head = "A,2024-05-19,{},belt,10,1,centre_inside,{},{},{},{}\n"
    rows = [
        ("B1", "count", "hard coral", "", 5),
        ("B2", "none_seen", "", "Porites", ""),
        ("B3", "none_seen", "hard coral", "", ""),
        ("B4", "count", "giant clam", "", 3),  # the category of corals is then 0
    ]
    told, _ = enter(table + "".join(head.format(*row) for row in rows))
    assert [(p["slug"], p["severity"], p["place"]) for p in told["problems"]] == [
        ("unit-corals-blank", "note", "t.csv, row 3")
    ]


def test_a_constant_beside_a_column_of_that_name_is_a_fault(enter) -> None:
    told, n_rows = enter(BELT + COUNT.format("2024-05-19", "B1", 5), "[constants]\nwidth_m = 2\n")
    assert [(p["slug"], p["place"]) for p in told["problems"]] == [
        ("mapping-choice", "mapping, width_m")
    ]
    assert n_rows == 0


def test_a_table_fills_in_what_a_unit_lacks_and_contradicts_nothing(tmp_path: Path) -> None:
    project, path = tmp_path / "p", tmp_path / "t.csv"
    run("new", project)
    path.write_text(
        "site,date,unit,zone,design,length_m,width_m,edge_rule\n"
        "A,2024-05-19,B1,,belt,10,1,centre_inside\nA,2024-05-19,B2,crest,belt,10,1,centre_inside\n",
        "utf-8",
    )
    run("records", "import", project, path, *WHO, "--save")
    head = BELT.replace("unit,", "unit,zone,")
    path.write_text(head + COUNT.format("2024-05-19", "B1,slope", 5), "utf-8")
    run("records", "import", project, path, *WHO, "--save")
    with wiring.survey_store(project, write=False) as store:
        assert {unit.name: unit.zone for unit in store.units()} == {"B1": "slope", "B2": "crest"}
    path.write_text(head + COUNT.format("2024-05-19", "B2,slope", 5), "utf-8")
    told = json.loads(run("records", "import", project, path, *WHO, "--save", "--json").stdout)
    assert [(p["slug"], p["place"]) for p in told["problems"]] == [
        ("unit-said-twice", "t.csv, row 2")
    ]
    assert told["n_stored"] == 0


def test_none_seen_of_corals_beside_corals_that_have_names_is_a_fault(enter) -> None:
    none = COUNT.format("2024-05-19", "B1", "").replace("count", "none_seen")
    seen = COUNT.format("2024-05-19", "B1", 3).replace("hard coral,", "hard coral,Porites,")
    told, n_rows = enter(
        BELT.replace("category,", "category,name,") + none.replace("coral,", "coral,,") + seen
    )
    assert [p["slug"] for p in told["problems"]] == ["none-seen-and-seen"]
    assert n_rows == 0


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
