"""``dryslate backup`` and ``dryslate restore``: the records on another drive, and back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    counted,
    print_json,
    print_problem,
    print_text,
    progress,
)

if TYPE_CHECKING:
    from dryslate.app.backup import BackupReport


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)


def backup(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    to: Annotated[Path, typer.Option("--to", help="Folder on another drive.")],
    observer: Annotated[str, typer.Option("--observer", help="Who makes it.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Copy the records (names, measurements, corrections, who did what) and the team's own cards,
    lenses and tables to another drive, and read the copies back. Photos are not in it: their
    second copy is made by `take --second`.
    """
    from dryslate.app.backup import make_backup

    with wiring.survey_store(folder, write=True, who=observer) as store:
        tools = wiring.backup_tools(store, progress(quiet=as_json))
        report = make_backup(tools, folder, to, observer)
    if as_json:
        print_json(report.as_dict())
    else:
        _show(report)
    if not report.backup.is_proved:
        raise typer.Exit(WITH_PROBLEMS)


def _show(report: BackupReport) -> None:
    """Print what was made, and what it is worth."""
    from dryslate.app.take_records import size_words

    made = report.backup
    print_text(f"{made.folder}: {counted(made.n_files, 'file')}, {size_words(made.size_bytes)}.")
    if made.is_proved:
        print_text("Read back from another drive than the project's.")
    else:
        print_text(f"Not proved: {report.why_not}.")
    if report.n_one_copy:
        print_text(f"{report.n_one_copy} originals have no second copy: a backup holds no photos.")


def restore(
    backup: Annotated[Path, typer.Argument(help="Folder of one backup.")],
    into: Annotated[Path, typer.Option("--into", help="New project folder; empty or absent.")],
    second: Annotated[
        Path | None,
        typer.Option("--second", help="Folder with the second copies of the memory cards."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Make a project again from a backup, with the originals of a second folder."""
    from dryslate.app.restore import restore_project

    tools = wiring.restore_tools(progress(quiet=as_json))
    report = restore_project(tools, backup, into, second)
    for problem in report.problems:
        print_problem(problem)
    if as_json:
        print_json(report.as_dict())
    else:
        there = f"{report.n_copied} of {report.n_originals} originals"
        own = f"{counted(report.n_own_files, 'file')} of the team's own"
        print_text(f"{into}: the records, {own}, {there}.")
        print_text(f"Corrected photos are made again by: dryslate correct --project {into}")
    if report.problems:
        raise typer.Exit(WITH_PROBLEMS)
