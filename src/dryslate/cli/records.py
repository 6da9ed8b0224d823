"""``dryslate records``: what was noted in units, from tables; lists of categories."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    counted,
    print_json,
    print_problems,
    print_table,
    print_text,
    progress,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.import_rows import ImportPlan
    from dryslate.app.import_run import ImportRequest
    from dryslate.app.survey_records import Category

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="What was noted in transects, quadrats, photos.")
    group.command("template")(template)
    group.command("import")(import_tables)
    group.command("list")(list_units)
    group.command("categories")(categories)
    app.add_typer(group, name="records")


def template(
    design: Annotated[str, typer.Argument(help="How units are sampled: belt, line_intercept ...")],
    out: Annotated[Path, typer.Option("--out", "-o", help="A workbook (.xlsx) to fill in.")],
) -> None:
    """Write a workbook to fill in, with a sheet on what each column means."""
    from dryslate.app.import_template import template_sheets
    from dryslate.formats.table_xlsx import write_table_xlsx

    wiring.save_file(out, write_table_xlsx(template_sheets(design)))
    print_text(f"{out}: fill in the sheets units and rows, then dryslate records import.")


def import_tables(
    folder: Folder,
    tables: Annotated[
        list[Path],
        typer.Argument(help="A workbook, or two tables: of units and of rows (CSV or XLSX)."),
    ],
    observer: Annotated[str, typer.Option("--observer", help="Who enters them.")],
    mapping: Annotated[
        Path | None, typer.Option("--mapping", help="What the tables' columns stand for (TOML).")
    ] = None,
    save: Annotated[
        bool, typer.Option("--save", help="Store them; without it only the faults are listed.")
    ] = False,
    as_json: Json = False,
) -> None:
    """
    Read records from tables; into an empty project also a data package of dryslate, or a Darwin
    Core archive, whoever made it. Every fault is listed with its row and column; nothing is stored
    while there is one, and nothing without `--save`.
    """
    from dryslate.app.import_run import ImportRequest

    if len(tables) == 1 and wiring.is_package(tables[0]):
        _import_package(folder, tables[0], observer, is_saved=save, as_json=as_json)
        return
    if len(tables) == 1 and wiring.is_archive(tables[0]):
        _import_archive(folder, tables[0], observer, is_saved=save, as_json=as_json)
        return
    request = ImportRequest(tables=tuple(tables), mapping=mapping, observer=observer, is_saved=save)
    _import_tables(folder, request, as_json=as_json)


def _import_tables(folder: Path, request: ImportRequest, *, as_json: bool) -> None:
    """Read tables, and store them where that was asked for and nothing stands against them."""
    from dryslate.app.import_run import run_import

    with wiring.survey_store(folder, write=request.is_saved, who=request.observer) as store:
        plan, n_stored = run_import(store, request, wiring.import_tools(folder))
    print_problems(plan.problems)
    if as_json:
        print_json({**plan.as_dict(), "n_stored": n_stored})
    else:
        _show(plan, n_stored, is_saved=request.is_saved)
    if any(problem.severity != "note" for problem in plan.problems):
        raise typer.Exit(WITH_PROBLEMS)


def _import_package(
    folder: Path, path: Path, observer: str, *, is_saved: bool, as_json: bool
) -> None:
    """Read a data package, and store it where that was asked for and nothing stands against it."""
    from dryslate.app.package_import import read_package, save_package

    with wiring.zip_box(path) as box:
        read = read_package(box, path.name)
    n_stored = 0
    if is_saved and read.is_sound:
        with wiring.survey_store(folder, write=True, who=observer) as store:
            n_stored = save_package(store, read, observer)
    print_problems(read.problems)
    if as_json:
        print_json({**read.as_dict(), "n_stored": n_stored})
    else:
        counts = ", ".join(f"{len(rows)} {name}" for name, rows in read.records.items() if rows)
        print_text(f"{counts}. {counted(n_stored, 'row')} of units stored.")
    if read.problems:
        raise typer.Exit(WITH_PROBLEMS)


def _import_archive(
    folder: Path, path: Path, observer: str, *, is_saved: bool, as_json: bool
) -> None:
    """Read an archive, and store it where that was asked for and nothing stands against it."""
    from dryslate.app.archive_import import read_archive, save_archive

    n_stored = 0
    with wiring.zip_box(path) as box:
        read = read_archive(box, path.name, wiring.name_finder(folder, observer))
        if is_saved and read.is_sound:
            with wiring.survey_store(folder, write=True, who=observer) as store:
                take = wiring.archive_taker(store, folder, box, progress(quiet=as_json))
                n_stored = save_archive(store, read, observer, take)
    print_problems(read.problems)
    if as_json:
        print_json({**read.as_dict(), "n_stored": n_stored})
    else:
        for line in read.told_more():
            print_text(line)
        counts = ", ".join(f"{n} {word}" for word, n in read.counts().items() if n)
        print_text(f"{counts or 'Nothing'} read. {counted(n_stored, 'row')} of units stored.")
    if any(one.severity != "note" for one in read.problems):
        raise typer.Exit(WITH_PROBLEMS)


def _show(plan: ImportPlan, n_stored: int, *, is_saved: bool) -> None:
    """Say what was read, and what came of it."""
    print_text(f"{counted(len(plan.units), 'unit')}, {counted(plan.n_rows, 'row')}.")
    if is_saved and plan.is_sound and plan.units:
        print_text(f"{counted(n_stored, 'row')} stored.")
    elif plan.is_sound and not is_saved:
        print_text("Nothing stands against them; store them with --save.")
    else:
        print_text("Nothing was stored.")


def list_units(folder: Folder, as_json: Json = False) -> None:
    """List the units that were sampled, how, and how many rows each has."""
    from dryslate.app.import_run import sampled_units

    with wiring.survey_store(folder, write=False) as store:
        found = sampled_units(store)
    if as_json:
        print_json({"units": found})
        return
    keys = ("unit", "visit_id", "design", "n_rows")
    lines = [[str(one[key]) for key in keys] for one in found]
    print_table("Units that were sampled", ("unit", "visit", "design", "rows"), lines)


def categories(
    folder: Folder,
    table: Annotated[
        Path | None,
        typer.Option(
            "--set", help="A list to use from now on: category, group, is_hard_coral, definition."
        ),
    ] = None,
    renamed: Annotated[
        list[str] | None,
        typer.Option(
            "--renamed", metavar="OLD=NEW", help="What stands for a category. Repeatable."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show the project's benthic categories, or set a new version of the list."""
    from dryslate.app.category_list import newest_version, read_categories, set_categories

    with wiring.survey_store(folder, write=table is not None) as store:
        if table is not None:
            pairs = dict(pair.partition("=")[::2] for pair in renamed or ())
            set_categories(store, read_categories(wiring.read_table(table)), pairs)
        version = newest_version(store)
        found = store.categories(version) if version is not None else ()
    _show_categories(version, found or read_categories(wiring.usual_categories()), as_json=as_json)


def _show_categories(version: int | None, found: Sequence[Category], *, as_json: bool) -> None:
    """Show a list of categories."""
    if as_json:
        rows = [
            {"category": c.category, "group": c.group, "definition": c.definition} for c in found
        ]
        print_json({"list_version": version, "categories": rows})
        return
    title = f"List {version}" if version else "The usual list; the project has none of its own"
    lines = [[c.category, c.group, c.definition] for c in found]
    print_table(title, ("category", "group", "definition"), lines)
