"""``dryslate archive``: the records as an archive that others can read, and checking one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from dryslate import wiring
from dryslate.cli.collecting import little_collecting
from dryslate.cli.render import (
    WITH_PROBLEMS,
    BarProgress,
    print_json,
    print_problem,
    print_text,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.app.archive_check import ArchiveCheck
    from dryslate.app.archive_make import ArchiveReport
    from dryslate.app.package_make import PackageReport
    from dryslate.base.problems import Problem

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
Out = Annotated[Path, typer.Option("--out", "-o", help="The zip to write.")]
TextsHow = Annotated[
    str,
    typer.Option(
        "--texts",
        help="Texts that tell where a sensitive site lies: refuse, withhold or as-written.",
    ),
]
Folder = Annotated[Path, typer.Argument(help="Project folder.")]


class _FolderFirst(TyperGroup):
    """A group whose usual command needs no word: ``dryslate archive FOLDER``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put the usual command before what is neither a command nor a plea for help."""
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["make", *args]
        return super().parse_args(ctx, args)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(
        cls=_FolderFirst, no_args_is_help=True, help="Archives that others can read."
    )
    group.command("make")(make)
    group.command("check")(check)
    group.command("package")(package)
    app.add_typer(group, name="archive")


def make(
    folder: Folder,
    out: Out,
    photos: Annotated[
        str, typer.Option("--photos", help="Copies of photos in it: none, corrected or originals.")
    ] = "none",
    texts: TextsHow = "refuse",
    as_json: Json = False,
) -> None:
    """
    Write a Darwin Core archive: visits, units, what was seen, measurements, photos. The word make
    may be left out. Positions of sensitive sites are coarsened; what is missing is named.
    """
    from dryslate.app.archive_make import make_archive as write
    from dryslate.app.archive_make import require_photos
    from dryslate.app.telling_texts import require_texts

    which, how = require_photos(photos), require_texts(texts)
    with (
        wiring.survey_store(folder, write=False) as store,
        wiring.zip_maker(out) as box,
        little_collecting(),
    ):
        tools = wiring.archive_tools(folder, store)
        report = write(store, tools, box, which, BarProgress(), how)
    print_json(report.as_dict()) if as_json else _show_made(out, report)
    _end_with(report.problems)


def _end_with(problems: Sequence[Problem]) -> None:
    """Print problems, and end so that a script sees them."""
    for problem in problems:
        print_problem(problem)
    if any(one.severity != "note" for one in problems):
        raise typer.Exit(WITH_PROBLEMS)


def _show_made(out: Path, report: ArchiveReport) -> None:
    """Say what is in an archive, and what it lacks."""
    rows = ", ".join(f"{n} {name}" for name, n in report.n_rows.items())
    print_text(f"{out}: {rows}; {report.n_absent} absences, {report.n_pictures} pictures.")
    for one in report.missing:
        print_text(
            f"{one.level}: {one.table} {one.term} is empty in {one.n_empty} of {one.n_rows} rows"
        )
    for words, names in (
        ("without an identifier in a register", report.names_without_id),
        ("stand for no one taxon, counted by event", report.categories_without_taxon),
        ("coarsened", report.sensitive),
    ):
        if names:
            print_text(f"{words}: {', '.join(names)}")
    for reason, n in report.left_out.items():
        print_text(f"left out: {n} {reason}")


def package(folder: Folder, out: Out, texts: TextsHow = "refuse", as_json: Json = False) -> None:
    """
    Write a data package: the figures and the records they rest on, as tables that say what each
    column is. `dryslate records import` reads it into an empty project.
    """
    from dryslate.app.package_make import make_package
    from dryslate.app.survey_results import survey_results
    from dryslate.app.telling_texts import require_texts

    how = require_texts(texts)
    with wiring.survey_store(folder, write=False) as store, wiring.zip_maker(out) as box:
        report = make_package(store, survey_results(store, wiring.result_settings()), box, how)
    if as_json:
        print_json(report.as_dict())
    else:
        _show_package(out, report)


def _show_package(out: Path, report: PackageReport) -> None:
    """Say what is in a data package."""
    print_text(f"{out}: " + ", ".join(f"{n} {name}" for name, n in report.n_rows.items()))
    if report.n_left_out:
        print_text(f"left out: {report.n_left_out} points on photos that are set aside")
    if report.n_texts:
        print_text(f"left out: {report.n_texts} texts that tell where a sensitive site lies")
    for problem in report.sensitive:
        print_problem(problem)


def check(
    archive: Annotated[Path, typer.Argument(help="A Darwin Core archive (zip), made by anybody.")],
    as_json: Json = False,
) -> None:
    """List every fault of a Darwin Core archive with its file, row and column."""
    from dryslate.app.archive_check import check_archive

    with wiring.zip_box(archive) as box:
        found = check_archive(box, archive.name)
    print_json(found.as_dict()) if as_json else _show_checked(found)
    if found.problems:
        raise typer.Exit(WITH_PROBLEMS)


def _show_checked(found: ArchiveCheck) -> None:
    """Print what was found."""
    from dryslate.app.archive_check import told_more

    for file, n in found.n_rows.items():
        print_text(f"{file}: {n} rows")
    for problem in found.problems:
        print_problem(problem)
    for line in told_more(found):
        print_text(line)
    if found.is_sound and not found.has_licence:
        print_text("Nothing stands against the standard; state a licence before it is published.")
    else:
        print_text("Fit to publish." if found.is_sound else "Not fit to publish as it is.")
