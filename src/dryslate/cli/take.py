"""``dryslate take``: verified copies of a memory card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_text,
    progress,
    words,
)

if TYPE_CHECKING:
    from dryslate.app.take_records import TakeReport, TakeRequest


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("take")(take)


def take(
    sources: Annotated[list[Path], typer.Argument(help="Memory card, folders or files.")],
    into: Annotated[Path, typer.Option("--into", help="Project folder; made where absent.")],
    visit: Annotated[
        tuple[str, str],
        typer.Option("--visit", metavar="SITE DATE", help="Site and local date (year-month-day)."),
    ],
    observer: Annotated[str, typer.Option("--observer", help="Whose photos they are.")],
    second: Annotated[
        Path | None, typer.Option("--second", help="Folder on another drive for a second copy.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Copy every file of a memory card into a project, read the copies back, and say whether the
    card may be wiped.
    """
    from dryslate.app.take_records import TakeRequest

    site, date = visit
    request = TakeRequest(
        sources=tuple(sources), project=into, second=second, site=site, date=date, observer=observer
    )
    report = _run(request, quiet=as_json)
    _show(report, as_json=as_json)
    if any(problem.severity == "error" for problem in report.problems):
        raise typer.Exit(WITH_PROBLEMS)


def _run(request: TakeRequest, *, quiet: bool) -> TakeReport:
    """Open or make the project, say what is about to happen, then take in."""
    from dryslate.app.new import make_project
    from dryslate.app.take import check_take, plan_take, run_take
    from dryslate.app.take_records import TakeTools

    check_take(request, wiring.intake_files())
    made, store = make_project(
        request.project,
        wiring.project_folders(),
        lambda folder: wiring.new_store(folder, who=request.observer),
    )
    try:
        tools = TakeTools(
            store=store,
            files=wiring.intake_files(),
            reader=wiring.photo_reader(),
            clock=wiring.clock(),
            progress=progress(quiet=quiet),
        )
        if made.is_new:
            words().print(f"{request.project}: project made.", markup=False)
        plan = plan_take(request, tools)
        words().print(plan.words(), markup=False)
        return run_take(plan, tools)
    finally:
        store.close()


def _show(report: TakeReport, *, as_json: bool) -> None:
    """Print the report."""
    for problem in report.problems:
        print_problem(problem)
    if as_json:
        print_json(report.as_dict())
        return
    print_text(
        f"{report.visit_id}: {report.n_copied} files copied, {report.n_had} there before, "
        f"{report.n_failed} not taken in; {report.n_photos} photos in this visit."
    )
    print_text(report.verdict.words)
    for reason in report.verdict.reasons:
        print_text(f"  - {reason}")
