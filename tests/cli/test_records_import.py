"""``dryslate records``: tables in, every fault with its place, all stored or nothing."""

from __future__ import annotations

import io
import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app
from dryslate.core.survey.designs import DESIGNS

pytestmark = pytest.mark.usefixtures("tables_read_once")
WHO = ("--observer", "Ines Varro")
UNITS = """site,date,unit,zone,depth_m,design,length_m,width_m,edge_rule,searched
Quiet Ledge,2024-05-19,T1,crest,4.5,belt,10,1,centre_inside,Acropora; Porites
Quiet Ledge,2024-05-19,T2,crest,,belt,10,1,centre_inside,
"""
ROWS = """site,date,unit,kind,category,name,n,longest_cm,across_cm,note
Quiet Ledge,2024-05-19,T1,colony,hard coral,Favites,,12.5,9,
Quiet Ledge,2024-05-19,T1,count,hard coral,Porites,0,,,
Quiet Ledge,2024-05-19,T1,none_seen,hard coral,Acropora,,,,
Quiet Ledge,2024-05-19,T2,count,soft coral,,7,,,"by the cable, left"
"""


def run(*words: object):
    return CliRunner().invoke(build_app(), [str(word) for word in words])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "trip"
    assert run("new", folder).exit_code == 0
    assert run("region", folder, "indo_pacific", *WHO).exit_code == 0
    return folder


@pytest.fixture
def project(made: Path, tmp_path: Path) -> Path:
    """A copy of an empty project of the Indo-Pacific."""
    return Path(shutil.copytree(made, tmp_path / "trip"))


@pytest.fixture
def enter(project: Path, tmp_path: Path):
    """Import tables given as text; returns the exit code and what was told."""

    def make(units: str = UNITS, rows: str | None = ROWS, *more: object, mapping: str = ""):
        paths = []
        for name, text in (("units.csv", units), ("rows.csv", rows)):
            if text is not None:
                paths.append(tmp_path / name)
                paths[-1].write_text(text, "utf-8")
        if mapping:
            (tmp_path / "mapping.toml").write_text(mapping, "utf-8")
            more = (*more, "--mapping", tmp_path / "mapping.toml")
        done = run("records", "import", project, *paths, *WHO, "--json", *more)
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return done.exit_code, json.loads(done.stdout)

    return make


def slugs(told: dict) -> list[str]:
    return [problem["slug"] for problem in told["problems"]]


def stored(project: Path):
    with wiring.survey_store(project, write=False) as store:
        return store.unit_designs(), store.survey_rows(), store.categories(), store.visits()


def test_dry_run_stores_nothing_and_says_so(enter, project: Path) -> None:
    code, told = enter()
    assert (code, told["n_units"], told["n_rows"], told["n_stored"]) == (0, 2, 4, 0)
    assert told["is_sound"]
    assert stored(project) == ((), (), (), ())


def test_sound_tables_are_stored_without_loss(enter, project: Path) -> None:
    code, told = enter(UNITS, ROWS, "--save")
    assert (code, told["n_stored"]) == (0, 4)
    designs, rows, categories, visits = stored(project)
    assert [d.design.searched_m2 for d in designs] == [10.0, 10.0]
    assert designs[0].design.searched == ("Acropora", "Porites")
    assert [(r.row.kind, r.row.n, r.name, r.rank) for r in rows] == [
        ("colony", None, "Favites", "genus"),
        ("count", 0, "Porites", "genus"),
        ("none_seen", None, "Acropora", "genus"),
        ("count", 7, "", ""),
    ]
    assert rows[0].row.place == "rows.csv, row 2"
    assert rows[3].row.note == "by the cable, left"
    assert {d.list_version for d in designs} == {1}
    assert "hard coral" in {c.category for c in categories}
    assert [v.visit_id for v in visits] == ["Quiet Ledge 2024-05-19"]
    with wiring.survey_store(project, write=False) as store:
        assert [(u.name, u.zone, u.depth_m) for u in store.units()] == [
            ("T1", "crest", 4.5),
            ("T2", "crest", None),
        ]


def test_same_tables_again_store_nothing_twice(enter, project: Path) -> None:
    enter(UNITS, ROWS, "--save")
    before = stored(project)
    with pytest.raises(Exception, match="unit-has-rows"):
        enter(UNITS, ROWS, "--save")
    assert stored(project) == before


def test_one_table_with_both_is_read(enter, project: Path) -> None:
    both = """site,date,unit,design,minutes,kind,category,n
Quiet Ledge,2024-05-19,S1,timed_swim,30,count,hard coral,3
Quiet Ledge,2024-05-19,S1,timed_swim,30,count,soft coral,0
"""
    code, told = enter(both, None, "--save")
    assert (code, told["n_stored"]) == (0, 2)


@pytest.mark.parametrize(
    ("old", "new", "slug", "place"),
    [
        ("12.5,9", "12.5,x", "cell-not-a-number", "rows.csv, row 2, column across_cm"),
        ("12.5,9", '"12,5",9', "cell-decimal", "rows.csv, row 2, column longest_cm"),
        ("12.5,9", "-12.5,9", "row-size-not-positive", "rows.csv, row 2"),
        ("12.5,9", "9,12.5", "row-size-across-longer", "rows.csv, row 2"),
        (",7,", ",7.5,", "cell-not-whole", "rows.csv, row 5, column n"),
        (",7,", ",-7,", "row-count-negative", "rows.csv, row 5"),
        (",7,", ",,", "row-blank", "rows.csv, row 5"),
        ("soft coral", "soft corl", "row-category-unknown", "rows.csv, row 5"),
        ("T2,count", "T2,cuont", "cell-not-a-choice", "rows.csv, row 5, column kind"),
        ("19,T2,count", "91,T2,count", "cell-not-a-date", "rows.csv, row 5, column date"),
        ("19,T2,count", "19,,count", "row-without-unit", "rows.csv, row 5"),
        ("Favites", "Favitesx", "name-unknown", "rows.csv, row 2, column name"),
        ("cable, left", 'cable"", left,', "", ""),
        ("2024-05-19,T2", "2024-05-18,T2", "unit-without-design", "rows.csv, row 5"),
    ],
)
def test_every_fault_has_its_row_and_column(enter, project, old, new, slug, place) -> None:
    code, told = enter(UNITS, ROWS.replace(old, new), "--save")
    if not slug:
        assert code == 0
        return
    assert code == 3
    found = [p for p in told["problems"] if p["slug"] == slug]
    assert found, told["problems"]
    assert place in found[0]["place"]
    assert told["n_stored"] == 0
    assert stored(project)[1] == ()


@pytest.mark.parametrize(
    ("old", "new", "slug"),
    [
        ("T1,crest,4.5,belt", "T1,crest,4.5,blet", "cell-not-a-choice"),
        ("10,1,centre_inside,Acropora", "10,,centre_inside,Acropora", "unit-design-incomplete"),
        ("10,1,centre_inside,Acropora", "10,0,centre_inside,Acropora", "unit-design-not-positive"),
        ("T2,crest", "T1,slope", "unit-said-twice"),
        ("site,date,unit,zone", "place,date,unit,zone", "table-column-missing"),
    ],
)
def test_faults_of_units_are_told(enter, project, old, new, slug) -> None:
    code, told = enter(UNITS.replace(old, new), ROWS, "--save")
    assert code == 3
    assert slug in slugs(told)
    assert stored(project)[1] == ()


def test_all_faults_are_told_at_once(enter) -> None:
    rows = ROWS.replace("12.5,9", "x,y").replace(",7,", ",,").replace("Porites,0", "Porites,-1")
    found = slugs(enter(UNITS, rows)[1])
    assert found.count("cell-not-a-number") == 2
    assert {"row-blank", "row-count-negative"} <= set(found)


def test_same_fault_in_many_rows_is_said_once_with_every_place(project, tmp_path) -> None:
    head = "Quiet Ledge,2024-05-19,T1,belt,10,1,centre_inside,count,{},{}\n"
    table = "site,date,unit,design,length_m,width_m,edge_rule,kind,category,n\n"
    table += "".join(head.format("turf algae", n) for n in range(5)) + head.format("rock", 3)
    (tmp_path / "t.csv").write_text(table, "utf-8")
    done = run("records", "import", project, tmp_path / "t.csv", *WHO)
    assert done.exit_code == 3
    assert done.output.count("'turf algae' is not in the project's list") == 1
    assert "error: 5 places: the category 'turf algae'" in done.output
    assert all(f"t.csv, row {row};" in done.output for row in range(2, 6))
    assert "t.csv, row 6\n" in done.output
    assert "turf, fleshy algae" in done.output or "fleshy algae, turf" in done.output
    assert "error: Quiet Ledge 2024-05-19 T1, t.csv, row 7: the category 'rock'" in done.output


def test_mapping_reads_somebody_elses_columns(enter, project: Path) -> None:
    table = """Ort;Tag;Band;Was;Gattung;Anzahl;Groesse
Quiet Ledge;19.5.2024;T1;Steinkoralle;Favites;3;
Quiet Ledge;19.5.2024;T1;Steinkoralle;Porites;1;12,5
"""
    mapping = """
decimal = ","
date_order = "day month year"
[columns]
site = "Ort"
date = "Tag"
unit = "Band"
category = "Was"
name = "Gattung"
n = "Anzahl"
longest_cm = "Groesse"
[constants]
kind = "count"
design = "belt"
length_m = 20
width_m = 0.5
is_permanent = false
edge_rule = "two_sides_in"
[words.category]
Steinkoralle = "hard coral"
"""
    code, told = enter(table, None, "--save", mapping=mapping)
    assert (code, told["n_stored"]) == (0, 2), told["problems"]
    designs, rows, *_ = stored(project)
    assert designs[0].design.searched_m2 == 10.0
    assert [(r.row.category, r.row.n, r.row.longest_cm) for r in rows] == [
        ("hard coral", 3, None),
        ("hard coral", 1, 12.5),
    ]


@pytest.mark.parametrize(
    ("mapping", "slug"),
    [
        ("[columns\n", "mapping-not-toml"),
        ('[columns]\nsiet = "site"\n', "mapping-field-unknown"),
        ('decimal = ";"\n', "mapping-choice"),
        ('date_order = ["day month year"]\n', "mapping-choice"),
        ('columns = "unit"\n', "mapping-choice"),
        ('[words]\ncategory = "hard coral"\n', "mapping-choice"),
    ],
)
def test_mapping_that_cannot_be_used_is_refused(enter, mapping, slug) -> None:
    with pytest.raises(Exception, match=slug):
        enter(UNITS, ROWS, mapping=mapping)


def test_mapping_that_names_an_absent_column_is_told(enter) -> None:
    _, told = enter(UNITS, ROWS, mapping='[columns]\nnote = "remarks"\n')
    assert "mapping-column-absent" in slugs(told)


@pytest.mark.parametrize("design", DESIGNS)
def test_template_filled_in_comes_back(design, project: Path, tmp_path: Path) -> None:
    path = tmp_path / "sheet.xlsx"
    assert run("records", "template", design, "-o", path).exit_code == 0
    book = load_workbook(path)
    assert book.sheetnames == ["units", "rows", "columns"]
    heading = [cell.value for cell in book["units"][1]]
    told = {row[0].value for row in book["columns"].iter_rows(min_row=2)}
    assert {*heading, *(cell.value for cell in book["rows"][1])} == told
    values = {
        "site": "Quiet Ledge",
        "date": "2024-05-19",
        "unit": "U1",
        "length_m": 10,
        "width_m": 1,
        "area_m2": 1,
        "spacing_m": 10,
        "n_cells": 1,
        "n_points": 1,
        "point_rule": "random",
        "minutes": 30,
        "edge_rule": "centre_inside",
        "design": design,
    }
    for k, name in enumerate(heading, start=1):
        book["units"].cell(2, k).value = values.get(name)
    rows = {
        "line_intercept": {"kind": "intercept", "category": "sand", "from_m": 0, "to_m": 10},
        "point_intercept": {"kind": "point", "category": "sand", "at_m": 10},
        "quadrat_cells": {"kind": "cell", "category": "sand", "cell": 1},
        "photo_points": {"kind": "point", "category": "sand", "x_px": 3, "y_px": 4},
    }.get(design, {"kind": "count", "category": "sand", "n": 0})
    said = values | rows
    book["rows"].append([said.get(cell.value) for cell in book["rows"][1]])
    book.save(path)
    done = run("records", "import", project, path, *WHO, "--save", "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["n_stored"] == 1
    (noted,) = stored(project)[1]
    assert noted.row.kind == rows["kind"]
    listed = json.loads(run("records", "list", project, "--json").stdout)["units"]
    assert [(u["unit"], u["design"], u["n_rows"]) for u in listed] == [("U1", design, 1)]


def test_numbers_of_a_workbook_are_numbers_whatever_the_decimal_sign(project, tmp_path) -> None:
    book = Workbook()
    page = book.active
    page.append(
        [
            "site",
            "date",
            "unit",
            "design",
            "length_m",
            "width_m",
            "edge_rule",
            "kind",
            "name",
            "longest_cm",
        ]
    )
    for day, length, width in (
        (datetime(2024, 5, 19, 9, 30), 10.5, "1,5"),
        ("19/05/2024", 10.5, 1.5),
    ):
        page.append(
            ["A", day, 1, "belt", length, width, "centre_inside", "colony", "Porites", "7,5"]
        )
    path, mapping = tmp_path / "belts.xlsx", tmp_path / "m.toml"
    book.save(path)
    mapping.write_text('decimal = ","\ndate_order = "day month year"\n', "utf-8")
    words = ("records", "import", project, path, *WHO, "--mapping", mapping, "--save", "--json")
    told = json.loads(run(*words).stdout)
    assert (told["n_stored"], told["n_units"]) == (2, 1), told["problems"]
    designs, rows, *_ = stored(project)
    assert designs[0].design.searched_m2 == 15.75
    assert [one.row.longest_cm for one in rows] == [7.5, 7.5]


def test_merged_cells_and_formulas_are_told_by_cell(project: Path, tmp_path: Path) -> None:
    book = Workbook()
    page = book.active
    page.append(["site", "date", "unit", "design", "minutes", "kind", "category", "n"])
    page.append(["Quiet Ledge", "2024-05-19", "S1", "timed_swim", 30, "count", "sand", "=1+2"])
    page.append(["Quiet Ledge", "2024-05-19", "S1", "timed_swim", 30, "count", "silt", 2])
    page.merge_cells("A2:A3")
    out = io.BytesIO()
    book.save(out)
    path = tmp_path / "swim.xlsx"
    path.write_bytes(out.getvalue())
    told = json.loads(run("records", "import", project, path, *WHO, "--save", "--json").stdout)
    places = {p["slug"]: p["place"] for p in told["problems"]}
    assert places["table-formula"].endswith("cell H2")
    assert places["table-merged"].endswith("cell A2:A3")
    assert told["n_stored"] == 0


@pytest.mark.parametrize(
    ("data", "slug"),
    [
        (b"", "table-empty"),
        (b"site,date\n\xff\xfe", "table-not-utf8"),
        (b"site,site\na,b\n", "table-column-twice"),
        (b"PK\x03\x04 broken", "table-not-xlsx"),
    ],
)
def test_file_that_is_no_table_is_refused(project: Path, tmp_path: Path, data, slug) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(data)
    done = run("records", "import", project, path, *WHO)
    assert done.exception.slug == slug
    absent = run("records", "import", project, tmp_path / "no.csv", *WHO)
    assert absent.exception.slug == "table-not-found"


def test_list_of_categories_changes_in_versions(enter, project: Path, tmp_path: Path) -> None:
    usual = json.loads(run("records", "categories", project, "--json").stdout)
    assert usual["list_version"] is None
    assert len(usual["categories"]) == 24
    enter(UNITS, ROWS, "--save")
    path = tmp_path / "list.csv"
    path.write_text(
        "category,group,is_hard_coral,definition\n"
        "stony coral,stony coral,yes,Living Scleractinia.\n"
        "soft coral,soft coral,no,Bends.\n",
        "utf-8",
    )
    lost = run("records", "categories", project, "--set", path)
    assert lost.exception.slug == "categories-not-mapped"
    renamed = ("--renamed", "hard coral=stony coral")
    told = json.loads(
        run("records", "categories", project, "--set", path, *renamed, "--json").stdout
    )
    assert told["list_version"] == 2
    with wiring.survey_store(project, write=False) as store:
        mapped = {(m.category, m.to_category) for m in store.category_mappings()}
    assert mapped == {("hard coral", "stony coral"), ("soft coral", "soft coral")}
    again = json.loads(
        run("records", "categories", project, "--set", path, *renamed, "--json").stdout
    )
    assert again["list_version"] == 2


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("category,group\nsand,sand\n", "categories-columns"),
        ("category,group,is_hard_coral,definition\nsand,,no,\n", "categories-row"),
        ("category,group,is_hard_coral,definition\nsand,,perhaps,Grains.\n", "categories-row"),
    ],
)
def test_list_without_definitions_is_refused(project: Path, tmp_path: Path, text, slug) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text, "utf-8")
    assert run("records", "categories", project, "--set", path).exception.slug == slug


def test_design_that_is_not_known_has_no_template(tmp_path: Path) -> None:
    done = run("records", "template", "manta_tow", "-o", tmp_path / "x.xlsx")
    assert done.exception.slug == "design-unknown"
