"""``dryslate sheet join``: a photographed sheet finds its unit, and its rows what was typed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.sheet_paper import find_row, papers_of, rows_of
from dryslate.app.sheet_photo import straight_picture
from dryslate.app.sheets import page_of
from dryslate.app.survey_records import NotedRow
from dryslate.cli.main import build_app
from dryslate.core.survey.designs import SurveyRow


def run(*args: object):
    return CliRunner().invoke(build_app(), ["sheet", "join", *map(str, args)])


def joined(project: Path, *args: object) -> dict:
    done = run(project, *args, "--observer", "Ines Varro", "--json")
    return {"exit": done.exit_code, **json.loads(done.stdout)}


@pytest.fixture
def project(tmp_path, photographed) -> Path:
    return photographed.make_project(tmp_path / "trip")


@pytest.fixture
def card(tmp_path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    Image.effect_noise((640, 480), 60).convert("RGB").save(folder / "REEF.JPG")
    return folder


def test_sheets_of_a_card_find_the_unit_printed_on_them_and_leave_the_reef(
    project, card, photographed
) -> None:
    unit = photographed.add_unit(project, "T7")
    pages = photographed.print_for(project, "line_intercept", "T7", length_m="20")
    for k, page in enumerate(pages):
        photographed.photograph(page, card / f"SHEET_{k}.JPG", 5.0 - 9.0 * k)
    photographed.take_in(project, card)
    told = joined(project)
    assert told["exit"] == 0
    assert [(s["photo"], s["unit_id"]) for s in told["sheets"]] == [
        ("SHEET_0.JPG", unit), ("SHEET_1.JPG", unit),
    ]  # fmt: skip
    with wiring.survey_store(project, write=False) as store:
        photos = store.sheet_photos(unit)
        aside = {one.photo_id: one.note for one in store.photos_set_aside()}
        assert aside == {one.photo_id: "a photo of a sheet" for one in photos}
        papers = papers_of(store, unit)
        assert [p.sheet.content.part for p in papers] == ["first", "colonies"]
    assert joined(project)["sheets"] == []  # nothing is left to look at


def test_page_comes_out_straight(project, card, photographed) -> None:
    photographed.add_unit(project, "T7")
    page = photographed.print_for(project, "belt", "T7")[0]
    photographed.photograph(page, card / "SHEET.JPG", 7.0)
    photographed.take_in(project, card)
    joined(project)
    with wiring.survey_store(project, write=False) as store:
        (row,) = store.sheet_photos()
        sheet = store.printed_sheets()[0]
    path = wiring.vault(project).path_of(row.photo_id, "SHEET.JPG")
    straight = straight_picture(wiring.photo_reader(), path, sheet, row)
    wanted = page_of(sheet)
    assert straight.shape == (round(wanted.height_mm * 6), round(wanted.width_mm * 6), 3)
    drawn = np.asarray(page.resize(straight.shape[1::-1]).convert("L"), dtype=float)
    seen = straight.mean(axis=-1)
    assert np.corrcoef(drawn.ravel(), seen.ravel())[0, 1] > 0.9


def test_sheet_without_a_unit_is_asked_about_and_told_by_hand(project, card, photographed) -> None:
    unit = photographed.add_unit(project, "T1")
    page = photographed.print_for(project, "belt", "Q9")[0]
    photographed.photograph(page, card / "SHEET.JPG")
    photographed.take_in(project, card)
    first = joined(project)
    assert first["exit"] == 3
    assert first["sheets"][0]["unit_id"] is None
    assert first["sheets"][0]["problem"]["slug"] == "sheet-unit-open"
    told = joined(project, "SHEET.JPG", "--unit", "T1")
    assert (told["exit"], told["sheets"][0]["unit_id"]) == (0, unit)
    wrong = run(project, "SHEET.JPG", "--unit", "T9", "--observer", "Ines Varro")
    assert wrong.exception.slug == "unit-unknown"


def test_sheet_of_another_project_is_told_and_the_rest_goes_on(project, card, photographed) -> None:
    unit = photographed.add_unit(project, "T1")
    other = photographed.make_project(project.parent / "other")
    strange = photographed.print_for(other, "quadrat_cells", "T1", n_cells="9")[0]
    photographed.photograph(strange, card / "A.JPG")
    own = photographed.print_for(project, "belt", "T1")[0]
    photographed.photograph(own, card / "B.JPG")
    photographed.take_in(project, card)
    told = joined(project)
    assert told["exit"] == 3
    slugs = {s["photo"]: (s["problem"] or {}).get("slug") for s in told["sheets"]}
    assert slugs == {"A.JPG": "sheet-unknown", "B.JPG": None}
    assert [s["unit_id"] for s in told["sheets"]] == [None, unit]


def test_sheet_of_a_tagged_colony_is_of_no_unit_even_of_one_with_its_name(
    project, card, photographed
) -> None:
    photographed.add_unit(project, "12")
    page = photographed.print_for(project, "tagged_colony", "12")[0]
    photographed.photograph(page, card / "COLONY.JPG")
    photographed.take_in(project, card)
    told = joined(project)
    assert told["exit"] == 0
    assert [(s["photo"], s["unit_id"], s["problem"]) for s in told["sheets"]] == [
        ("COLONY.JPG", None, None)
    ]


def test_photo_that_was_set_aside_keeps_its_reason(project, card, photographed) -> None:
    from dryslate.app.set_aside import set_aside

    photographed.add_unit(project, "T1")
    photographed.photograph(photographed.print_for(project, "belt", "T1")[0], card / "S.JPG")
    photographed.take_in(project, card)
    with wiring.survey_store(project, write=True, who="Tomo Halle") as store:
        photo_id = next(p.photo_id for p in store.photos() if p.files[0].original_name == "S.JPG")
        set_aside(store, [photo_id], ("not_reef", "my slate"), ("Tomo Halle", "2024-05-20T00:00Z"))
    assert joined(project)["exit"] == 0
    with wiring.survey_store(project, write=False) as store:
        assert [(a.note, a.observer) for a in store.photos_set_aside()] == [
            ("my slate", "Tomo Halle")
        ]


def test_order_counts_pages_that_were_not_photographed(project, card, photographed) -> None:
    photographed.add_unit(project, "T1")
    asked = {"length_m": "20", "pages": 3}
    pages = photographed.print_for(project, "line_intercept", "T1", **asked)
    photographed.photograph(pages[1], card / "SECOND.JPG")
    photographed.take_in(project, card)
    joined(project)
    with wiring.survey_store(project, write=False) as store:
        (unit,) = store.units()
        (paper,) = papers_of(store, unit.unit_id)
        first = rows_of(store.printed_sheets()[0])
    assert [row.order for row in paper.rows][:2] == [len(first) + 1, len(first) + 2]
    rows = [noted("intercept", k, from_m=k, to_m=k + 1) for k in range(len(first) + 2)]
    assert find_row((paper,), rows[0], rows) is None  # on the page that is not there
    assert find_row((paper,), rows[-1], rows)[1].row == 2


def noted(kind: str, row_no: int, **more: object) -> NotedRow:
    row = SurveyRow(kind=kind, **more)
    return NotedRow(unit_id="u", row=row, observer="x", noted_at="now", row_no=row_no)


def test_rows_are_found_by_what_is_printed_and_by_their_order(project, card, photographed) -> None:
    for name, kind, preset in (
        ("T1", "line_intercept", {"length_m": "20"}),
        ("T2", "point_intercept", {"length_m": "10", "spacing_m": "0.5"}),
        ("T3", "belt", {"searched": "Acropora; Porites"}),
    ):
        photographed.add_unit(project, name)
        for k, page in enumerate(photographed.print_for(project, kind, name, **preset)):
            photographed.photograph(page, card / f"{name}_{k}.JPG")
    photographed.take_in(project, card)
    joined(project)
    with wiring.survey_store(project, write=False) as store:
        tape, points, belt = (papers_of(store, u.unit_id) for u in store.units())
    stretches = [noted("intercept", 10 - k, from_m=k, to_m=k + 1) for k in range(3)]
    for k, one in enumerate(stretches):
        paper, line = find_row(tape, one, stretches[::-1])
        assert (paper.sheet.content.part, line.row) == ("first", k + 1)
    under = noted("colony", 30, longest_cm=9.0)
    assert find_row(tape, under, [under]) is None
    paper, line = find_row(points, noted("point", 1, at_m=5.0), [])
    assert line.printed == {"at_m": "5"}
    _, line = find_row(belt, noted("count", 1, name="porites", n=3), [])
    assert line.row == 2
    assert find_row(belt, noted("colony", 2, name="Favites"), []) is None
    assert all(0 < r.top < r.top + r.height < 1 for p in (*tape, *points, *belt) for r in p.rows)
