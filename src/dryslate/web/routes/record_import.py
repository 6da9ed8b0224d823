"""Importing tables of records: the dry run with its faults, then all or nothing."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Request, UploadFile
from starlette.responses import HTMLResponse, Response

from dryslate.app.import_faults import placed_faults, rows_at_fault
from dryslate.app.import_run import ImportRequest, run_import
from dryslate.app.import_template import template_sheets
from dryslate.base.errors import InputError
from dryslate.formats.table_xlsx import write_table_xlsx
from dryslate.web.entry_desk import tools_of
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.record_words import DESIGN_WORDS, in_words, plainly
from dryslate.web.roles import WORK

router = APIRouter()
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
MOST_FILES = 10
MOST_FAULTS = 2000
MOST_ROWS = 300


@router.get("/records/import", response_class=HTMLResponse, dependencies=WORK)
def import_page(request: Request) -> HTMLResponse:
    """Ask for the tables."""
    return page(request, "record_import.html", designs=in_words(request, DESIGN_WORDS))


@router.get("/records/template/{design}.xlsx")
def template(design: Annotated[str, "a way of sampling"]) -> Response:
    """Return a workbook to fill in."""
    if design not in DESIGN_WORDS:
        raise Refusal("page-not-found", 404)
    name = f'attachment; filename="{design}.xlsx"'
    data = write_table_xlsx(template_sheets(design))
    return Response(data, media_type=XLSX, headers={"content-disposition": name})


@router.post("/records/import", response_class=HTMLResponse)
def import_tables(
    request: Request,
    tables: Annotated[list[UploadFile], File()],
    do: Annotated[Literal["check", "store"], Form()] = "check",
    mapping: Annotated[UploadFile | None, File()] = None,
) -> HTMLResponse:
    """List every fault of tables; store them where that was asked for and none is an error."""
    if not tables or len(tables) > MOST_FILES:
        raise Refusal("page-input", 422, "tables")
    with tempfile.TemporaryDirectory(prefix="dryslate-import-") as folder:
        paths = [_kept(file, Path(folder) / str(n)) for n, file in enumerate(tables)]
        has_mapping = mapping is not None and mapping.filename
        wanted = ImportRequest(
            tables=tuple(paths),
            observer=observer_of(request),
            mapping=_kept(mapping, Path(folder) / "m") if mapping and has_mapping else None,
            is_saved=do == "store",
        )
        return _imported(request, wanted, folder)


def _kept(file: UploadFile, folder: Path) -> Path:
    """Write a sent file under its own name, in a folder of its own."""
    folder.mkdir()
    path = folder / (Path((file.filename or "table").replace("\\", "/")).name[:120] or "table")
    with path.open("wb") as out:
        while piece := file.file.read(1 << 20):
            out.write(piece)
    return path


def _imported(request: Request, wanted: ImportRequest, folder: str) -> HTMLResponse:
    """Read, perhaps store, and show what came of it."""
    reach, tools = reach_of(request), tools_of(reach_of(request))
    try:
        if wanted.is_saved:
            with reach.writing(wanted.observer) as store:
                plan, n_stored = run_import(store, wanted, tools)
        else:
            with reach.reading() as store:
                plan, n_stored = run_import(store, wanted, tools)
    except InputError as error:
        said = error.message
        for path in (*wanted.tables, wanted.mapping):
            said = said.replace(str(path), path.name) if path is not None else said
        raise InputError(error.slug, said.replace(folder, ""), error.fix) from error
    faults = placed_faults(plan)
    shown: dict[str, Any] = {"plan": plan, "n_stored": n_stored, "n_faults": len(faults)}
    shown["faults"] = [(one, plainly(request, one.problem)) for one in faults[:MOST_FAULTS]]
    shown["rows"] = [
        rows_at_fault(table, {f.row for f in faults if f.table == n and f.row}, MOST_ROWS)
        for n, table in enumerate(plan.tables)
    ]
    shown["marks"] = {(f.table, f.row, f.column) for f in faults}
    shown["visits"] = sorted({f"{u.key[0]} {u.key[1]}" for u in plan.units})
    shown["is_store"] = wanted.is_saved
    return page(request, "record_import_done.html", 200, **shown)
