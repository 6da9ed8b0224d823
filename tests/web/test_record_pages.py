"""Pages on records: importing tables, the table of rows, and the list of categories."""

from __future__ import annotations

import csv
import html
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

from dryslate import wiring

WHO = "Ines Varro"
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


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    """An empty project of the Indo-Pacific."""
    with wiring.new_store(tmp_path, who=WHO) as store:
        store.save_region("indo_pacific")
    return tmp_path


@pytest.fixture
def pages(client_of, trip):
    made = client_of(trip, None)
    assert made.post("/people/new", data={"observer": WHO}).status_code == 303
    return made


@pytest.fixture
def send(pages):
    """Send tables as a browser does."""

    def make(do: str = "check", mapping: str = "", **tables: str):
        files = [("tables", (f"{name}.csv", text.encode())) for name, text in tables.items()]
        if mapping:
            files.append(("mapping", ("mapping.toml", mapping.encode())))
        return pages.post("/records/import", files=files, data={"do": do})

    return make


def rows_of(project: Path):
    with wiring.survey_store(project, write=False) as store:
        return store.survey_rows()


def test_tables_are_read_first_and_stored_only_when_asked(send, trip) -> None:
    read = html.unescape(send(units=UNITS, rows=ROWS).text)
    assert "2 units, 4 rows read" in read
    assert 'id="store"' in read
    assert rows_of(trip) == ()
    assert "4 rows stored" in send("store", units=UNITS, rows=ROWS).text
    assert len(rows_of(trip)) == 4
    again = send(units=UNITS, rows=ROWS).text
    assert "unit-has-rows" in again
    assert 'id="store"' not in again


def test_every_fault_has_its_table_row_and_column_and_leads_to_the_cell(send, trip) -> None:
    bad = ROWS.replace("12.5", "-3").replace("Favites,", "Xyzzy,").replace(",7,", ",seven,")
    told = html.unescape(send("store", units=UNITS, rows=bad).text)
    lines = re.findall(
        r'<tr class="error"><td>(.*?)</td><td class="n" data-value="(\d+)"><a href="(.*?)">'
        r".*?</a></td><td>(.*?)</td>.*?#([\w-]+)\"",
        told,
    )
    assert ("rows.csv", "5", "#t1-r5", "n", "cell-not-a-number") in lines
    assert ("rows.csv", "2", "#t1-r2", "longest_cm", "row-size-not-positive") in lines
    assert ("rows.csv", "2", "#t1-r2", "name", "name-unknown") in lines
    assert re.search(r'<tr id="t1-r5".*?<td class="at-fault">seven</td>', told)
    assert rows_of(trip) == ()


def test_a_mapping_is_used_and_one_that_is_none_is_told(send) -> None:
    rows = ROWS.replace("longest_cm", "laenge").replace("12.5", '"12,5"')
    mapping = 'decimal = ","\n[columns]\nlongest_cm = "laenge"\n'
    units = UNITS.replace("4.5", '"4,5"')
    assert "Nothing stands against" in send(units=units, rows=rows, mapping=mapping).text
    answer = send(units=UNITS, rows=ROWS, mapping="[columns\n")
    assert answer.status_code == 422
    assert "mapping-not-toml" in answer.text


def test_what_is_no_table_is_refused_without_a_path_of_the_server(send, pages) -> None:
    answer = send(units="")
    assert answer.status_code == 422
    assert "/tmp" not in answer.text
    assert pages.post("/records/import", data={"do": "check"}).status_code == 422


def test_workbooks_to_fill_in_are_handed_out(pages) -> None:
    assert pages.get("/records/template/belt.xlsx").content[:2] == b"PK"
    assert pages.get("/records/template/by_guess.xlsx").status_code == 404


@pytest.fixture
def stocked(send, pages):
    send("store", units=UNITS, rows=ROWS)
    return pages


def shown(pages, **asked: object) -> list[str]:
    """Where the rows that are shown were written, in order."""
    part = pages.get("/records/table", params=asked, headers={"hx-request": "true"}).text
    return re.findall(r"#row-\d+\">rows\.csv, row (\d)</a>", part)


def test_rows_are_filtered_and_put_in_order(stocked) -> None:
    assert shown(stocked) == ["2", "3", "4", "5"]
    assert shown(stocked, words="CABLE") == ["5"]
    assert shown(stocked, kind="none_seen") == ["4"]
    assert shown(stocked, order="name")[:3] == ["4", "2", "3"]
    assert shown(stocked, order="name", back=True)[0] == "3"
    assert shown(stocked, order="n; DROP TABLE survey_rows") == ["2", "3", "4", "5"]
    assert shown(stocked, category="soft coral", design="belt") == ["5"]
    assert "no such" not in stocked.get("/records/table", params={"words": "%' --"}).text


def test_each_row_leads_to_its_unit_and_a_zero_is_no_blank(stocked, trip) -> None:
    page = stocked.get("/records/table").text
    unit = rows_of(trip)[0].unit_id
    assert f'href="/records/units/{unit}"' in page
    assert '<td class="n">0</td>' in page


def test_the_rows_that_are_shown_are_downloaded_whole(stocked, trip) -> None:
    answer = stocked.get("/records/table.csv", params={"kind": "count"})
    found = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(r["unit"], r["n"], r["name"], r["category"]) for r in found] == [
        ("T1", "0", "Porites", "hard coral"),
        ("T2", "7", "", "soft coral"),
    ]
    with wiring.survey_store(trip, write=True, who=WHO) as store:
        one = store.survey_rows()[-1]
        store.save_survey_rows([replace(one, row_no=None) for _ in range(5000)])
    many = list(
        csv.DictReader(io.StringIO(stocked.get("/records/table.csv").content.decode("utf-8-sig")))
    )
    assert len(many) == 5004
    assert len({r["row_no"] for r in many}) == 5004
    assert "page 1 of 51" in stocked.get("/records/table").text


def form_of(pages) -> dict[str, list[str]]:
    """The form that changes the list, as it stands."""
    page = html.unescape(pages.get("/records/categories", params={"change": True}).text)
    found: dict[str, list[str]] = {
        name: re.findall(rf'name="{name}" value="([^"]*)"', page)
        for name in ("version", "was", "category", "group")
    }
    found["hard"] = [
        "yes" if "selected" in one else "no"
        for one in re.findall(r'name="hard">(.*?)</select>', page, re.S)
    ]
    found["definition"] = re.findall(r'name="definition"[^>]*>(.*?)</textarea>', page, re.S)
    found["instead"] = [""] * len(found["was"])
    return found


def test_a_renamed_category_is_mapped_and_rows_keep_their_version(stocked, trip) -> None:
    form = form_of(stocked)
    form["category"][form["was"].index("soft coral")] = "fleshy octocoral"
    assert stocked.post("/records/categories", data=form).status_code == 303
    with wiring.survey_store(trip, write=False) as store:
        assert {c.category for c in store.categories(2)} >= {"fleshy octocoral", "sand"}
        mapped = {m.category: m.to_category for m in store.category_mappings()}
        assert mapped["soft coral"] == "fleshy octocoral"
        assert mapped["sand"] == "sand"
        assert {s.list_version for s in store.unit_designs()} == {1}
    page = stocked.get("/records/categories").text
    assert "Version 2" in page
    assert "soft coral (v1) → fleshy octocoral" in page
    assert "Version 1" in stocked.get("/records/categories", params={"version": 1}).text


def test_a_category_in_use_is_taken_out_only_with_what_stands_for_it(stocked, trip) -> None:
    form = form_of(stocked)
    at = form["was"].index("soft coral")
    form["category"][at] = ""
    answer = stocked.post("/records/categories", data=form)
    assert answer.status_code == 422
    assert "categories-not-mapped" in answer.text
    form["instead"][at] = "sea fan or whip"
    assert stocked.post("/records/categories", data=form).status_code == 303
    with wiring.survey_store(trip, write=False) as store:
        assert "soft coral" not in {c.category for c in store.categories(2)}


def test_a_new_category_needs_a_definition_and_the_second_of_two_is_told(stocked) -> None:
    form, other = form_of(stocked), form_of(stocked)
    form["category"][-1] = "boulder"
    answer = stocked.post("/records/categories", data=form)
    assert answer.status_code == 422
    assert "categories-row" in answer.text
    assert 'value="boulder"' in answer.text
    form["definition"][-1] = "Loose rock over 25 cm."
    assert stocked.post("/records/categories", data=form).status_code == 303
    other["definition"][0] = "something else"
    assert stocked.post("/records/categories", data=other).status_code == 409


def test_a_project_without_a_list_begins_with_the_usual_one(pages, trip) -> None:
    assert "The usual list" in pages.get("/records/categories").text
    form = form_of(pages)
    form["group"][form["was"].index("turf")] = "algae"
    assert pages.post("/records/categories", data=form).status_code == 303
    with wiring.survey_store(trip, write=False) as store:
        assert {c.list_version for c in store.categories()} == {1, 2}


def test_conditions_of_a_visit_are_typed_and_kept(client_of, own_project) -> None:
    pages = client_of(own_project)
    visit = "Lantern Steps 2024-03-09"
    said = {"visit": visit, "tide": "rising", "visibility_m": "12,5", "sea": "calm"}
    answer = pages.post("/records/conditions", data=said)
    assert answer.status_code == 303, answer.text
    html = pages.get(answer.headers["location"]).text
    assert 'value="12.5"' in html
    assert "stated by Ines Varro" in html
    wrong = pages.post("/records/conditions", data={**said, "water_c": "warm"})
    assert "visit-condition-odd" in wrong.text
    unknown = pages.post("/records/conditions", data={"visit": "nowhere"})
    assert unknown.status_code == 422
    assert "visit-unknown" in unknown.text


def test_visit_without_photos_is_begun_on_the_page_and_typed_into(pages, trip) -> None:
    assert "A visit without photos" in pages.get("/records").text
    said = {"site": " Quiet  Ledge", "date": "2024-05-19"}
    begun = pages.post("/records/visit", data=said)
    assert begun.status_code == 303
    address = begun.headers["location"]
    shown = pages.get(address).text
    assert "Quiet Ledge, 19 May 2024" in shown
    to_type = html.unescape(re.search(r'href="(/units/new\?[^"]+)"', shown)[1])
    assert "Save, and type what was noted" in pages.get(to_type).text
    unit = {"visit": "Quiet Ledge 2024-05-19", "name": "T1", "kind": "transect", "then": "type"}
    made = pages.post("/units/new", data=unit)
    assert re.fullmatch("/records/units/[0-9a-f]{64}", made.headers["location"])
    assert "How was it sampled?" in pages.get(made.headers["location"]).text
    assert pages.post("/records/visit", data=said).headers["location"] == address  # stays as it is
    with wiring.survey_store(trip, write=False) as store:
        (visit,) = store.visits()
        assert (visit.site, visit.observer) == ("Quiet Ledge", WHO)
    assert "Quiet Ledge" in pages.get("/").text
    for site, date, slug in (
        ("Quiet Ledge", "2024-02-30", "visit-date"),
        ("quiet ledge", "2024-05-20", "name-nearly"),
        (" ", "2024-05-20", "name-empty"),
    ):
        refused = pages.post("/records/visit", data={"site": site, "date": date})
        assert refused.json()["problems"][0]["slug"] == slug
