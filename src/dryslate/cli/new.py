"""``dryslate new``: a project folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_problem, print_text


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("new")(new)


def new(
    folder: Annotated[Path, typer.Argument(help="Folder of the project; empty or absent.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Make a project: a folder with one team's surveys."""
    from dryslate.app.new import make_project

    report, store = make_project(folder, wiring.project_folders(), wiring.new_store)
    store.close()
    for problem in report.problems:
        print_problem(problem)
    if as_json:
        print_json(report.as_dict())
    else:
        print_text(f"{folder}: {'project made' if report.is_new else 'was a project already'}.")
