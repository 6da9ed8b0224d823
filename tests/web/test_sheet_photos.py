"""Photographed sheets on the pages: found in a visit, beside the lines, behind every figure."""

from __future__ import annotations

import html
import io
import json
import re
import time
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app

TAPE = {"design": "line_intercept", "length_m": "10"}


@pytest.fixture
def project(tmp_path, photographed) -> Path:
    """A tape T1 whose sheet was photographed, and a blank sheet beside it."""
    folder = photographed.make_project(tmp_path / "trip")
    photographed.add_unit(folder, "T1")
    card = tmp_path / "card"
    card.mkdir()
    first = photographed.print_for(folder, "line_intercept", "T1", length_m="10")[0]
    photographed.photograph(first, card / "SHEET.JPG")
    blank = photographed.print_for(folder, "belt", "")[0]
    photographed.photograph(blank, card / "BLANK.JPG", -3.0)
    photographed.take_in(folder, card)
    return folder


@pytest.fixture
def pages(client_of, project, photographed):
    """The pages, after the sheets were looked for."""
    made = client_of(project)
    assert made.post("/sheets/join", data={"visit": photographed.VISIT}).status_code == 303
    while made.get("/jobs").json()["jobs"]:
        time.sleep(0.05)
    return made


def photos_of(project: Path) -> dict[str, object]:
    with wiring.survey_store(project, write=False) as store:
        return {store.photo(r.photo_id).files[0].original_name: r for r in store.sheet_photos()}


def test_sheets_of_a_visit_are_listed_with_their_units(pages, project) -> None:
    found = photos_of(project)
    told = html.unescape(pages.get("/sheets").text)
    assert f'/sheets/photos/{found["SHEET.JPG"].photo_id}">SHEET.JPG</a>' in told
    assert f'/records/units/{found["SHEET.JPG"].unit_id}">T1</a>' in told
    assert "say which" in told


def test_a_sheet_without_a_unit_is_put_to_one(pages, project) -> None:
    found = photos_of(project)
    blank, unit_id = found["BLANK.JPG"], found["SHEET.JPG"].unit_id
    address = f"/sheets/photos/{blank.photo_id}"
    assert '<option value="">' in pages.get(address).text
    answer = pages.post(f"{address}/unit", data={"unit": unit_id})
    assert (answer.status_code, answer.headers["location"]) == (303, address)
    assert photos_of(project)["BLANK.JPG"].unit_id == unit_id
    assert pages.post(f"{address}/unit", data={"unit": "f" * 64}).status_code == 404
    pages.post(f"{address}/unit", data={"unit": ""})
    assert photos_of(project)["BLANK.JPG"].unit_id is None


def test_the_page_is_shown_straight(pages, project) -> None:
    photo_id = photos_of(project)["SHEET.JPG"].photo_id
    answer = pages.get(f"/sheets/photos/{photo_id}/page.jpg")
    assert answer.headers["content-type"] == "image/jpeg"
    assert Image.open(io.BytesIO(answer.content)).size == (148 * 6, 210 * 6)


def test_a_photo_that_shows_no_sheet_says_so(pages) -> None:
    assert "sheet-photo-unknown" in pages.get(f"/sheets/photos/{'0' * 64}").text


def test_the_sheet_stands_beside_the_lines_and_behind_the_figures(pages, project) -> None:
    sheet = photos_of(project)["SHEET.JPG"]
    unit = f"/records/units/{sheet.unit_id}"
    assert pages.post(f"{unit}/design", data=TAPE).status_code == 303
    shown = pages.get(unit).text
    rows = json.loads(html.unescape(re.search(r'data-rows="([^"]*)"', shown)[1]))
    assert rows["of_colonies"] is False
    assert [row["row"] for row in rows["rows"]] == list(range(1, len(rows["rows"]) + 1))
    seal = pages.get(f"{unit}/lines").json()["seal"]
    lines = [
        {"key": f"k{n}", "kind": "intercept", "number": n, "cells": cells}
        for n, cells in enumerate(
            (
                {"from_m": "0", "to_m": "4", "category": "sand"},
                {"from_m": "4", "to_m": "10", "category": "hard coral"},
            ),
            1,
        )
    ]
    saved = pages.post(f"{unit}/lines", json={"lines": lines, "batch": "a" * 32, "seal": seal})
    assert saved.status_code == 200, saved.text
    trail = re.search(r'href="(/results/trail\?[^"]*hard\+coral[^"]*)"', pages.get("/results").text)
    told = html.unescape(pages.get(html.unescape(trail[1])).text)
    assert f'href="/sheets/photos/{sheet.photo_id}">Its sheet, page 1</a>' in told
    assert f'href="/sheets/photos/{sheet.photo_id}#row-2">row 2 of the sheet</a>' in told

    for language, words in (("en", "row 2"), ("fr", "ligne 2")):
        out = project.parent / f"report-{language}.html"
        done = CliRunner().invoke(
            build_app(),
            ["report", str(project), "--results", "--language", language, "-o", str(out)],
        )
        assert done.exit_code == 0, done.output
        told = " ".join(html.unescape(out.read_text("utf-8")).split())
        assert f"{sheet.sheet_id} (SHEET.JPG)" in told
        assert f"{sheet.sheet_id}, {words}" in told


def test_who_only_looks_joins_nothing(viewer_of, project, photographed) -> None:
    answer = viewer_of(project).post("/sheets/join", data={"visit": photographed.VISIT})
    assert answer.status_code == 403
    assert photos_of(project) == {}
