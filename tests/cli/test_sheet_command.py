"""``dryslate sheet``: from the command to the paper, and from a photo of it back to its unit."""

from __future__ import annotations

import json

import numpy as np
import pypdfium2 as pdfium
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.sheet_request import SheetRequest
from dryslate.app.sheets import print_sheets
from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import build_model
from dryslate.core.identify.questions import expected_bits, find_next
from dryslate.core.sheet.columns import SHEET_KINDS
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.store.sqlite import SqliteSurveyStore

ALL_KINDS = tuple(SHEET_KINDS)


def run(*args: object):
    return CliRunner().invoke(build_app(), ["sheet", *[str(a) for a in args]])


def printed(path, *args: object) -> dict:
    done = run("print", *args, "-o", path, "--json")
    assert done.exit_code == 0, (done.output, done.exception)
    return json.loads(done.stdout)


def slug_of(*args: object) -> str:
    done = run(*args)
    assert isinstance(done.exception, DryslateError), done.output
    return done.exception.slug


@pytest.fixture
def project(tmp_path):
    folder = tmp_path / "trip"
    folder.mkdir()
    SqliteSurveyStore.create(folder).close()
    return folder


@pytest.mark.parametrize("kind", ALL_KINDS)
def test_every_sheet_is_printed_and_again_the_same(tmp_path, kind) -> None:
    first = printed(tmp_path / "a.pdf", kind, "--units", "T1 T2", "--paper", "a5")
    again = printed(tmp_path / "b.pdf", kind, "--units", "T1 T2", "--paper", "a5")
    assert first["sheets"] == again["sheets"]
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    numbers = [s["sheet_id"] for s in first["sheets"]]
    assert len(set(numbers)) == len(numbers) == first["n_pages"]
    assert {s["unit"] for s in first["sheets"]} == {"T1", "T2"}
    other = printed(tmp_path / "c.pdf", kind, "--units", "T1 T2", "--series", "second")
    assert not {s["sheet_id"] for s in other["sheets"]} & set(numbers)


def test_project_keeps_what_was_printed_and_knows_a_photo_of_it(tmp_path, project) -> None:
    more = ["--project", project, "--observer", "Mara", "--set", "length_m=20"]
    first = printed(tmp_path / "a.pdf", "line_intercept", "--units", "T7", *more)
    again = printed(tmp_path / "b.pdf", "line_intercept", "--units", "T7", *more)
    numbers = [s["sheet_id"] for one in (first, again) for s in one["sheets"]]
    assert len(set(numbers)) == 4  # two pages each: stretches, and colonies under the tape
    listed = json.loads(run("list", project, "--json").stdout)["sheets"]
    assert [s["sheet_id"] for s in listed] == numbers
    with pdfium.PdfDocument(tmp_path / "b.pdf") as document:
        img = document[1].render(scale=150 / 72).to_pil().convert("RGB")
    img.rotate(180).save(tmp_path / "photo.jpg", quality=90)
    found = json.loads(run("find", tmp_path / "photo.jpg", "--project", project, "--json").stdout)
    assert (found["sheet_id"], found["unit"], found["page_no"]) == (numbers[3], "T7", 2)
    cell = next(c for c in found["cells"] if c["field"] == "across_line_m" and c["row"] == 1)
    corners = np.array(cell["corners_px"])
    assert corners[0][0] > corners[1][0]  # the photo stands on its head
    alone = json.loads(run("find", tmp_path / "photo.jpg", "--json").stdout)
    assert alone == {"sheet_id": numbers[3]}


def test_photo_without_a_sheet_says_so(tmp_path, project) -> None:
    Image.new("RGB", (400, 300), "white").save(tmp_path / "blank.png")
    assert slug_of("find", tmp_path / "blank.png") == "sheet-number-unreadable"


def test_photo_of_another_project_s_sheet_is_not_claimed(tmp_path, project) -> None:
    printed(tmp_path / "a.pdf", "belt")
    with pdfium.PdfDocument(tmp_path / "a.pdf") as document:
        document[0].render(scale=150 / 72).to_pil().convert("RGB").save(tmp_path / "p.png")
    assert slug_of("find", tmp_path / "p.png", "--project", project) == "sheet-unknown"


def text_of(path) -> list[str]:
    with pdfium.PdfDocument(path) as document:
        return [page.get_textpage().get_text_range() for page in document]


def test_points_along_the_tape_are_printed_and_take_as_many_pages_as_they_need(tmp_path) -> None:
    done = printed(
        tmp_path / "a.pdf", "point_intercept", "--set", "length_m=20", "--set", "spacing_m=0.5"
    )
    assert done["n_pages"] == 3  # forty points on two pages, then the colonies
    said = set(" ".join(text_of(tmp_path / "a.pdf")[:2]).split())
    assert {f"{k / 2:g}" for k in range(1, 41)} <= said


def test_permanent_unit_of_an_earlier_visit_is_printed_as_it_was_stated(tmp_path, project) -> None:
    from dryslate.app.survey_records import StatedDesign
    from dryslate.app.unit_records import Unit
    from dryslate.app.visits import require_visit
    from dryslate.core.survey.designs import UnitDesign

    with wiring.survey_store(project, write=True, who="Mara") as store:
        visit = require_visit(store, "North wall", "2025-03-14", "Mara")
        store.save_visit(visit)
        unit = Unit(
            unit_id="u1", visit_id=visit.visit_id, observer="Mara", kind="transect", name="P1"
        )
        store.save_unit(unit)
        design = UnitDesign(
            design="belt", is_permanent=True, length_m=25.0, width_m=2.0,
            edge_rule="centre_inside", searched=("Acropora",),
        )  # fmt: skip
        store.save_unit_design(
            StatedDesign(
                unit_id="u1", design=design, list_version=None, observer="Mara",
                stated_at="2025-03-14T12:00:00Z",
            )
        )  # fmt: skip
    more = ["--project", project, "--observer", "Mara", "--visit", "North wall 2025-03-14"]
    printed(tmp_path / "a.pdf", "belt", *more)
    with wiring.survey_store(project, write=False) as store:
        (sheet,) = store.printed_sheets()
    assert sheet.unit == "P1"
    assert sheet.content.preset | {"date": ""} == {
        "site": "North wall",
        "date": "",
        "unit": "P1",
        "length_m": "25",
        "width_m": "2",
        "edge_rule": "centre_inside",
        "is_permanent": "yes",
        "searched": "Acropora",
    }
    assert sheet.content.rows == ({"name": "Acropora"},)


def test_colony_asks_in_the_order_in_which_the_program_asks(tmp_path) -> None:
    tables = FileReferenceTables()
    request = SheetRequest(kind="tagged_colony", units=("C1",), region="western_atlantic")
    done = print_sheets(request, wiring.sheet_bench(None, None, str))
    taxa, _ = tables.taxa()
    model = build_model(taxa, tables.error_rates(), "western_atlantic")
    bits = expected_bits(model.prior[None, :], model)[0]
    order = [n.character for n in find_next(Evidence(), bits, model, n_most=99)]
    asked = []
    for page in done.pages:
        for cell in page.cells:
            if cell.field in order and cell.field not in asked:
                asked.append(cell.field)
    broken = {c.character for c in taxa.characters.values() if c.seen_with == "broken"}
    wanted = [name for name in order if name not in broken][:10]
    assert set(asked) == set(wanted)
    words = [text.body for page in done.pages for text in page.texts]
    places = [words.index(taxa.characters[c].question) for c in wanted if c in taxa.characters]
    assert places == sorted(places)
    assert "Close-up of the cups, stick card in the frame" in words


@pytest.mark.parametrize(
    ("args", "slug"),
    [
        (["napkin"], "sheet-kind-unknown"),
        (["belt", "--paper", "a3"], "paper-unknown"),
        (["belt", "--pages", "0"], "sheet-pages-wrong"),
        (["belt", "--units", "T1 T2", "--pages", "251"], "sheet-pages-wrong"),
        (["belt", "--units", "T1 T1"], "sheet-unit-twice"),
        (["belt", "--set", "seed=7"], "sheet-field-unknown"),
        (["belt", "--set", "edge_rule=round"], "sheet-choice-unknown"),
        (["line_intercept", "--counts-only"], "sheet-no-counts"),
        (["quadrat_cells", "--set", "n_cells=many"], "sheet-number-wrong"),
        (["quadrat_cells", "--set", "n_cells=nan"], "sheet-number-wrong"),
        (["belt", "--language", "xx"], "language-unknown"),
        (["tagged_colony", "--region", "the moon"], "identify-region-unknown"),
    ],
)
def test_what_cannot_be_printed_is_told(tmp_path, args, slug) -> None:
    assert slug_of("print", *args, "-o", tmp_path / "a.pdf") == slug
    assert not (tmp_path / "a.pdf").exists()


def test_what_a_project_does_not_know_is_told(tmp_path, project) -> None:
    out = ["-o", tmp_path / "a.pdf", "--project", project]
    assert slug_of("print", "belt", *out) == "name-empty"
    lost = ["--observer", "Mara", "--visit", "Nowhere 2026-01-01"]
    assert slug_of("print", "belt", *out, *lost) == "sheet-visit-unknown"
    with wiring.survey_store(project, write=False) as store:
        assert store.printed_sheets() == ()


def test_typed_number_is_proved_and_other_layouts_are_told() -> None:
    from dataclasses import replace

    from dryslate.app.sheet_records import PrintedSheet
    from dryslate.app.sheets import find_printed, page_of
    from dryslate.core.sheet.page import SheetContent

    sheet = PrintedSheet(
        sheet_id="311689675917", kind="belt", layout_version=1, unit="T1", language="en",
        content=SheetContent(kind="belt"), observer="Mara", printed_at="2026-03-14T12:00:00Z",
    )  # fmt: skip
    assert find_printed([sheet], "311 689 675 917") is sheet
    with pytest.raises(DryslateError) as caught:
        find_printed([sheet], "311689675918")
    assert caught.value.slug == "sheet-number-mistyped"
    with pytest.raises(DryslateError) as caught:
        page_of(replace(sheet, layout_version=99))
    assert caught.value.slug == "sheet-layout-other"
