"""Typing records on the pages: the form of each way of sampling, checks as typed, storing once."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.import_template import DESIGN_FIELDS
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit
from dryslate.core.survey.designs import DESIGNS
from dryslate.web.record_words import CHOICE_WORDS, DESIGN_WORDS, FIELD_WORDS, FORM_WORDS

WHO = "Ines Varro"
TAPE = {"design": "line_intercept", "length_m": "10"}


@pytest.fixture
def trip(tmp_path: Path, dive) -> Path:
    """A project with a visit and a unit in which nothing is noted yet."""
    with wiring.new_store(tmp_path, who=WHO) as store:
        visit_id = dive.add_visit(store)
        store.save_region("indo_pacific")
        start_unit(store, visit_id, UnitWords(name="T1", kind="transect", zone="crest"), WHO, [])
    return tmp_path


@pytest.fixture
def pages(client_of, trip):
    return client_of(trip)


def unit_of(project: Path) -> str:
    with wiring.survey_store(project, write=False) as store:
        return store.units()[0].unit_id


@pytest.fixture
def unit(trip) -> str:
    return f"/records/units/{unit_of(trip)}"


def stored(project: Path):
    with wiring.survey_store(project, write=False) as store:
        return store.survey_rows()


def line(key: str, begin: str, end: str, category: str = "sand", **more: object) -> dict:
    cells = {"from_m": begin, "to_m": end, "category": category, **more.pop("cells", {})}
    return {"key": key, "kind": "intercept", "cells": cells, "number": 1, **more}


def seal(pages, unit: str) -> str:
    return pages.get(f"{unit}/lines").json()["seal"]


def send(pages, unit: str, *lines: dict, batch: str = "a" * 32, **more: object):
    body = {"batch": batch, "seal": seal(pages, unit), "lines": list(lines), **more}
    return pages.post(f"{unit}/lines", json=body)


def test_every_word_of_the_records_has_words_on_the_pages() -> None:
    assert set(DESIGN_WORDS) == set(DESIGNS)
    assert {name for names in DESIGN_FIELDS.values() for name in names} <= set(FIELD_WORDS)
    forms = wiring.reference_tables(None).taxa()[0].characters["growth_form"].states
    assert set(FORM_WORDS) == set(forms)


def test_units_of_a_visit_are_listed_with_what_is_noted(pages, unit) -> None:
    page = pages.get("/records").text
    assert ">T1</a>" in page
    assert "Say how, and type" in page
    assert pages.post(f"{unit}/design", data=TAPE).status_code == 303
    send(pages, unit, line("a", "0", "10"))
    page = pages.get("/records").text
    assert "line intercept" in page
    assert "Go on" in page


def test_a_project_without_a_visit_says_where_to_begin(client_of, tmp_path) -> None:
    with wiring.new_store(tmp_path, who=WHO) as store:
        store.save_region("indo_pacific")
    assert "There is no visit yet" in client_of(tmp_path, None).get("/records").text


@pytest.mark.parametrize("design", DESIGNS)
def test_the_form_has_only_the_fields_of_its_way(pages, unit, design) -> None:
    page = pages.get(unit, params={"design": design}).text
    shown = set(re.findall(r'<(?:input|select) id="(\w+)" name="\w+"', page))
    assert shown - {"language", "light"} == {*DESIGN_FIELDS[design], "is_permanent"}
    for name in set(CHOICE_WORDS) & shown:
        assert all(f'value="{value}"' in page for value in CHOICE_WORDS[name])


def test_a_way_that_is_none_asks_which(pages, unit) -> None:
    assert "How was it sampled?" in pages.get(unit, params={"design": "by guess"}).text


def test_faults_of_the_form_are_told_while_typing_and_nothing_is_stored(pages, unit, trip) -> None:
    said = {"design": "belt", "length_m": "wide", "width_m": "1", "edge_rule": "centre_inside"}
    told = html.unescape(pages.post(f"{unit}/design/check", data=said).text)
    assert "length of the tape or belt, m: 'wide': expected a number" in told
    answer = pages.post(f"{unit}/design", data=said)
    assert answer.status_code == 422
    assert 'value="wide"' in answer.text
    less = html.unescape(pages.post(f"{unit}/design/check", data={"design": "belt"}).text)
    assert "“width of the belt, m”" in less
    assert "length_m" not in less
    with wiring.survey_store(trip, write=False) as store:
        assert store.unit_designs() == ()


def test_the_first_design_gives_a_project_its_list_of_categories(pages, unit, trip) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    with wiring.survey_store(trip, write=False) as store:
        (stated,) = store.unit_designs()
        assert stated.list_version == 1
        assert any(one.category == "sand" for one in store.categories(1))


def test_lines_are_checked_all_together_and_nothing_is_stored(pages, unit, trip) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    lines = [
        line("a", "0", "4"),
        line("b", "3", "1,5"),
        line("c", "4", "5", "", cells={"name": "Xyz"}),
    ]
    told = pages.post(f"{unit}/check", json={"lines": lines}).json()
    found = {(f["key"], f["field"], f["slug"]) for f in told["faults"]}
    assert {("b", "to_m", "intercept-order"), ("c", "name", "name-unknown")} <= found
    assert told["held"] == ["b", "c"]
    assert told["sums"] == ["5.00 of 10.00 m of tape"]
    assert told["share"] == 0.5
    assert not told["is_whole"]
    assert stored(trip) == ()
    whole = pages.post(
        f"{unit}/check", json={"lines": [line("a", "0", "10", cells={"name": "Poci"})]}
    )
    assert whole.json()["whole"] == {"a": "Pocillopora"}
    assert whole.json()["is_whole"]
    assert pages.post(f"{unit}/check", json={"lines": []}).json()["share"] == 0.0


def test_a_batch_sent_again_after_a_lost_answer_is_stored_once(pages, unit, trip) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    before = seal(pages, unit)
    first = send(pages, unit, line("a", "0", "4")).json()
    again = pages.post(
        f"{unit}/lines", json={"batch": "a" * 32, "seal": before, "lines": [line("a", "0", "4")]}
    )
    assert again.json() == first
    assert len(stored(trip)) == 1


def test_the_second_of_two_people_is_told(pages, unit, trip) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    known = seal(pages, unit)
    send(pages, unit, line("a", "0", "4"))
    body = {"batch": "b" * 32, "seal": known, "lines": [line("b", "4", "9")]}
    answer = pages.post(f"{unit}/lines", json=body)
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["slug"] == "changed-meanwhile"
    assert len(stored(trip)) == 1


def test_a_stored_line_is_put_right_and_taken_out(pages, unit, trip) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    number = send(pages, unit, line("a", "0", "4")).json()["row_nos"]["a"]
    send(pages, unit, line("z", "0", "5", row_no=number), batch="b" * 32)
    assert [(r.row_no, r.row.to_m) for r in stored(trip)] == [(number, 5.0)]
    page = pages.get(unit).text
    assert '"to_m": "5"' in html.unescape(page)
    assert send(pages, unit, batch="c" * 32, gone=[number]).status_code == 200
    assert stored(trip) == ()


def test_lines_for_a_unit_nobody_described_are_refused(pages, unit) -> None:
    body = {"batch": "a" * 32, "seal": "0" * 32, "lines": []}
    told = pages.post(
        f"{unit}/lines", json={**body, "seal": seal(pages, unit), "lines": [line("a", "0", "1")]}
    )
    assert told.status_code == 422
    assert told.json()["problems"][0]["slug"] == "unit-without-design"
    assert pages.post(f"{unit}/lines", json={**body, "batch": "short"}).status_code == 422
    assert pages.get(f"/records/units/{'0' * 64}").status_code == 404


def test_another_way_of_sampling_is_refused_while_lines_stand(pages, unit) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    send(pages, unit, line("a", "0", "4"))
    answer = pages.post(f"{unit}/design", data={"design": "timed_swim", "minutes": "20"})
    assert answer.status_code == 422
    assert "unit-design-has-rows" in answer.text


def test_who_only_looks_stores_nothing(viewer_of, trip, unit) -> None:
    pages = viewer_of(trip)
    assert pages.post(f"{unit}/design", data=TAPE).status_code == 403


def test_in_french_cells_and_faults_have_french_words(pages, unit) -> None:
    pages.post(f"{unit}/design", data=TAPE)
    pages.post("/language", data={"language": "fr", "back": "/"})
    told = pages.post(f"{unit}/check", json={"lines": [line("a", "3", "1")]}).json()
    assert told["faults"][0]["lang"] == ""
    assert told["sums"][0].startswith("0,00 m sur 10,00 m")
