"""The page on which points are named, and the command that lists them: the same points."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit
from dryslate.cli.main import build_app

WHO = "Ines Varro"
VISIT = "Lantern Steps 2024-03-09"
DESIGN = {"design": "photo_points", "n_points": "4", "point_rule": "random", "seed": "7"}


@pytest.fixture
def unit(own_project: Path) -> str:
    with wiring.survey_store(own_project, write=True, who=WHO) as store:
        ids = [photo.photo_id for photo in store.photos(VISIT)]
        words = UnitWords(name="P1", kind="photo_station")
        return next(iter(start_unit(store, VISIT, words, WHO, ids).units))


@pytest.fixture
def pages(client_of, own_project, unit):
    made = client_of(own_project)
    assert made.post(f"/records/units/{unit}/design", data=DESIGN).headers["location"] == (
        f"/records/points/{unit}"
    )
    return made


def start_of(pages, unit: str) -> dict:
    page = pages.get(f"/records/points/{unit}").text
    found = re.search(r'<script type="application/json" id="start">(.*?)</script>', page, re.S)
    assert found
    return json.loads(found[1])


def test_points_of_the_page_are_those_of_the_command(pages, unit, own_project, tmp_path) -> None:
    start = start_of(pages, unit)
    on_page = [[f["photo_id"], *xy] for f in start["frames"] for xy in f["points"]]
    run = CliRunner().invoke(build_app(), ["points", str(own_project), "P1", "--json"])
    told = json.loads(run.stdout)
    assert told["seed"] == 7
    assert [[p["photo_id"], p["x_px"], p["y_px"]] for p in told["points"]] == on_page
    assert len(on_page) == 4 * len(start["frames"]) > 0
    out = tmp_path / "points.csv"
    CliRunner().invoke(build_app(), ["points", str(own_project), "P1", "--csv", str(out)])
    assert len(list(csv.DictReader(out.read_text("utf-8-sig").splitlines()))) == len(on_page)
    plain = CliRunner().invoke(build_app(), ["points", str(own_project), "P1"])
    assert start["frames"][0]["name"] in plain.stdout
    none = CliRunner().invoke(build_app(), ["points", str(own_project), "T9"])
    assert none.exit_code == 1


def test_a_crop_has_its_width_in_millimetres_where_the_photo_has_a_scale(pages, unit) -> None:
    start = start_of(pages, unit)
    scaled = [f for f in start["frames"] if f["px_per_mm"]]
    assert scaled
    assert start["mm"] == 100
    assert all(f["width"] > 0 and f["n_levels"] >= 1 and f["key"] for f in start["frames"])


def test_a_photo_that_cannot_be_read_is_said_to_be_so(pages, unit, own_project) -> None:
    assert not any(frame["is_broken"] for frame in start_of(pages, unit)["frames"])
    with wiring.survey_store(own_project, write=True, who=WHO) as store, store.write():
        row = store.corrections(VISIT)[0]
        broken = replace(row, outcome="unreadable", key="other", corrected_path=None)
        store.save_correction(broken)
    frames = start_of(pages, unit)["frames"]
    assert [frame["photo_id"] for frame in frames if frame["is_broken"]] == [row.photo_id]


def test_an_answer_is_stored_with_its_point_and_shown_again(pages, unit, own_project) -> None:
    start = start_of(pages, unit)
    frame = start["frames"][0]
    x, y = frame["points"][0]
    cells = {"photo": frame["photo_id"], "x_px": str(x), "y_px": str(y)}
    lines = [
        {"key": "a", "kind": "point", "cells": {**cells, "category": "turf"}, "number": 1},
        {"key": "b", "kind": "point", "cells": {**cells, "x_px": "-9", "category": "turf"}},
    ]
    body = {"batch": "a" * 32, "seal": start["seal"], "lines": lines}
    done = pages.post(f"/records/units/{unit}/lines", json=body).json()
    assert done["held"] == ["b"]
    again = start_of(pages, unit)["answers"]
    assert [(a["x"], a["y"], a["category"]) for a in again] == [(x, y, "turf")]
    with wiring.survey_store(own_project, write=False) as store:
        (row,) = store.survey_rows(unit)
    assert (row.row.photo_id, row.row.kind) == (frame["photo_id"], "point")


def test_what_a_name_counts_to_comes_with_it(pages, unit) -> None:
    options = {label: value for value, label, _ in start_of(pages, unit)["options"]}
    assert options["Favites"] == "n\thard coral\tFavites"
    assert options["sand"] == "c\tsand\t"
    assert options["? in shade"] == "u\t\tin shade"


def test_a_unit_of_another_way_has_no_such_page(client_of, own_project, unit) -> None:
    pages = client_of(own_project)
    answer = pages.get(f"/records/points/{unit}")
    assert answer.status_code == 303
    run = CliRunner().invoke(build_app(), ["points", str(own_project), "P1"])
    assert run.exit_code == 1
