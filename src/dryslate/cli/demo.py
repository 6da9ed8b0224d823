"""``dryslate demo``: the whole job on a made-up trip."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate.cli.render import print_table, print_text, progress, words

if TYPE_CHECKING:
    from dryslate.demo.run import DemoReport


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo)


def demo(
    folder: Annotated[
        Path, typer.Argument(help="New folder, or that of an earlier demo to go on with.")
    ] = Path("dryslate-demo"),
    seed: Annotated[int, typer.Option(help="Another number makes another trip.")] = 1,
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="End when the trip is done; do not serve its pages.")
    ] = False,
) -> None:
    """
    Make a made-up trip with known truth, do the whole job on it, and serve its pages.

    Nobody dives: reef, corals, people and photos are computed.
    """
    from dryslate.demo.run import DemoTools, run_demo

    done = run_demo(folder, seed, DemoTools(progress=progress(), say=_say))
    _show(done)
    if not no_serve:
        _serve(done.project)


def _serve(project: Path) -> None:
    """Serve the project's pages until they are stopped; says the address to open."""
    from dryslate.web.server import serve, settings_for

    serve(settings_for(project), print_text)


def _say(text: str) -> None:
    """Print a line of what goes on, on stderr."""
    words().print(text, markup=False)


def _show(done: DemoReport) -> None:
    """Say what came out, and what to open."""
    print_table("Photos", ("outcome", "photos"), done.summary.rows())
    if done.summary.reasons:
        print_table("Not corrected", ("photo", "outcome", "why"), done.summary.reasons)
    print_table(
        f"Found against the truth, {done.n_measured} measurements",
        ("what", "found", "against the truth"),
        done.comparison.rows(),
    )
    print_table("Corals named against the truth", ("what", "came out"), done.naming.rows())
    print_table("Records of units against the truth", ("what", "came out"), done.survey.rows())
    colonies = [*done.followed.rows(), *(heat.row() for heat in done.heat)]
    print_table("Tagged colonies against the truth", ("what", "came out"), colonies)
    _show_changes(done)
    check = done.check
    print_text(
        f"{check.n_sound} of {check.n_originals} originals sound, "
        f"{len(check.problems)} things to look at (dryslate check {done.project})."
    )
    _show_where(done)


def _show_changes(done: DemoReport) -> None:
    """Say what changed on a reef that did change, and what it takes to see it."""
    rows = done.changes.rows()
    if rows:
        print_table(
            "Change of hard coral cover in points of a hundred: the made-up reef did lose coral",
            ("where", "found (95 %)", "true"),
            rows,
        )
        print_text(done.changes.words())
    if done.changes.plan:
        print_text(done.changes.plan)


def _show_where(done: DemoReport) -> None:
    """Say what to open, and in which order."""
    reports = done.results_report.parent
    print_text("\nWhat to open, in this order:")
    print_text(f"1. What was found, for a manager and for reviewers: {done.results_report}")
    print_text(f"   on paper: {done.results_report.with_suffix('.pdf')}")
    print_text(f"2. Each tagged colony over time, heat stress beneath: {done.timelines}")
    print_text(f"3. Photo by photo, before and after: {done.report}")
    print_text(
        f"4. Every figure and every change, one a row: {done.survey.table}, {done.changes.table}"
    )
    print_text(f"5. An archive that others can read: {done.archive}")
    print_text(f"Photos as they came off the cameras: {done.photos}; truth beside them.")
    print_text(f"All of it on pages: dryslate serve {reports.parent}")
