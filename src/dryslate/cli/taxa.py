"""``dryslate taxa check``: is the genus data sound, and what can it not tell apart."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import ERROR, WITH_PROBLEMS, print_json, print_problem, print_text

Project = Annotated[
    Path | None, typer.Option("--project", help="Project folder; its taxa/*.csv are checked too.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="The data on the genera.")
    group.callback()(_group)
    group.command("check")(check)
    app.add_typer(group, name="taxa")


def _group() -> None:
    """The data on the genera."""


def check(project: Project = None, as_json: Json = False) -> None:
    """Check the genus data and what a project adds, and list the pairs that nothing separates."""
    from dryslate.app.taxa import check_tables

    report = check_tables(wiring.genus_tables(project))
    for problem in report.problems:
        print_problem(problem)
    print_json(report.as_dict()) if as_json else print_text(report.words())
    if report.problems:
        raise typer.Exit(WITH_PROBLEMS if report.is_sound else ERROR)
