"""The report command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp
from dryslate.cli.render import print_json, print_problem, print_text, progress


def register(app: typer.Typer) -> None:
    """Add the report command."""
    app.command("report")(report_command)


def report_command(
    folder: Annotated[Path, typer.Argument(help="The project.")],
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="File; without it reports/report.html.")
    ] = None,
    picture_px: Annotated[
        int | None, typer.Option(help="Longest side of the pictures; without it 900, or fewer.")
    ] = None,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Write the report of a project: one HTML file with everything in it."""
    from dryslate.app.report import write_report

    with wiring.survey_store(folder, write=False) as store:
        bench = wiring.report_bench(folder, store, progress(quiet=as_json), largest_mp)
        done = write_report(bench, out, picture_px)
    if as_json:
        print_json(done)
        return
    for problem in done["problems"]:
        print_problem(problem)
    n = done["n_measurements"]
    print_text(f"{done['n_photos']} photos, {n} measurements. Open: {done['report']}")
