"""Sheets on the pages: choose, print, and what was printed is kept."""

from __future__ import annotations

import io

import pypdfium2 as pdfium
import pytest

from dryslate import wiring
from dryslate.core.sheet.columns import SHEET_KINDS


@pytest.mark.parametrize("kind", SHEET_KINDS)
def test_each_sheet_has_its_form(client_of, read_only_project, kind) -> None:
    answer = client_of(read_only_project).get(f"/sheets?kind={kind}")
    assert answer.status_code == 200
    assert f'name="kind" value="{kind}"' in answer.text
    assert ('name="searched"' in answer.text) == (kind not in (
        "line_intercept", "point_intercept", "quadrat_cells", "photo_points", "tagged_colony",
    ))  # fmt: skip
    assert "hydrocorals sting" in answer.text


def test_kind_that_is_none_shows_the_first(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/sheets?kind=napkin").text
    assert 'name="kind" value="line_intercept"' in html


def test_printed_sheets_are_a_pdf_and_are_kept(client_of, own_project) -> None:
    pages = client_of(own_project)
    with wiring.survey_store(own_project, write=False) as store:
        visit = store.visits()[0]
    fields = {"kind": "belt", "paper": "a5", "units": "T1 T2", "pages": "2", "language": "fr"}
    fields |= {"visit": visit.visit_id, "length_m": "20", "searched": "Acropora; Porites"}
    answer = pages.post("/sheets/print.pdf", data=fields)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    with pdfium.PdfDocument(io.BytesIO(answer.content)) as document:
        texts = [page.get_textpage().get_text_range() for page in document]
    with wiring.survey_store(own_project, write=False) as store:
        kept = store.printed_sheets()
    assert [(s.unit, s.content.page_no) for s in kept] == [
        ("T1", 1), ("T1", 2), ("T2", 1), ("T2", 2),
    ]  # fmt: skip
    assert kept[0].observer == "Ines Varro"
    assert kept[0].content.preset["site"] == visit.site
    for sheet, text in zip(kept, texts, strict=True):
        number = sheet.sheet_id
        assert f"{number[:3]} {number[3:6]} {number[6:9]} {number[9:]}" in text
        assert visit.site in text
    assert "Transect en bande" in texts[0]
    assert "Porites" in texts[0]
    html = pages.get("/sheets").text
    assert "4 pages; the newest first." in html


def test_what_cannot_be_printed_is_told_in_the_form(client_of, own_project) -> None:
    pages = client_of(own_project)
    fields = {"kind": "belt", "units": "T1, T1", "searched": "Acropora"}
    answer = pages.post("/sheets/print.pdf", data=fields)
    assert answer.json()["problems"][0]["slug"] == "sheet-unit-twice"
    answer = pages.post("/sheets/print.pdf", data=fields, headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert 'data-slug="sheet-unit-twice"' in answer.text
    assert 'value="Acropora"' in answer.text
    with wiring.survey_store(own_project, write=False) as store:
        assert store.printed_sheets() == ()


def test_kind_that_is_unknown_is_refused(client_of, own_project) -> None:
    for more in ({}, {"length_m": "10"}):  # also with a field of a head that it has not
        asked = {"kind": "napkin", **more}
        answer = client_of(own_project).post("/sheets/print.pdf", data=asked)
        assert answer.json()["problems"][0]["slug"] == "sheet-kind-unknown"


def test_nobody_prints_without_a_name(client_of, own_project) -> None:
    answer = client_of(own_project, observer=None).post("/sheets/print.pdf", data={"kind": "belt"})
    assert answer.status_code == 409
