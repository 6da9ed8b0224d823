"""A project with a unit, a sheet printed for it, and a photo of that sheet that was taken in."""

from __future__ import annotations

import io
from pathlib import Path

import pypdfium2 as pdfium
from PIL import Image

from dryslate import wiring
from dryslate.app.records import Visit
from dryslate.app.sheet_request import SheetRequest
from dryslate.app.sheets import print_sheets
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit

WHO, SITE, DATE = "Ines Varro", "Quiet Ledge", "2024-05-19"
VISIT = f"{SITE} {DATE}"
DPI = 150


def print_for(
    project: Path, kind: str, unit: str, pages: int = 1, **preset: str
) -> list[Image.Image]:
    """Print sheets of a unit of the visit, and return how their pages look."""
    units, visit_id = ((unit,), VISIT) if unit else ((), "")  # a visit would name its own units
    asked = SheetRequest(
        kind=kind, units=units, n_pages=pages, visit_id=visit_id, preset=preset, paper="a5"
    )
    with wiring.survey_store(project, write=True, who=WHO) as store:
        done = print_sheets(asked, wiring.sheet_bench(project, store, str, WHO))
    with pdfium.PdfDocument(io.BytesIO(done.pdf)) as document:
        return [page.render(scale=DPI / 72).to_pil().convert("RGB") for page in document]


def photograph(page: Image.Image, path: Path, degrees: float = 4.0) -> Path:
    """Write a picture of a page that lies askew on something dark."""
    ground = Image.new("RGB", (page.width + 300, page.height + 300), (40, 60, 70))
    ground.paste(page, (150, 150))
    ground.rotate(degrees, resample=Image.Resampling.BICUBIC, fillcolor=(40, 60, 70)).save(
        path, quality=92
    )
    return path


def take_in(project: Path, folder: Path) -> None:
    """Take photos into the visit."""
    from typer.testing import CliRunner

    from dryslate.cli.main import build_app

    said = ["--into", project, "--visit", SITE, DATE, "--observer", WHO]
    done = CliRunner().invoke(build_app(), ["take", *map(str, [folder, *said])])
    assert done.exit_code == 0, done.output


def make_project(folder: Path) -> Path:
    """Make a project with the visit and nothing else."""
    folder.mkdir()
    with wiring.new_store(folder, who=WHO) as store:
        store.save_region("indo_pacific")
        store.save_visit(Visit(visit_id=VISIT, site=SITE, date=DATE, observer=WHO))
    return folder


def add_unit(project: Path, name: str, kind: str = "transect") -> str:
    """Make a unit of the visit, and return its id."""
    with wiring.survey_store(project, write=True, who=WHO) as store:
        start_unit(store, VISIT, UnitWords(name=name, kind=kind), WHO, [])
        return next(u.unit_id for u in store.units(VISIT) if u.name == name)
